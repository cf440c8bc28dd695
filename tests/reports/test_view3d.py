"""The set in 3-D: meshes against closed forms, rays against the mirror law, one offline page."""

from __future__ import annotations

import ctypes
import io
import json
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from lightplan.errors import MissingFeature
from lightplan.reports import view3d
from lightplan.reports.set_model import LAMP_FRONT, set_model, sheet_texture
from lightplan.reports.view_html import view_html, write_view_html
from lightplan.reports.viewpoint import VIEWS, Viewpoint, telling_view
from lightplan.scene import Camera, Card, Hole, Lamp, Placement, Rig, Sheet, Shell
from lightplan.tasks.layout import layout

needs_gl = pytest.mark.skipif(not view3d.can_draw(), reason="this machine has no OpenGL")


def area(part):
    a, b, c = (part.vertices[part.triangles[:, k]] for k in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def parts_of(rig, half_card, name):
    return [part for part in set_model(rig, half_card.layers).parts if part.name == name]


def test_a_card_with_a_hole_has_the_area_it_should(half_card):
    hole = Hole(diameter_mm=80, offset_mm=(60, -20))
    card = Card(
        name="roof", placement=Placement((0, 0, 500)), width_mm=400, height_mm=300, hole=hole
    )
    front, back = parts_of(replace(half_card.rig, cards=(card,)), half_card, "roof")
    wanted = 400 * 300 - np.pi * 40**2
    for side in (front, back):
        assert area(side) == pytest.approx(wanted, rel=0.005)  # the hole is a polygon
        at = side.vertices.mean(axis=0)
        assert abs(at[2] - 500) < 1.0
    inside = np.linalg.norm(front.vertices[:, :2] - front.vertices[:, :2].mean(axis=0), axis=1)
    assert inside.max() <= np.hypot(200, 150) + 30


@pytest.mark.parametrize(
    ("lamp", "wanted"),
    [
        (Lamp(name="key", placement=Placement((300, 0, 600)), width_mm=300, height_mm=200), 60000),
        (
            Lamp(name="key", placement=Placement((300, 0, 600)), shape="disk", width_mm=200),
            np.pi * 100**2,
        ),
        (
            Lamp(name="key", placement=Placement((300, 0, 600)), shape="bulb", width_mm=60),
            4 * np.pi * 30**2,
        ),
    ],
)
def test_lamps_have_the_area_of_their_shape(half_card, lamp, wanted):
    first = parts_of(replace(half_card.rig, lamps=(lamp,)), half_card, "key")[0]
    assert area(first) == pytest.approx(wanted, rel=0.03)
    assert first.emits


def test_a_cone_has_the_area_of_a_frustum(half_card):
    shell = Shell(name="cone", foot_width_mm=400, top_width_mm=100, height_mm=300)
    (cone,) = parts_of(replace(half_card.rig, shells=(shell,)), half_card, "cone")
    slant = np.hypot(300, 150)
    assert area(cone) == pytest.approx(np.pi * (200 + 50) * slant, rel=0.005)
    assert cone.opacity < 1


def test_rays_obey_the_mirror_law_and_end_on_what_they_name(half_card):
    lines = [n for n in set_model(half_card.rig, half_card.layers).lines if "mirrors" in n.name]
    assert len(lines) == 5
    for line in lines:
        lens, spot, end = line.points
        assert lens == pytest.approx(half_card.rig.camera.placement.position_mm)
        arrives, leaves = spot - lens, end - spot
        arrives /= np.linalg.norm(arrives)
        leaves /= np.linalg.norm(leaves)
        assert leaves == pytest.approx(arrives * [1, 1, -1], abs=1e-6)
        if line.name == "mirrors right board":
            assert end[1] == pytest.approx(300.0, abs=0.5)  # the card stands at y = 300
            assert 0 <= end[0] <= 400
    names = [line.name for line in lines]
    assert names.count("mirrors right board") in (2, 3)  # the middle lies on its edge
    assert names.count("mirrors dark room") in (2, 3)


def test_the_sheets_picture_lies_the_right_way_round(half_card, predict_rig):
    artwork = np.zeros((60, 80))
    artwork[:30, 40:] = 1.0  # foil at the far right only: it mirrors the card
    rig = half_card.rig
    one = predict_rig(replace(rig, sheet=replace(rig.sheet, artwork=artwork)))
    codes = sheet_texture(one.rig, one.layers)[..., 1].astype(float)
    rows, cols = codes.shape
    foil = codes[: rows // 3, -cols // 4 :].mean()
    assert foil > 1.15 * codes[-rows // 3 :, -cols // 4 :].mean()
    assert foil > 1.15 * codes[: rows // 3, : cols // 4].mean()


@pytest.mark.parametrize("view", list(VIEWS))
@pytest.mark.parametrize("aspect", [0.7, 1.4, 2.2])
def test_everything_is_in_the_picture_and_fills_it(half_card, view, aspect):
    model = set_model(half_card.rig, half_card.layers)
    rows, cols = 1000, round(1000 * aspect)
    places = Viewpoint.fit(model, view, aspect=aspect).project(model.points, rows, cols)
    assert np.isfinite(places).all()
    assert places.min() >= 0
    assert (places <= [rows, cols]).all()
    reach = np.abs(places / [rows, cols] - 0.5).max() * 2
    assert reach == pytest.approx(1 / 1.08, abs=0.01)


@needs_gl
def test_the_picture_shows_things_where_they_are(half_card):
    lamp = Lamp(
        name="key",
        placement=Placement((-300, 200, 300), (0, -900, 300)),
        width_mm=300,
        height_mm=300,
    )
    rig = replace(half_card.rig, lamps=(lamp,))
    size = (700, 500)
    png = view3d.view_png(rig, half_card.layers, view="from your place", size_px=size)
    picture = np.asarray(Image.open(io.BytesIO(png)))
    assert picture.shape == (500, 700, 3)
    eye = Viewpoint.fit(set_model(rig, half_card.layers), "from your place", aspect=1.4)
    inside = np.array([[-360.0, 200, 260], [-240, 200, 260], [-300, 200, 220]])
    for row, col in eye.project(inside, 500, 700):
        near = picture[round(row) - 1 : round(row) + 2, round(col) - 1 : round(col) + 2]
        assert np.abs(near.astype(int) - LAMP_FRONT).max() <= 4


@needs_gl
def test_the_sheet_in_the_picture_lies_as_it_is_photographed(half_card):
    rig = replace(half_card.rig, cards=(), lamps=half_card.rig.lamps)
    texture = sheet_texture(rig, half_card.layers).astype(int)
    png = view3d.view_png(rig, half_card.layers, view="from above", size_px=(1600, 1600))
    picture = np.asarray(Image.open(io.BytesIO(png))).astype(int)
    eye = Viewpoint.fit(set_model(rig, half_card.layers), "from above", aspect=1.0)
    rows, cols = texture.shape[:2]
    for x, y in ((25.0, 20.0), (25.0, -20.0), (-25.0, 20.0), (-25.0, -20.0)):
        row, col = eye.project(np.array([[x, y, 0.0]]), 1600, 1600)[0]
        shown = picture[round(row), round(col)]
        wanted = texture[round((0.5 - y / 90) * rows), round((x / 120 + 0.5) * cols)]
        assert np.abs(shown - wanted).max() <= 12, (x, y)


def test_without_opengl_it_says_so_in_one_sentence(half_card, monkeypatch, tmp_path):
    def missing(name):
        raise OSError(name)

    monkeypatch.setattr(view3d.sys, "platform", "linux")
    monkeypatch.setattr(ctypes, "CDLL", missing)
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    path = tmp_path / "view.png"
    with pytest.raises(MissingFeature, match=r"cannot draw in 3-D .* ask for the page in HTML"):
        view3d.write_view_png(path, half_card.rig, half_card.layers, replace=False)
    assert not path.exists()
    with pytest.raises(MissingFeature, match="no screen to open a window on"):
        view3d.show_window(half_card.rig, half_card.layers)


def model_in(page):
    text = re.search(r'<script type="application/json" id="model">(.*?)</script>', page, re.S)[1]
    return json.loads(text)


def test_the_page_asks_for_nothing_and_holds_the_whole_set(half_card, tmp_path):
    path = write_view_html(tmp_path / "set.html", half_card.rig, half_card.layers, replace=False)
    page = path.read_text("utf-8")
    assert not re.search(r"https?:|@import|url\(|<link|<iframe|fetch\(|XMLHttp|import\(", page)
    assert not re.search(r"<script[^>]+src|<img", page)
    assert "default-src 'none'" in page
    model = model_in(page)
    assert {p["name"] for p in model["places"]} == {"camera", "key", "right board"}
    places = {p["name"]: p["at"] for p in model["places"]}
    assert places["camera"] == [0.0, -600.0, 600.0]
    assert [m["spot"] for m in model["mirrors"]] == [
        "near left",
        "near right",
        "far right",
        "far left",
        "middle",
    ]
    assert [m["name"] for m in model["mirrors"]][:4] == [
        "dark room",
        "right board",
        "right board",
        "dark room",
    ]
    assert view_html(half_card.rig, half_card.layers) == page


def test_a_title_is_text_never_markup(half_card):
    rig = replace(half_card.rig, title='</script><script>alert("x")</script>')
    page = view_html(rig, half_card.layers)
    assert page.count("<script") == 2
    assert "alert(&#34;x&#34;)" in page or "alert(&quot;x&quot;)" in page


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_a_browser_draws_the_page(half_card, tmp_path):
    lamp = Lamp(
        name="key",
        placement=Placement((-300, 200, 300), (0, -900, 300)),
        width_mm=300,
        height_mm=300,
    )
    rig = replace(half_card.rig, lamps=(lamp,))
    path = write_view_html(tmp_path / "set.html", rig, half_card.layers, replace=False)
    common = [
        "chromium",
        "--headless",
        "--no-sandbox",
        "--use-gl=angle",
        "--use-angle=swiftshader",
        "--enable-unsafe-swiftshader",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        f"--user-data-dir={tmp_path / 'profile'}",
        "--window-size=1200,700",
    ]
    shot = tmp_path / "shot.png"
    subprocess.run(
        [*common, f"--screenshot={shot}", path.as_uri()],
        capture_output=True,
        timeout=90,
        check=True,
    )
    picture = np.asarray(Image.open(shot).convert("RGB")).astype(int)
    cream = (np.abs(picture - LAMP_FRONT).max(axis=2) <= 3).sum()
    assert cream > 500, "the lamp's face is to be seen"


def test_a_rig_of_everything_is_drawn(half_card):
    rig = Rig(
        title="all", sheet=Sheet(width_mm=100, height_mm=80),
        camera=Camera(placement=Placement((0, -300, 500)), body=None),
        lamps=(Lamp(name="window", placement=Placement((-900, 0, 600)), is_window=True),
               Lamp(name="bulb", placement=Placement((200, 0, 400)), shape="bulb", width_mm=60)),
        cards=(Card(name="sheet of tracing paper", placement=Placement((0, 0, 450)), width_mm=300,
                    height_mm=300, transmittance=(0.1, 0.1, 0.1)),),
        shells=(Shell(name="tent", shape="tent", top_width_mm=0),),
    )  # fmt: skip
    model = set_model(rig, half_card.layers)
    assert {label.text for label in model.labels} == {
        "camera",
        "your side",
        "window",
        "bulb",
        "sheet of tracing paper",
        "tent",
    }
    for part in model.parts:
        assert np.isfinite(part.vertices).all()
        assert part.triangles.max() < len(part.vertices)


@pytest.mark.parametrize("side", [-1, 1])
def test_the_view_is_from_where_a_lamp_shows_its_front(half_card, side):
    aside = Placement((side * 400.0, 0.0, 300.0), (0.0, 0.0, 250.0))
    lamp = replace(half_card.rig.lamps[0], placement=aside)
    rig = replace(half_card.rig, lamps=(lamp,), cards=())
    way = np.array(VIEWS[telling_view(rig)])
    assert way @ aside.axes()[2] > 0
    assert way[1] < 0  # from the maker's side


@pytest.mark.parametrize("side", [-1, 1])
def test_the_page_opens_with_the_same_view_as_the_picture(half_card, side):
    aside = Placement((side * 400.0, 0.0, 300.0), (0.0, 0.0, 250.0))
    rig = replace(half_card.rig, lamps=(replace(half_card.rig.lamps[0], placement=aside),))
    turn, tilt = model_in(view_html(rig, half_card.layers))["view"]
    eye = np.array([np.sin(turn) * np.cos(tilt), -np.cos(turn) * np.cos(tilt), np.sin(tilt)])
    telling = np.array(VIEWS[telling_view(rig)])
    np.testing.assert_allclose(eye, telling / np.linalg.norm(telling), atol=2e-3)
    assert layout(rig)["view"] == pytest.approx([turn, tilt], abs=1e-3)
