"""Every stage as a first-time maker walks through them, and as people with other eyes see them.

With LIGHTPLAN_SCREENSHOTS set to a folder, the pictures of docs/page.md are written there.
"""

from __future__ import annotations

import contextlib
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from page_server import Served, serve
from page_walk import go, shot

from lightplan.rigfiles import load_rig

if TYPE_CHECKING:
    from collections.abc import Iterator

PATIENCE_MS = 300_000
STAGES = ("start", "look", "layout", "plan", "build", "shoot", "pick", "keep")


@pytest.fixture(scope="module")
def opened(open_tab) -> Iterator[Any]:
    """One tab for all tests, and what went wrong in it."""
    with open_tab("", "#stages a", (1360, 860), PATIENCE_MS) as page:
        yield page


def axe() -> str:
    package = pytest.importorskip("axe_playwright_python", reason="axe is not installed")
    return (Path(package.__file__).parent / "axe.min.js").read_text("utf-8")


def faults_of(tab: Any, script: str) -> list[str]:
    """Serious and critical faults that axe finds, with where."""
    tab.evaluate(script)
    found = tab.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{fault['id']}: {node['target']} {node.get('failureSummary', '')[:160]}"
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"]
    ]


def ready(tab: Any, stage: str) -> None:
    """Wait until a stage shows what it is about."""
    there = {"layout": ".findings, .verdict .score", "build": ".steps li", "keep": ".shelf-item"}
    if stage in there:
        tab.wait_for_selector(there[stage])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault_on_any_stage(tab, scheme):
    script = axe()
    tab.emulate_media(color_scheme=scheme)
    found = []
    for stage in STAGES:
        go(tab, stage)
        ready(tab, stage)
        found += [f"{stage}: {fault}" for fault in faults_of(tab, script)]
    go(tab, "start")
    tab.click("text=Describe my product")
    found += [f"question: {fault}" for fault in faults_of(tab, script)]
    tab.click("text=Back")
    tab.emulate_media(color_scheme="light")
    assert found == []


@pytest.mark.parametrize("width", [380, 680])  # a phone; a laptop at 200 % zoom
def test_in_a_narrow_window_nothing_sticks_out(tab, width):
    tab.set_viewport_size({"width": width, "height": 800})
    out = []
    for stage in STAGES:
        go(tab, stage)
        ready(tab, stage)
        wide = tab.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            out.append((stage, wide))
    tab.set_viewport_size({"width": 1360, "height": 860})
    assert out == []


def test_on_paper_there_are_steps_and_no_buttons(tab):
    go(tab, "build")
    ready(tab, "build")
    tab.emulate_media(media="print")
    visible = tab.evaluate(
        "[...document.querySelectorAll('button, nav, .tools')].filter(e => e.offsetParent).length"
    )
    steps = tab.locator(".steps li").count()
    tab.emulate_media(media="screen")
    assert visible == 0
    assert steps >= 5


def test_a_plan_says_that_its_sheet_stays_small_in_the_frame(tab):
    go(tab, "plan")
    plan = """{can: true, look: "gradient", picture: "", score: 90, start_score: null, yield: 0.9,
        tolerances: [], moves: [], unknown: [], shutter: "1/50 s", small: SMALL}"""
    show = """import('/static/wire.js').then((wire) => {
        wire.state.plans = {is: 'plans', plans: [PLAN]}; wire.tell('plans', wire.state.plans); })"""
    for small, said in (('"crop to the sheet afterwards"', 1), ('""', 0)):
        tab.evaluate(show.replace("PLAN", plan.replace("SMALL", small)))
        assert tab.locator(".plan-card >> text=Crop to the sheet afterwards.").count() == said
    tab.evaluate("import('/static/wire.js').then((wire) => { wire.state.plans = null; })")


def test_a_plan_says_that_walls_hold_it_back_and_so_does_none(tab):
    go(tab, "plan")
    plans = """{can: true, look: "gradient", picture: "", score: 50, start_score: null, yield: 0.9,
        tolerances: [], moves: [], unknown: [], shutter: "1/50 s", small: "", room: "ROOM"},
        {can: false, look: "gradient", picture: "", reason: "too low", wish: "", room: "ROOM"}"""
    show = """import('/static/wire.js').then((wire) => {
        wire.state.plans = {is: 'plans', plans: [PLANS]};
        wire.tell('plans', wire.state.plans); })"""
    for room, said in (("The ceiling holds this plan back.", 2), ("", 0)):
        tab.evaluate(show.replace("PLANS", plans.replace("ROOM", room)))
        tab.wait_for_selector(".plan-card >> text=Too low.")
        assert tab.locator(".plan-card >> text=The ceiling holds this plan back.").count() == said
    tab.evaluate("import('/static/wire.js').then((wire) => { wire.state.plans = null; })")


def test_a_look_in_two_frames_says_so_and_how_they_are_taken(tab):
    go(tab, "look")
    looks = """{can: true, look: "gradient", picture: "", score: 26, verdict: "retake", yield: 0.9,
        metal: 0.1, needs: ["softbox"], number: 0, two_frames: "SAID", two_frames_steps: STEPS}"""
    show = """import('/static/wire.js').then((wire) => {
        wire.state.looks = {is: 'looks', looks: [LOOKS]};
        wire.tell('looks', wire.state.looks); })"""
    shown = "Shown are two frames joined, 61 of 100."
    taken = '[["Foil frame", "softbox: half power."]]'
    for said, steps, there in ((shown, taken, 1), ("", "[]", 0)):
        told = looks.replace("SAID", said).replace("STEPS", steps)
        tab.evaluate(show.replace("LOOKS", told))
        assert tab.locator(f".cell >> text={shown}").count() == there
        assert tab.locator(".cell .score >> text=26 of 100 in one frame").count() == there
        assert tab.locator(".cell dt >> text=Foil frame").count() == there
        assert tab.locator(".cell dd >> text=softbox: half power.").count() == there
    tab.evaluate("import('/static/wire.js').then((wire) => { wire.state.looks = null; })")


def test_a_set_for_two_frames_says_so_where_it_is_built(tab):
    go(tab, "build")
    ready(tab, "build")
    show = """import('/static/wire.js').then((wire) => {
        wire.state.setup = {...wire.state.setup, two_frames: FRAMES};
        wire.tell('setup', wire.state.setup); })"""
    for frames, there in (('[["Foil frame", "softbox: half power."]]', 1), ("[]", 0)):
        tab.evaluate(show.replace("FRAMES", frames))
        assert tab.locator(".build-side h2 >> text='Two frames, one picture'").count() == there
        assert tab.locator(".build-side dt >> text=Foil frame").count() == there
        assert tab.locator(".build-side dd >> text=softbox: half power.").count() == there
        assert tab.locator(".build-side p >> text=/change the shutter alone/").count() == there
        assert tab.locator(".build-side p >> text=/Lock exposure/").count() == 1 - there


def test_all_of_the_page_comes_from_this_machine(tab, served):
    asked: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    tab.reload()
    for stage in STAGES:
        go(tab, stage)
    away = [u for u in asked if not u.startswith((served.address, "blob:", "data:", "ws://127"))]
    assert away == []
    assert len(asked) > 5


PRINT = Path(__file__).parents[1] / "reference/slipped/photographs/silver_gradient_05.jpg"


def test_without_artwork_the_metal_is_told_from_a_photograph_of_the_print(tab, served):
    go(tab, "start")
    tab.click("text=Describe my product")
    tab.click(".question >> text='Bookplate'")
    tab.get_by_label("Width").fill("90")
    tab.get_by_label("Height").fill("120")
    for words in ("That is it", "Silver foil", "Midnight blue"):
        tab.click(f".question >> text='{words}'")
    tab.click("summary >> text=/the print itself/")
    tab.set_input_files(".more input[type=file]", PRINT)
    tab.wait_for_selector(".print .metal img")
    parts = tab.locator(".print .colour")
    colours = parts.locator("i").evaluate_all(
        "all => all.map(i => getComputedStyle(i).backgroundColor.match(/\\d+/g).map(Number))"
    )
    for number, colour in enumerate(colours):  # the stock is midnight blue, the foil is silver
        if sum(colour) < 150:
            parts.nth(number).click()
    assert parts.nth(0).get_attribute("aria-pressed") == "true"
    shot(tab, "start-print")
    tab.click("text=That is the metal")
    for words in ("Phone, main lens", "Softbox", "Go on", "Go on", *["I do not know"] * 3):
        tab.click(f".question >> text='{words}'")
    tab.get_by_label("Name of this work").fill("Told from the print")
    tab.keyboard.press("Enter")
    tab.wait_for_selector("main[data-stage=layout] .verdict .score")
    share = float(
        load_rig(served.home / "works" / "told-from-the-print.toml").rig.sheet.artwork.mean()
    )
    assert 0.14 < share < 0.22  # 0.18 of it was stamped


def page_of(browser: Any, served: Served, stage: str) -> Any:
    """Return a new page on a stage of what is served."""
    page = browser.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{served.address}/?key={served.key}#{stage}")
    return page


def test_the_page_comes_back_with_the_work_after_the_server_was_gone(browser, tmp_path_factory):
    home = tmp_path_factory.mktemp("again")
    first = serve(home, "gold-card-above")
    page = page_of(browser, first, "layout")
    page.wait_for_selector('.plan .thing[data-name="roof"]')
    page.focus('.plan .thing[data-name="roof"]')
    page.keyboard.press("ArrowRight")
    page.wait_for_selector("#undo:enabled")
    work = home / "works" / "gold-card-above.toml"
    before = work.read_bytes()
    for _ in range(200):  # what is on the disk survives; the second before may be lost
        if work.read_bytes() != before:
            break
        page.wait_for_timeout(100)
    page.wait_for_timeout(2000)  # that second: the file is written, then what was done to it
    first.process.kill()  # as if the plug was pulled
    first.process.wait()
    page.wait_for_selector("html.line-down")
    second = serve(home, "gold-card-above", "--port", str(first.port))
    page.wait_for_selector("html:not(.line-down)")
    page.wait_for_selector("#undo:enabled")
    assert "moved roof" in page.get_attribute("#undo", "title")
    page.close()
    second.stop()
    first.close()


def children_of(parent: int) -> list[int]:
    """Return the processes that a process started, theirs too."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            number, rest = stat.parent.name, stat.read_text().rpartition(")")[2]
            if int(rest.split()[1]) == parent:
                found += [int(number), *children_of(int(number))]
    return found


@pytest.mark.slow
def test_a_server_that_goes_in_the_middle_of_a_plan_comes_back_ready_to_plan(
    browser, tmp_path_factory
):
    home = tmp_path_factory.mktemp("planning")
    first = serve(home, "silver-bookplate-bright")
    page = page_of(browser, first, "plan")
    page.click("text=Find the best set-up")
    page.wait_for_selector(".busy >> text=Stop")
    workers = children_of(first.process.pid)
    assert workers  # the plan is made beside the server
    first.process.kill()
    first.process.wait()
    page.wait_for_selector("html.line-down")
    ends_by = time.monotonic() + 60
    while any(Path(f"/proc/{one}/cmdline").exists() for one in workers):
        assert time.monotonic() < ends_by, "the killed server's plan goes on"
        time.sleep(0.2)
    second = serve(home, "silver-bookplate-bright", "--port", str(first.port))
    page.wait_for_selector("html:not(.line-down)")
    page.click("text=Find the best set-up")
    page.wait_for_selector(".busy >> text=Stop")
    page.click(".busy >> text=Stop")
    page.wait_for_selector("text=/Find the best set-up|Look for another plan/")
    page.close()
    second.stop()
    first.close()
