"""Questions in the terminal, and how their answers are read."""

from __future__ import annotations

import re
import sys
from typing import Any

UNITS = {"mm": 1.0, "cm": 10.0, "in": 25.4, '"': 25.4, "inches": 25.4, "": 1.0}


SIZE = re.compile(r'([\d.]+)\s*[x×]\s*([\d.]+)\s*(mm|cm|in|inches|")?')


def ask(question: dict[str, Any]) -> Any:
    """Ask on stderr, so that stdout holds the result alone; read one line."""
    _say(f"\n{question['asks']}  {question['help']}")
    options = question["options"]
    for number, option in enumerate(options, 1):
        note = f" ({option['note']})" if option["note"] else ""
        _say(f"  {number}  {option['words']}{note}")
    reads = {"size": _size, "lamps": _many, "counts": _counts}.get(question["kind"], _one)
    while True:
        found = reads(_line(HINTS.get(question["kind"], "number")), options)
        if found is not False:
            return found
        _say("  That was not understood; once more, or Enter if you do not know.")


HINTS = {
    "size": "number, or as 90 x 120 mm",
    "lamps": "numbers of all you have, as 1 2; with watts as 1:85",
    "counts": "as 2:3 for three of the second, 0 for none",
}


def _line(hint: str) -> str:
    print(f"  {hint}: ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()


def _say(text: str) -> None:
    print(text, file=sys.stderr)


def _one(line: str, options: list[dict[str, Any]]) -> Any:
    if not line:
        return "unknown"
    return options[int(line) - 1]["id"] if _is_number(line, options) else False


def _size(line: str, options: list[dict[str, Any]]) -> Any:
    if found := SIZE.fullmatch(line.lower()):
        by = UNITS[found[3] or ""]
        return {"width_mm": float(found[1]) * by, "height_mm": float(found[2]) * by}
    return _one(line, options)


def _many(line: str, options: list[dict[str, Any]]) -> Any:
    found = []
    for part in line.replace(",", " ").split():
        number, _, watts = part.partition(":")
        if not _is_number(number, options) or not (watts == "" or watts.isdigit()):
            return False
        lamp: dict[str, Any] = {"kind": options[int(number) - 1]["id"]}
        found.append(lamp | ({"watts": int(watts)} if watts else {}))
    return found


def _counts(line: str, options: list[dict[str, Any]]) -> Any:
    if not line:
        return "unknown"
    found: dict[str, int] = {}
    if line == "0":
        return found
    for part in line.replace(",", " ").split():
        number, _, count = part.partition(":")
        if not _is_number(number, options) or not (count == "" or count.isdigit()):
            return False
        found[options[int(number) - 1]["id"]] = int(count) if count else 1
    return found


def _is_number(text: str, options: list[dict[str, Any]]) -> bool:
    return text.isdigit() and 1 <= int(text) <= len(options)
