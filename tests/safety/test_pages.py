"""Pages made from hostile texts: no script of theirs runs, nothing outside is asked for.

Each of the twenty texts stands in each text field that a page shows: of a rig, of a photograph's
name and EXIF, and in what a report may say of them. Where a page has a field but once, as its
title, twenty pages are opened side by side.
"""

from dataclasses import fields, replace

import numpy as np
import pytest
from chromium import opened_browser
from hostile import TEXTS, photograph, rig

from lightplan.light import Detail, Engine
from lightplan.reports.contact_sheet import contact_sheet_html
from lightplan.reports.ledger import Note, ledger_html
from lightplan.reports.proof import ProofCell
from lightplan.reports.proof_page import proof_html
from lightplan.reports.scores import ScoreRow
from lightplan.reports.view_html import view_html


@pytest.fixture(scope="module")
def browser():
    """A browser that tells what a page asked for and which of its texts ran."""
    with opened_browser() as found:
        yield found


def opened(browser, path):
    """Open a page, touch every element, and return what ran, what was asked for, and its text."""
    ran, outside, texts = all_opened(browser, [path])
    return ran, outside, texts[0]


TOUCH = (
    "for (const e of document.querySelectorAll('*')) for (const kind of"
    " ['mouseover', 'focus', 'click']) e.dispatchEvent(new Event(kind, {bubbles: true}))"
)
FRAMES = 10  # of a tab; a browser draws no more than 16 sets in 3-D in one


def all_opened(browser, paths):
    """Open pages side by side, touch every element, and return what ran, was asked for, is read.

    They stand as frames in a tab or two, all of them in sight, or they would not be drawn: a tab
    for each takes three times as long.
    """
    context = browser.new_context()
    asked, ran, frames = [], [], []
    context.on("request", lambda request: asked.append(request.url))
    context.expose_function("ran", lambda number: ran.append(number))
    for start in range(0, len(paths), FRAMES):
        some = paths[start : start + FRAMES]
        beside = paths[0].parent / f"side by side {start}.html"
        size = "width: 100vw; height: 100vh" if len(some) == 1 else "width: 24vw; height: 30vh"
        framed = [f'<iframe style="border: 0; {size}" src="{path.name}"></iframe>' for path in some]
        beside.write_text(f'<body style="margin: 0">{"".join(framed)}', "utf-8")
        page = context.new_page()
        page.on("dialog", lambda dialog: dialog.dismiss())
        page.goto(beside.as_uri())
        opened_here = page.main_frame.child_frames
        assert len(opened_here) == len(some)
        for frame in opened_here:
            frame.evaluate(TOUCH)
        frames += opened_here
    page.wait_for_timeout(100)
    texts = [frame.inner_text("body") for frame in frames]
    context.close()
    own = (paths[0].parent.as_uri(), "data:")
    return ran, [url for url in asked if not url.startswith(own)], texts


def harmless(browser, folder, written):
    """Open a page for each text, as `written` makes it: nothing runs, and the text is read."""
    paths = []
    for number, text in enumerate(TEXTS):
        paths.append(folder / f"{number}.html")
        paths[-1].write_text(written(text), "utf-8")
    ran, outside, texts = all_opened(browser, paths)
    assert (ran, outside) == ([], [])
    for hostile, text in zip(TEXTS, texts, strict=True):
        assert squeezed(hostile) in squeezed(text)


def squeezed(text):
    return "".join(text.split())


@pytest.fixture(scope="module")
def drawn():
    """The set in 3-D of a rig with every text as the name of every kind of thing."""
    built = rig(0, lamps=len(TEXTS), others=len(TEXTS))
    small = rig(0)
    detail = Detail.quick(camera_rows=24, camera_cols=32)
    return built, small, Engine(small, detail).layers(small)


@pytest.mark.slow
def test_the_set_in_3d_names_things(browser, tmp_path, drawn):
    built, _, layers = drawn
    path = tmp_path / "set.html"
    path.write_text(view_html(built, layers), "utf-8")
    ran, outside, text = opened(browser, path)
    assert ran == []
    assert outside == []
    for hostile in TEXTS:
        for kind in ("lamp", "card"):
            assert squeezed(f"{hostile} {kind}") in squeezed(text)  # shown as it was typed


@pytest.mark.slow
def test_the_set_in_3d_has_a_title(browser, tmp_path, drawn):
    _, small, layers = drawn
    harmless(browser, tmp_path, lambda text: view_html(replace(small, title=text), layers))


def proof_cell(text):
    """A cell that has a text wherever a cell can have one."""
    values = {field.name: text for field in fields(ProofCell)}
    numbers = {"codes": np.zeros((8, 10, 3), np.uint8), "score": 50.0, "metal": 0.5}
    return ProofCell(**{**values, **numbers, "facts": (text, text)})


def test_the_proof_sheet(browser, tmp_path):
    cells, left_out = [proof_cell(text) for text in TEXTS], [(text, text) for text in TEXTS]
    harmless(
        browser,
        tmp_path,
        lambda text: proof_html(cells, title=text, left_out=left_out, careful=TEXTS),
    )


def test_the_notes_of_a_shoot(browser, tmp_path):
    picture = np.zeros((8, 10, 3), np.uint8)
    notes = [Note(text, text, 50.0, (text,), text, text, picture) for text in TEXTS]
    harmless(browser, tmp_path, lambda text: ledger_html(text, notes, careful=TEXTS))
    # were something overlooked, it could not run either
    assert "default-src 'none'" in ledger_html("Tags", notes)


@pytest.mark.slow
def test_names_and_exif_of_photographs(browser, tmp_path, lightplan):
    shots, out = tmp_path / "shots", tmp_path / "out"
    shots.mkdir()
    for number, text in enumerate(TEXTS):
        name = text.replace("/", "\N{DIVISION SLASH}")  # a name can hold no other
        photograph(shots / f"{number} {name}.jpg", text)
        assert text.encode() in next(shots.glob(f"{number} *")).read_bytes()
    said = lightplan("score", shots, "--size", "96x64", "--workers", 1, "--out", out)
    assert said.code == 0, said.err
    ran, outside, text = opened(browser, out / "contact_sheet.html")
    assert (ran, outside) == ([], [])
    assert "3 ' onmouseover='ran(4)' autofocus" in text  # all names are there, as text


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
    harmless(
        browser,
        tmp_path,
        lambda text: contact_sheet_html(
            rows, title=text, look=text, comparison=text, reasons=TEXTS
        ),
    )


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
