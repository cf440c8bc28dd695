"""Pages made from hostile texts: no script of theirs runs, nothing outside is asked for."""

import shutil

import pytest
from hostile import TEXTS

from lightplan.light import Detail, Engine
from lightplan.reports.contact_sheet import contact_sheet_html
from lightplan.reports.scores import ScoreRow
from lightplan.reports.view_html import view_html
from lightplan.scene import Camera, Card, Lamp, Placement, Prop, Rig, Sheet, Shell

CHROMIUM = shutil.which("chromium")


@pytest.fixture(scope="module")
def browser():
    """A browser that tells what a page asked for and which of its texts ran."""
    driver = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed")
    with driver.sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


def opened(browser, path):
    """Open a page, touch every element, and return what ran and what was asked for."""
    context = browser.new_context()
    asked, ran = [], []
    context.on("request", lambda request: asked.append(request.url))
    context.expose_function("ran", lambda number: ran.append(number))
    page = context.new_page()
    page.on("dialog", lambda dialog: dialog.dismiss())
    page.goto(path.as_uri())
    page.evaluate(
        "for (const e of document.querySelectorAll('*')) for (const kind of"
        " ['mouseover', 'focus', 'click']) e.dispatchEvent(new Event(kind, {bubbles: true}))"
    )
    page.wait_for_timeout(100)
    text = page.inner_text("body")
    context.close()
    outside = [url for url in asked if not url.startswith((path.parent.as_uri(), "data:"))]
    return ran, outside, text


def rig(first):
    """A rig whose texts are the hostile ones from `first` on, each unlike the others."""
    title, lamp, window, card, shell, prop = (TEXTS[(first + i) % len(TEXTS)] for i in range(6))
    return Rig(
        title=title,
        sheet=Sheet(width_mm=90, height_mm=50),
        camera=Camera(placement=Placement((0, -300, 400))),
        lamps=(
            Lamp(name=lamp, placement=Placement((300, 0, 500)), width_mm=200, height_mm=200),
            Lamp(name=window, placement=Placement((-900, 0, 500)), width_mm=500, height_mm=500,
                 is_window=True),
        ),
        cards=(Card(name=card, placement=Placement((0, 300, 300)), width_mm=200, height_mm=200),),
        shells=(Shell(name=shell, foot_width_mm=500),),
        props=(Prop(name=prop, shape="post", position_mm=(250, 0, 0), width_mm=20, depth_mm=20,
                    height_mm=100),),
    )  # fmt: skip


@pytest.mark.parametrize("first", [0, 5, 10, 15])
def test_the_set_in_3d(browser, tmp_path, first):
    built = rig(first)
    detail = Detail.quick(camera_rows=24, camera_cols=32)
    path = tmp_path / "set.html"
    path.write_text(view_html(built, Engine(built, detail).layers(built)), "utf-8")
    ran, outside, text = opened(browser, path)
    assert ran == []
    assert outside == []
    squeezed = "".join(text.split())
    for name in (built.title, built.lamps[0].name, built.cards[0].name):
        assert "".join(name.split()) in squeezed  # shown as it was typed


def test_the_contact_sheet(browser, tmp_path):
    finding = {"where_mm": (0, 0), "gain": 0.0}
    rows = [
        ScoreRow(
            entry={
                "file": f"{text}.jpg",
                "score": 50.0,
                "verdict": "adjust",
                "error": None,
                "measures": {},
                "reasons": [text],
                "findings": [{**finding, "what": text, "cause": text, "move": text}],
            },
            rank=i + 1,
            ties=(text,),
            flags=(text,),
            group=text,
            picture=f"thumbnails/{text}",
        )
        for i, text in enumerate(TEXTS)
    ]
    rows += [
        ScoreRow(
            entry={
                "file": text,
                "score": None,
                "verdict": "cannot tell",
                "error": text,
                "measures": {},
                "findings": [],
            }
        )
        for text in TEXTS
    ]
    path = tmp_path / "contact_sheet.html"
    page = contact_sheet_html(
        rows, title=TEXTS[4], look="split", comparison=TEXTS[2], reasons=TEXTS
    )
    path.write_text(page, "utf-8")
    ran, outside, text = opened(browser, path)
    assert ran == []
    assert outside == []
    assert TEXTS[0] in text


def test_a_long_name_pushes_nothing_aside(browser, tmp_path):
    row = ScoreRow(
        entry={
            "file": "x" * 250 + ".jpg",
            "score": 50.0,
            "verdict": "adjust",
            "error": None,
            "measures": {},
            "findings": [],
        }
    )
    path = tmp_path / "contact_sheet.html"
    path.write_text(contact_sheet_html([row], title="T", look="split"), "utf-8")
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    page.close()


def test_what_is_looked_for_would_be_found(browser, tmp_path):
    path = tmp_path / "open.html"
    path.write_text("".join(TEXTS) + "<p>", "utf-8")
    ran, outside, _ = opened(browser, path)
    assert len(set(map(int, ran))) >= 4
    assert outside


def test_own_scripts_still_run(browser, tmp_path):
    built = rig(8)
    detail = Detail.quick(camera_rows=24, camera_cols=32)
    path = tmp_path / "set.html"
    path.write_text(view_html(built, Engine(built, detail).layers(built)), "utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
    assert page.locator("#places tr").count() == 1 + 2 + 1 + 1
    page.close()
