"""On which line of a rig file a field stands, and what is wrong with a line that is no TOML."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from lightplan.rigfiles.explain import dotted

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

# What is not closed counts to the end of its line or of the file, so nothing is read twice.
_STRINGS = re.compile(
    r'"""(?:[^\\]|\\.)*?(?:"""|\Z)'
    r"|'''.*?(?:'''|\Z)"
    r'|"(?:[^"\\\n]|\\.)*+"?'
    r"|'[^'\n]*+'?",
    re.DOTALL,
)
_COMMENT = re.compile(r"#[^\n]*")
_PART = r"(?:[\w-]+|\"[^\"]*\"|'[^']*')"
_KEY = re.compile(rf"\s*({_PART}(?:\s*\.\s*{_PART})*)\s*=")
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_PART}(?:\s*\.\s*{_PART})*)\s*\]")
# Possessive, and only from where a word begins: a megabyte of one word is gone through once.
_DEEP = re.compile(r"(?<![\w-])[\w-]++(?:\s*+\.\s*+[\w-]++){16}")

_MARKS = re.compile(r"[\[\]{}\n]")
_ENDLESS = re.compile(r"(?<![\d_])(?:\d_?+){4301}")  # sys.int_info.default_max_str_digits


def bare(text: str) -> str:
    """Return the text with comments gone and strings emptied, each line where it was."""

    def emptied(found: re.Match[str]) -> str:
        return "s" + "\n" * found[0].count("\n")

    return _COMMENT.sub("", _STRINGS.sub(emptied, text))


def too_deep(text: str) -> int | None:
    r"""Return the line, from 1, whose names of tables nest so deep that reading takes for ever.

    >>> too_deep("a = 1\n[" + "b." * 16 + "b]")
    2
    """
    plain = bare(text)
    found = _DEEP.search(plain)
    return None if found is None else plain.count("\n", 0, found.start()) + 1


def deepest_line(text: str) -> int:
    r"""Return the line, from 1, on which brackets first stand in the most others.

    >>> deepest_line("a = [1]\nb = [[[2]]]\nc = [[[3]]]")
    2
    """
    depth = most = 0
    line = deepest = 1
    for mark in _MARKS.findall(bare(text)):
        depth = max(0, depth + 1 if mark in "[{" else depth - 1 if mark in "]}" else depth)
        line += mark == "\n"
        if depth > most:
            most, deepest = depth, line
    return deepest


def endless_number(text: str) -> int | None:
    """Return the line, from 1, of the first number that Python refuses for its many digits."""
    found = _ENDLESS.search(text)
    return None if found is None else text.count("\n", 0, found.start()) + 1


def lines_of(text: str, document: Mapping[str, Any]) -> dict[str, int]:
    r"""Return the line, from 1, of every field by its dotted name.

    >>> lines_of('a = 1\n[[lamps]]\nname = "key"\n', {"a": 1, "lamps": [{"name": "key"}]})
    {'a': 1, 'lamps': 2, 'lamps.key': 2, 'lamps.key.name': 3}
    """
    found: dict[str, int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    depth = 0
    plain_lines = _lines_kept(text)
    for number, (line, code) in enumerate(zip(text.split("\n"), plain_lines, strict=True), 1):
        header = _HEADER.match(line) if depth == 0 and code.strip() else None
        key = _KEY.match(line) if depth == 0 and code.strip() and header is None else None
        if header is not None:
            table = _place(_parts(header[2]), counts)
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                found.setdefault(dotted(table, document), number)
                table = (*table, counts[table])
            found.setdefault(dotted(table, document), number)
            continue
        if key is not None:
            found.setdefault(dotted((*table, *_parts(key[1])), document), number)
        depth = max(0, depth + sum(code.count(c) for c in "[{") - sum(code.count(c) for c in "]}"))
    return found


def without_things(text: str, names: Collection[str]) -> str:
    r"""Return the text without some things' tables, each with the comment right above it.

    The comment of the thing that follows stays. Things that are written on one line are left.

    >>> without_things('# A.\n[[cards]]\nname = "a"\n\n# B.\n[[cards]]\nname = "b"\n', ["a"])
    '# B.\n[[cards]]\nname = "b"\n'
    """
    if not names:
        return text
    lines = text.split("\n")
    stand = lines_of(text, tomllib.loads(text))
    heads = {n - 1: found for n in stand.values() if (found := _HEADER.match(lines[n - 1]))}
    gone: set[int] = set()
    for kind in ("lamps", "cards", "shells"):
        for name in names:
            at = stand.get(f"{kind}.{name}", 0) - 1
            if at in heads:
                gone |= set(range(_above(lines, at), _end(lines, heads, at, kind)))
    return "\n".join(line for number, line in enumerate(lines) if number not in gone)


def _above(lines: Sequence[str], at: int) -> int:
    """Return where the comment right above a line begins."""
    while at > 0 and lines[at - 1].lstrip().startswith("#"):
        at -= 1
    return at


def _end(lines: Sequence[str], heads: Mapping[int, re.Match[str]], at: int, kind: str) -> int:
    """Return where the table that begins at a line ends, with what it holds."""
    later = [n for n, head in heads.items() if n > at and not head[2].startswith(f"{kind}.")]
    return _above(lines, min(later)) if later else len(lines)


def _lines_kept(text: str) -> list[str]:
    return bare(text).split("\n")


def line_of(field: str, lines: Mapping[str, int]) -> int | None:
    """Return the line of a field, or of the table it should stand in."""
    while field:
        if field in lines:
            return lines[field]
        field = field[: max(field.rfind("."), field.rfind(" "), 0)]  # "sheet.artwork leaf.png"
    return None


def _parts(key: str) -> list[str]:
    return [part.strip().strip("\"'") for part in re.findall(_PART, key)]


def _place(parts: list[str], counts: Mapping[tuple[str | int, ...], int]) -> tuple[str | int, ...]:
    """Return where a header leads: within a list of tables, to the last of them."""
    place: tuple[str | int, ...] = ()
    for number, part in enumerate(parts):
        place = (*place, part)
        if place in counts and number < len(parts) - 1:
            place = (*place, counts[place])
    return place


def no_toml(text: str, line: int) -> tuple[int, str, str, str] | None:
    """Return line, field, what was wanted and the cure for a usual slip of the pen.

    Parameters
    ----------
    text : str
    line : int
        Where the parser gave up, from 1: at the slip or on one of the next lines.

    >>> no_toml("width_mm = 50cm", 1)
    (1, 'width_mm', 'a number without a unit', 'write 500')
    """
    rows = text.split("\n")
    for number in range(min(line, len(rows)), max(0, line - 3), -1):
        row = _COMMENT.sub("", _STRINGS.sub("s", rows[number - 1]))
        key = _KEY.match(rows[number - 1])
        name = key[1] if key is not None else "content"
        value = row.partition("=")[2].strip()
        slip = _slip(value) if key is not None else None
        raw = _COMMENT.sub("", rows[number - 1].partition("=")[2])
        if key is not None and slip is None and number == line and raw.count('"') % 2:
            slip = ("text in quotes", "close the quotes")
        if slip is not None:
            return (number, name, *slip)
    return None


def _slip(value: str) -> tuple[str, str] | None:
    unit = re.fullmatch(r"([-+]?\d+(?:\.\d+)?)\s*(mm|cm|m|in|inch|deg|°|K|s|W|lm|%)", value)
    if unit is not None:
        factor = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "%": 0.01}
        number = float(unit[1]) * factor.get(unit[2], 1.0)
        return "a number without a unit", f"write {number:g}"
    comma = re.fullmatch(r"([-+]?\d+),(\d+)", value)
    if comma is not None:
        return "a number with a point", f"write {comma[1]}.{comma[2]}"
    if value.count("[") > value.count("]"):
        return "a list with both brackets", "close it with ]"
    if value.count("[") < value.count("]"):
        return "a list with both brackets", "open it with ["
    if re.fullmatch(r"[A-Za-z_][\w -]*", value) and value not in ("true", "false", "s"):
        return "text in quotes", f'write "{value}"'
    return ("given", "write a value after =") if not value else None
