"""The page of `lightplan open` with hostile texts in every text field: nothing of theirs runs."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from chromium import opened_browser
from hostile import TEXTS, photograph, rig
from page_server import serve

import lightplan.page
from lightplan.rigfiles.loaded import Thing
from lightplan.rigfiles.plan_record import PlanRecord, RecordedTolerance
from lightplan.rigfiles.write import rig_to_toml

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.slow
STAGES = ("start", "look", "layout", "plan", "build", "shoot", "pick", "keep")
PATIENCE_MS = 120_000
FOLDER, WORK = '"><img src=x onerror=ran(21)>', "' onmouseover='ran(22)' q"


def as_name(text: str) -> str:
    """Return a text as a file's name, which can hold no other stroke."""
    return text.replace("/", "\N{DIVISION SLASH}")


def write_home(home: Path) -> Path:
    """Write a work with the texts in all of its fields, and presets with each as a title."""
    built = rig(0, lamps=2)
    lit = tuple(replace(lamp, on=lamp is built.lamps[0]) for lamp in built.lamps)
    built = replace(built, lamps=lit)
    names = [lamp.name for lamp in built.lamps]
    things = [
        Thing(kind="white board", width_mm=210, height_mm=297, name=f"{text} owned")
        for text in TEXTS
    ]
    record = PlanRecord(
        score=90.0,
        yield_share=0.9,
        good_score=80.0,
        tolerances=tuple(
            RecordedTolerance(element=name, dimension="x_mm", minus=3, plus=3) for name in names
        ),
        critical=tuple((name, "x_mm") for name in names),
        rig_digest=TEXTS[0],
        made_with=TEXTS[1],
        stopped_because=TEXTS[2],
    )
    text = rig_to_toml(built, notes="\n".join(TEXTS), plan=record, owned=things, shop=things)
    (home / "rigs").mkdir()
    for number, title in enumerate(TEXTS):
        small = replace(rig(number), title=title)
        (home / "rigs" / f"{number} {as_name(title)}.toml").write_text(rig_to_toml(small), "utf-8")
    folder = home / FOLDER
    folder.mkdir()
    work = folder / f"{WORK}.toml"
    work.write_text(text, "utf-8")
    return work


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="module")
def tab(home: Path) -> Iterator[tuple[Any, tuple[str, ...], list[str], list[int]]]:
    """A tab with the page for all tests, its own addresses, what it asked for, which texts ran."""
    asked: list[str] = []
    ran: list[int] = []
    with opened_browser() as browser:
        served = serve(home, str(write_home(home)))
        try:
            context = browser.new_context()
            context.set_default_timeout(PATIENCE_MS)
            context.expose_function("ran", lambda number: ran.append(number))
            page = context.new_page()
            page.on("request", lambda request: asked.append(request.url))
            page.on("dialog", lambda dialog: dialog.dismiss())
            page.goto(f"{served.address}/?key={served.key}")
            page.wait_for_selector("#stages a")
            own = (served.address, served.address.replace("http", "ws"), "data:", "blob:")
            yield page, own, asked, ran
        finally:
            served.stop()


def touch_all(page: Any) -> None:
    page.evaluate(
        "for (const e of document.querySelectorAll('body *')) for (const kind of"
        " ['mouseover', 'focus']) e.dispatchEvent(new Event(kind, {bubbles: true}))"
    )


def shown(page: Any) -> str:
    return "".join(page.inner_text("body").split())


OPEN = """async (name) => {
  const { on, say } = await import("/static/wire.js");
  await new Promise((done) => {
    on("work", (work) => work.file === `${name}.toml` && done());
    say({ do: "open", name });
  });
}"""
"""Lay a work of that file name on the table, and wait until the page tells of it."""


ART = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 6"><rect width="4" height="3"/></svg>'


def drop_on_start(page: Any, folder: Path) -> None:
    """Drop artwork, a print and photographs of hostile names on the questions of Start."""
    named = [(as_name(text), text) for text in TEXTS]
    for name, text in named:
        (folder / f"{name}.svg").write_text(ART, "utf-8")
        (folder / f"{name}.broken.svg").write_text(f"<svg>{text}", "utf-8")
        photograph(folder / f"{name}.jpg", text)
    page.evaluate("location.hash = 'start'")
    page.click("text=Describe my product")
    for words in ("Card", "A6", "Gold foil"):
        page.click(f".question >> text='{words}'")
    for name, _ in named[2:4]:
        page.click("summary >> text=/beside white/")
        page.set_input_files(".more input[type=file]", folder / f"{name}.jpg")
        page.wait_for_selector(".pointing img")
        touch_all(page)
        page.click("text=Take another photograph")
    page.click(".question >> text='Cream'")
    for number, (name, _) in enumerate(named):
        if number % 5 == 0:
            page.set_input_files(".drop >> nth=0 >> input", folder / f"{name}.broken.svg")
            page.wait_for_selector(".drop .warn >> nth=0")
            touch_all(page)
        page.set_input_files(".drop >> nth=0 >> input", folder / f"{name}.svg")
        page.wait_for_selector(".artwork img")
        touch_all(page)
        page.click("text=Take another file")
    page.click("summary >> text=/the print itself/")
    for name, _ in named[2:4]:
        page.set_input_files(".more input[type=file]", folder / f"{name}.jpg")
        page.wait_for_selector(".more .warn, .artwork img")
        touch_all(page)
        if page.locator(".artwork img").count():
            page.click("text=Take another file")
            page.click("summary >> text=/the print itself/")
    page.click("text=I have none at hand")
    for name, _ in named[::4]:
        page.set_input_files(".drop input", folder / f"{name}.jpg")
        page.wait_for_selector(".photo-told img")
        touch_all(page)
        page.click("text=Back")
        page.click("text=I have none at hand")
        if page.locator(".photo-told").count():
            page.click("text=Take another photograph")


def test_hostile_names_and_texts_that_are_dropped_on_the_questions_do_nothing(
    tab: Any, tmp_path: Path
) -> None:
    page, own, asked, ran = tab
    drop_on_start(page, tmp_path)
    assert ran == []
    assert [url for url in asked if not url.startswith(own)] == []


def test_advice_on_a_photograph_of_hostile_name_and_texts_does_nothing(
    tab: Any, home: Path, tmp_path: Path
) -> None:
    page, own, asked, ran = tab
    page.evaluate("location.hash = 'shoot'")
    page.wait_for_selector("label.drop")
    texts = [TEXTS[2] + TEXTS[3]]  # in one name: advice takes its time
    put = [tmp_path / f"{as_name(text)}.jpg" for text in texts]
    folder = home / FOLDER / f"{WORK} photographs"
    folder.mkdir(exist_ok=True)
    for path, text in zip(put, texts, strict=True):
        photograph(folder / path.name, text)
    for path in put:
        page.locator(".strip .shot", has_text=path.stem).click()
        page.wait_for_selector(f"figcaption:has-text({json.dumps(path.name)})")
        touch_all(page)
    page.evaluate("location.hash = 'pick'")
    page.click("text=Judge all frames")
    page.wait_for_selector(".rank")
    touch_all(page)
    assert ran == []
    assert [url for url in asked if not url.startswith(own)] == []


def test_no_text_runs_or_asks_for_anything_on_any_stage(
    tab: Any, home: Path, tmp_path: Path
) -> None:
    page, own, asked, ran = tab
    for stage in STAGES:
        page.evaluate(f"location.hash = '{stage}'")
        page.wait_for_selector(f"main[data-stage={stage}] h1")
        if stage == "layout":
            page.wait_for_selector(".verdict .score")
        if stage == "keep":
            page.wait_for_selector(".shelf-item")
            for number in (3, 5):
                page.check(f".tick input >> nth={number}")
            page.wait_for_selector(".side-by-side")
        if stage == "shoot":
            put = [tmp_path / f"{number} {as_name(text)}.jpg" for number, text in enumerate(TEXTS)]
            folder = home / FOLDER / f"{WORK} photographs"
            folder.mkdir(exist_ok=True)
            for path, text in zip(put, TEXTS, strict=True):
                photograph(path, text)
                shutil.copy(path, folder / f"by hand {path.name}")  # a drop tames names
            page.set_input_files("label.drop input[type=file]", put)
            page.locator(".strip .shot img").nth(2 * len(TEXTS) - 1).wait_for()
            named = set(page.locator(".strip .name").all_text_contents())
            assert {f"by hand {path.name}" for path in put} <= named
        touch_all(page)
        page.wait_for_timeout(300)
    for text in TEXTS:  # on the shelf, as they were typed
        assert "".join(text.split()) in shown(page)
    for name in sorted(path.stem for path in (home / "rigs").glob("*.toml")):
        page.evaluate(OPEN, name)
        touch_all(page)
    page.wait_for_timeout(300)
    assert ran == []
    assert [url for url in asked if not url.startswith(own)] == []
    asked.clear()
    page.evaluate("fetch('https://example.org/x').catch(() => 0)")  # and it would be seen
    page.evaluate("ran(1)")
    assert ran == [1]


MAKES_MARKUP = re.compile(
    r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|createContextualFragment"
    r"|\beval\(|new Function|srcdoc"
)


def test_scripts_of_the_page_never_make_markup_of_text() -> None:
    folder = Path(lightplan.page.__file__).parent / "static"
    scripts = [*folder.glob("*.js"), *folder.glob("stages/*.js")]
    assert len(scripts) >= 10
    found = [(s.name, MAKES_MARKUP.findall(s.read_text("utf-8"))) for s in scripts]
    assert [one for one in found if one[1]] == []
    assert MAKES_MARKUP.search("place.innerHTML = `<b>${name}</b>`")
