"""From a move to its picture in chromium, beside a bare echo of a picture, in one run.

Run: PYTHONPATH=tests python tests/benchmarks/page_latency.py [--rig rose-gold-tag-dark]

Prints medians and 95th percentiles in ms, when the full-detail picture comes after the hand rests,
what 200 moves a second leave waiting, and memory;
`--rush 3600` drags for an hour.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

from page_server import serve
from playwright.sync_api import sync_playwright

SETTLE_MS = 4000
TURNS = """async ([count, thing]) => {
  const wire = await import('/static/wire.js');
  const drawn = () => new Promise((done) => document.addEventListener(
    'picture-drawn', (event) => done(event.detail.mark), {once: true}));
  const at = wire.state.layout.things.find((one) => one.name === thing).position_mm;
  const found = {moves: [], echoes: []};
  for (let i = 0; i < count; i++) {
    let begun = performance.now();
    let next = drawn();
    wire.say({do: 'echo'});
    await next;
    found.echoes.push(performance.now() - begun);
    begun = performance.now();
    const mark = wire.edit([{do: 'move', element: thing, keeps_direction: true,
      position_mm: [at[0] + (i % 40), at[1] + (i % 13), at[2]]}], 'moved', 'bench');
    let seen = null;
    while (seen !== mark) { next = drawn(); seen = await next; }
    found.moves.push(performance.now() - begun);
  }
  wire.say({do: 'let go'});
  return found;
}"""
RESTS = """async ([count, thing]) => {
  const wire = await import('/static/wire.js');
  const at = wire.state.layout.things.find((one) => one.name === thing).position_mm;
  const found = [];
  for (let i = 0; i < count; i++) {
    const begun = performance.now();
    const closer = new Promise((done) => {
      const off = wire.on('closer', () => { off(); done(); });
    });
    wire.edit([{do: 'move', element: thing, keeps_direction: true,
      position_mm: [at[0] + 5 * i, at[1], at[2]]}], 'moved', 'rest');
    wire.say({do: 'let go'});
    await closer;
    found.push(performance.now() - begun);
  }
  return found;
}"""
RUSH = """async ([seconds, thing]) => {
  const wire = await import('/static/wire.js');
  const at = wire.state.layout.things.find((one) => one.name === thing).position_mm;
  let last = 0, count = 0, pictures = 0, seen = 0;
  document.addEventListener('picture-drawn', (e) => { pictures += 1; seen = e.detail.mark; });
  const start = performance.now();
  while (performance.now() < start + 1000 * seconds) {
    for (; count < 0.2 * (performance.now() - start); count += 1) // 200 a second, on time
      last = wire.edit([{do: 'move', element: thing, keeps_direction: true,
        position_mm: [at[0] + (count % 60), at[1], at[2]]}], 'moved', 'rush');
    await new Promise((done) => setTimeout(done, 2));
  }
  const begun = performance.now();
  while (seen !== last && performance.now() - begun < 20000)
    await new Promise((done) => setTimeout(done, 1));
  return {moves: count, pictures, last_picture_after_ms: performance.now() - begun};
}"""


def memory_mb(pid: int) -> float:
    """Memory of a process, MB."""
    pages = int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, round(share * (len(values) - 1)))]


def measured(page: Any, pid: int, thing: str, *, count: int, rush_s: float) -> None:
    for _ in range(2):  # the first fills caches
        found = page.evaluate(TURNS, [count, thing])
    for name, values in found.items():
        print(
            f"{name}: median {statistics.median(values):.0f} ms, "
            f"95 % within {percentile(values, 0.95):.0f} ms ({len(values)} of them)"
        )
    page.evaluate(RESTS, [1, thing])  # the child that looks closely begins
    rests = page.evaluate(RESTS, [5, thing])
    print(f"full detail after the hand rests: median {statistics.median(rests):.0f} ms (5 of them)")
    rushed(page, pid, thing, rush_s)


def rushed(page: Any, pid: int, thing: str, rush_s: float) -> None:
    """Move as fast as a hand never does, in quarters; memory of server and tab after each."""
    tab_mb = "performance.memory.usedJSHeapSize / 1e6"
    taken = [(memory_mb(pid), page.evaluate(tab_mb))]
    moves = pictures = 0
    for _ in range(4):
        told = page.evaluate(RUSH, [rush_s / 4, thing])
        moves, pictures = moves + told["moves"], pictures + told["pictures"]
        taken.append((memory_mb(pid), page.evaluate(tab_mb)))
    print(
        f"rush: {moves / rush_s:.0f} moves a second for {rush_s:g} s, "
        f"{pictures} pictures, the last {told['last_picture_after_ms']:.0f} ms after it; "
        f"memory of the server before, and after each quarter: "
        f"{', '.join(f'{server:.0f}' for server, _ in taken)} MB; of the tab's scripts: "
        f"{', '.join(f'{tab:.0f}' for _, tab in taken)} MB"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rig", default="rose-gold-tag-dark")
    parser.add_argument("--thing", default="left edge")
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--rush", type=float, default=60.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as home, sync_playwright() as driver:
        served = serve(Path(home), asked.rig)
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1360, "height": 860})
        begun = time.perf_counter()
        page.goto(f"{served.address}/?key={served.key}")
        page.wait_for_selector("#stages a")
        print(f"first page after {1000 * (time.perf_counter() - begun):.0f} ms")
        page.evaluate("location.hash = 'layout'")
        page.wait_for_selector(".things .thing")
        page.wait_for_timeout(SETTLE_MS)
        measured(page, served.process.pid, asked.thing, count=asked.count, rush_s=asked.rush)
        browser.close()
        served.stop()


if __name__ == "__main__":
    main()
