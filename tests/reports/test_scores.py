"""Score tables and the contact sheet: values kept, text never markup, marks where they belong."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from lightplan.reports.contact_sheet import contact_sheet_html, overlay
from lightplan.reports.scores import ScoreRow, scores_csv, scores_json
from lightplan.reports.thumbnails import CLIPPED_COLOUR, thumbnail

SHEET_MM = (120.0, 90.0)


def entry(file, score, verdict="adjust", **more):
    given = {
        "file": file,
        "score": score,
        "uncertainty": 2.0,
        "verdict": verdict,
        "error": None,
        "reasons": ["even foil: 1.20 stops, wanted 0.5 stops or less"],
        "measures": {"foil_clipped_share": 0.0123456789, "foil_evenness_stops": 1.2},
        "findings": [
            {
                "what": "1.2% of the foil is clipped",
                "where_mm": [30.0, 22.5],
                "cause": "",
                "move": "",
                "gain": 4.0,
            }
        ],
        "placed": {
            "corners": [[100, 200], [100, 800], [550, 800], [550, 200]],
            "rows": 700,
            "cols": 1000,
            "confidence": 0.9,
            "how": "sides",
        },
        "details": {
            "hot_spots": [
                {
                    "where_mm": [0.0, 0.0],
                    "area_mm2": 78.54,
                    "height_stops": 1.0,
                    "clipped": True,
                    "on": "foil",
                }
            ]
        },
    }
    return {**given, **more}


def refused(file):
    return entry(
        file,
        None,
        "cannot tell",
        error=f"{file} must be a photograph (got other bytes).",
        measures={},
        findings=[],
        placed=None,
        details={},
        uncertainty=None,
    )


@pytest.fixture
def rows():
    picture = thumbnail(np.full((70, 100, 3), 128, np.uint8), np.zeros((70, 100), bool))
    return [
        ScoreRow(
            entry("a 1.jpg", 81.25, "keep"),
            rank=1,
            likeness=97.0,
            ties=("b.jpg",),
            picture=picture.picture,
        ),
        ScoreRow(
            entry("b.jpg", 80.9),
            rank=2,
            likeness=60.0,
            ties=("a 1.jpg",),
            flags=("The paper is 0.6 stops brighter than in the set.",),
            picture="files/b.jpg",
        ),
        ScoreRow(refused("c.jpg"), rank=3),
    ]


def test_json_has_the_fixed_keys_and_exact_values(rows):
    read = json.loads(scores_json(rows))
    assert [one["file"] for one in read] == ["a 1.jpg", "b.jpg", "c.jpg"]
    for one in read:
        assert set(one) >= {"file", "score", "verdict", "measures", "findings", "error"}
    assert read[0]["measures"]["foil_clipped_share"] == 0.0123456789
    assert read[2]["score"] is None
    assert "must be a photograph" in read[2]["error"]


def test_csv_has_a_line_for_each_photograph_and_a_column_for_each_measure(rows):
    lines = list(csv.DictReader(io.StringIO(scores_csv(rows))))
    assert [line["file"] for line in lines] == ["a 1.jpg", "b.jpg", "c.jpg"]
    assert float(lines[0]["foil_clipped_share"]) == pytest.approx(0.0123456789, rel=1e-5)
    assert lines[2]["foil_clipped_share"] == ""
    assert lines[1]["ties"] == "a 1.jpg"
    assert lines[0]["score"] == "81.25"


def test_csv_survives_names_that_break_tables_or_run_in_spreadsheets():
    names = ['quote",comma.jpg', "line\nbreak.jpg", "=HYPERLINK(1).jpg", "@cmd.jpg", "-5"]
    text = scores_csv([ScoreRow(entry(name, 50.0)) for name in names])
    read = [line["file"] for line in csv.DictReader(io.StringIO(text, newline=""))]
    assert read == [*names[:2], "'=HYPERLINK(1).jpg", "'@cmd.jpg", "-5"]


class Outline(HTMLParser):
    """Collects elements and whatever could ask the network for something."""

    def __init__(self):
        super().__init__()
        self.elements, self.asks, self.depth = [], [], 0

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self.asks += [v for k, v in attrs if k in ("src", "href", "action", "data", "srcset")]


def outline(page):
    parser = Outline()
    parser.feed(page)
    return parser


def test_the_page_asks_for_nothing_but_its_own_thumbnails(rows):
    page = contact_sheet_html(rows, title="Tags", look="bright field", sheet_mm=SHEET_MM)
    asked = outline(page).asks
    assert asked == [*[a for a in asked if a.startswith("data:image/jpeg;base64,")], "files/b.jpg"]
    assert len(asked) == 2
    assert not re.search(r"https?:|//[a-z]|@import|url\(", page)
    assert "default-src 'none'" in page


def test_thumbnails_with_odd_names_are_found():
    row = ScoreRow(entry("a.jpg", 50.0), picture="thumbs/a b#1?100%.jpg")
    asked = outline(contact_sheet_html([row], title="T", look="split")).asks
    assert asked == ["thumbs/a%20b%231%3F100%25.jpg"]  # RFC 3986, section 2.1


def test_names_and_messages_are_text_never_markup():
    nasty = '<img src=x onerror="alert(1)">.jpg'
    row = ScoreRow(
        entry(
            nasty,
            50.0,
            findings=[
                {
                    "what": "<script>alert(2)</script>",
                    "where_mm": [0, 0],
                    "cause": nasty,
                    "move": "</table>",
                    "gain": 0,
                }
            ],
        ),
        flags=("<b>bold</b>",),
    )
    found = outline(contact_sheet_html([row], title="</title><script>", look="split"))
    tags = [tag for tag, _ in found.elements]
    assert tags.count("script") == 1
    assert "img" not in tags
    assert "b" not in tags
    assert ("tr", nasty) in [(t, a.get("data-file")) for t, a in found.elements]


def test_marks_lie_where_geometry_puts_them():
    # The sheet fills x 200..800 and y 100..550 of the file: 5 px to a mm, no perspective.
    drawn = overlay(entry("a.jpg", 50.0), SHEET_MM)
    assert (drawn.cols, drawn.rows) == (1000, 700)
    assert drawn.sheet == "200.0,100.0 800.0,100.0 800.0,550.0 200.0,550.0"
    (mark,) = drawn.marks
    assert (mark.x, mark.y) == pytest.approx((500 + 5 * 30, 325 - 5 * 22.5), abs=0.1)
    points = np.array([[float(v) for v in p.split(",")] for p in drawn.spots[0].split()])
    assert points.mean(axis=0) == pytest.approx([500, 325], abs=0.2)
    assert np.linalg.norm(points - [500, 325], axis=1) == pytest.approx(25.0, rel=0.01)  # 5 mm


def test_marks_follow_perspective():
    # The middle of a sheet in perspective is where its diagonals cross.
    corners = [[100, 300], [100, 700], [600, 900], [600, 100]]
    placed = {"corners": corners, "rows": 700, "cols": 1000, "confidence": 1.0, "how": "sides"}
    finding = {"what": "x", "where_mm": [0.0, 0.0], "cause": "", "move": "", "gain": 0.0}
    (mark,) = overlay(entry("a.jpg", 1.0, placed=placed, findings=[finding]), SHEET_MM).marks
    share = 400 / (400 + 800)
    assert (mark.x, mark.y) == pytest.approx((500, 100 + 500 * share), abs=0.2)


def test_a_sheet_that_was_not_found_has_nothing_drawn():
    assert overlay(refused("c.jpg"), SHEET_MM) is None


def test_marks_never_cover_each_other():
    same = [{"what": "x", "where_mm": [0.0, 0.0], "cause": "", "move": "", "gain": 0.0}] * 4
    drawn = overlay(entry("a.jpg", 1.0, findings=same), SHEET_MM)
    places = np.array([[mark.x, mark.y] for mark in drawn.marks])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)[~np.eye(4, dtype=bool)]
    assert apart.min() >= 2 * 4 * drawn.radius - 0.2


def test_a_thumbnail_carries_no_metadata_and_shows_what_clips():
    codes = np.full((600, 900, 3), 90, np.uint8)
    clipped = np.zeros((600, 900, 3), bool)
    clipped[150:300, 450:600, 0] = True
    small = thumbnail(codes, clipped, long_side_px=300)
    picture = Image.open(io.BytesIO(small.picture))
    assert picture.size == (300, 200)
    assert picture.getexif() == {}
    assert not {"exif", "icc_profile", "comment"} & set(picture.info)
    mask = np.asarray(Image.open(io.BytesIO(small.clipped)).convert("RGBA"))
    shown = mask[..., 3] > 0
    assert shown[50:100, 150:200].all()
    assert shown.sum() == 50 * 50
    assert tuple(mask[60, 160]) == CLIPPED_COLOUR
    assert thumbnail(codes, np.zeros((600, 900), bool)).clipped is None


def test_ties_flags_and_verdicts_are_shown(rows):
    page = contact_sheet_html(
        rows,
        title="Tags",
        look="split",
        sheet_mm=SHEET_MM,
        comparison="lamps is better by 9 points, give or take 4.",
        reasons=("Even foil: more.",),
    )
    for words in (
        "cannot be told from b.jpg",
        "0.6 stops brighter than in the set",
        "3 photographs",
        "1 keep, 1 adjust, 1 error",
        "lamps is better by 9 points",
        "c.jpg must be a photograph",
    ):
        assert words in page, words


def test_the_same_rows_give_the_same_page(rows):
    pages = {contact_sheet_html(rows, title="T", look="split", sheet_mm=SHEET_MM) for _ in range(2)}
    assert len(pages) == 1


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_sorting_works_in_a_browser(rows, tmp_path):
    page = contact_sheet_html(rows, title="Tags", look="split", sheet_mm=SHEET_MM)
    press = (
        "<script>document.querySelector('th[data-key=file] button').click();"
        "document.querySelector('th[data-key=file] button').click();"
        "document.body.dataset.order = [...document.querySelectorAll('tbody tr')]"
        ".map(r => r.dataset.file).join('|');</script></body>"
    )
    path = tmp_path / "page.html"
    # the page runs its own scripts only: the one that presses for us needs that lifted
    lifted = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    assert lifted != page
    path.write_text(lifted.replace("</body>", press), "utf-8")
    dom = subprocess.run(
        [
            "chromium",
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--dump-dom",
            path.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=90,
        check=True,
    ).stdout
    assert 'data-order="c.jpg|b.jpg|a 1.jpg"' in dom
    assert 'aria-sort="descending"' in dom
