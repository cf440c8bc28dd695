"""Photometric files after IES LM-63 (1991, 1995, 2002, 2019), type C, without tilt.

The layout, from the standard: keyword lines in square brackets, a TILT line, then numbers
parted by blanks or commas: lamps, lumens per lamp, multiplier, count of vertical angles,
count of horizontal angles, photometric type, units type, width, length, height, ballast
factor, future use (ballast-lamp factor before 1995), input watts; the vertical angles, the
horizontal angles, and the candela values, one run of vertical angles for each horizontal.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import ProfileError
from lightplan.scene import AngularProfile, Output

if TYPE_CHECKING:
    from pathlib import Path

MOST_BYTES = 5_000_000
_HEADER = (
    "number of lamps",
    "lumens per lamp",
    "candela multiplier",
    "number of vertical angles",
    "number of horizontal angles",
    "photometric type",
    "units type",
    "width",
    "length",
    "height",
    "ballast factor",
    "future use",
    "input watts",
)


def read_ies(path: Path) -> AngularProfile:
    """Return how a lamp spreads its light, from its photometric file.

    Horizontal angles are unfolded: a lamp with one has one, all others come back from 0 to
    360 degrees with the last equal to the first.

    Raises
    ------
    ProfileError
        With the field of the standard that is wrong.
    """
    if not path.is_file():
        raise _refused("ies", "a photometric file that exists", path.name, "check its name")
    if path.stat().st_size > MOST_BYTES:
        raise _refused("ies", "a file below 5 MB", path.name, "ask the lamp's maker for another")
    numbers = _numbers(path.read_text("latin-1"))
    header = dict(zip(_HEADER, numbers[:13], strict=False))
    if len(header) < len(_HEADER):
        raise _refused("ies", "at least 13 numbers after TILT", len(numbers), "get it complete")
    vertical_count = _count(header, "number of vertical angles")
    horizontal_count = _count(header, "number of horizontal angles")
    _check_header(header)
    wanted = 13 + vertical_count + horizontal_count + vertical_count * horizontal_count
    if len(numbers) < wanted:
        raise _refused("ies", f"{wanted} numbers after TILT", len(numbers), "get it complete")
    angles = numbers[13:wanted]
    vertical = _angles(angles[:vertical_count], "vertical angles")
    horizontal = _angles(angles[vertical_count:][:horizontal_count], "horizontal angles")
    candela = np.reshape(angles[vertical_count + horizontal_count :], (horizontal_count, -1))
    candela = candela * header["candela multiplier"] * header["ballast factor"]
    if not (np.isfinite(candela).all() and candela.min() >= 0 and candela.max() > 0):
        raise _refused("ies candela values", "0 or more, and not all 0", "others", "get it again")
    horizontal, candela = _unfold(horizontal, candela)
    return AngularProfile(
        vertical_rad=read_only(np.radians(vertical)),
        horizontal_rad=read_only(np.radians(horizontal)),
        candela=read_only(candela),
        file=path.name,
    )


def output_of(profile: AngularProfile) -> Output:
    """Return the lumens of a profile: its intensities over the sphere, by the trapezium rule."""
    vertical = profile.vertical_rad
    mean = profile.candela.mean(axis=0)
    if len(profile.horizontal_rad) > 1:
        turn = profile.horizontal_rad[-1] - profile.horizontal_rad[0]
        mean = np.trapezoid(profile.candela, profile.horizontal_rad, axis=0) / turn
    lumens = 2 * math.pi * np.trapezoid(mean * np.sin(vertical), vertical)
    return Output(value=float(lumens), unit="lm")


def _numbers(text: str) -> list[float]:
    lines = text.splitlines()
    start = next((i for i, line in enumerate(lines) if line.strip().startswith("TILT=")), None)
    if start is None:
        raise _refused("ies TILT", "a line TILT=NONE", "no such line", "get an LM-63 file")
    tilt = lines[start].strip().removeprefix("TILT=").strip()
    if tilt != "NONE":
        raise _refused("ies TILT", "NONE", tilt, "ask the lamp's maker for one without tilt")
    found: list[float] = []
    for word in " ".join(lines[start + 1 :]).replace(",", " ").split():
        try:
            found.append(float(word))
        except ValueError:
            name = _HEADER[len(found)] if len(found) < len(_HEADER) else "angles and candela"
            raise _refused(f"ies {name}", "a number", word, "get it again") from None
    return found


def _count(header: dict[str, float], name: str) -> int:
    value = header[name]
    if not (value == value // 1 and 1 <= value <= 2000):
        raise _refused(f"ies {name}", "a whole number from 1 to 2000", value, "get it again")
    return int(value)


def _check_header(header: dict[str, float]) -> None:
    if header["photometric type"] != 1:
        raise _refused(
            "ies photometric type",
            "1 (type C)",
            header["photometric type"],
            "ask the lamp's maker for type C",
        )
    for name in ("candela multiplier", "ballast factor"):
        if not (math.isfinite(header[name]) and header[name] > 0):
            raise _refused(f"ies {name}", "greater than 0", header[name], "get it again")


def _angles(values: list[float], name: str) -> Doubles:
    angles = np.asarray(values)
    last_allowed = {
        "vertical angles": (90.0, 180.0),
        "horizontal angles": (0.0, 90.0, 180.0, 360.0),
    }
    ascending = bool((np.diff(angles) > 0).all())
    first_right = angles[0] == 0 or (name == "vertical angles" and angles[0] == 90)
    if not (ascending and first_right and angles[-1] in last_allowed[name]):
        ends = " or ".join(f"{v:g}" for v in last_allowed[name])
        raise _refused(
            f"ies {name}", f"ascending from 0 to {ends}", [angles[0], angles[-1]], "get it again"
        )
    return angles


def _unfold(horizontal: Doubles, candela: Doubles) -> tuple[Doubles, Doubles]:
    while horizontal[-1] in (90.0, 180.0):
        mirrored = 2 * horizontal[-1] - horizontal[-2::-1]
        horizontal = np.concatenate([horizontal, mirrored])
        candela = np.concatenate([candela, candela[-2::-1]])
    return horizontal, candela


def _refused(field: str, wanted: str, got: object, cure: str) -> ProfileError:
    return ProfileError(field=field, wanted=wanted, got=got, cure=cure)
