"""Camera settings in words: exposure, mains flicker, white balance, locks, bracket."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lightplan.optics.colour import srgb_encode
from lightplan.reports.picture import exposure_time
from lightplan.words.leaning import keystone_words, small_words

if TYPE_CHECKING:
    from lightplan.reports.setup.facts import SetupFacts
    from lightplan.scene import Camera, Rig

# Times that cameras offer and that are whole multiples of half a mains period; lamps on
# the mains swell and fade twice in every period. Common practice, no source.
STEADY_TIMES_S: dict[int, tuple[float, ...]] = {
    50: (1 / 100, 1 / 50, 1 / 25, 1 / 10, 1 / 5, 0.4, 0.8, 1.6, 3.2, 6.0, 13.0, 30.0),
    60: (1 / 120, 1 / 60, 1 / 30, 1 / 15, 1 / 10, 1 / 5, 0.4, 0.8, 1.6, 3.2, 6.0, 13.0, 30.0),
}
MOST_BRACKET_STOPS = 3
# What the dials of cameras offer, in thirds of a stop; common practice, no source.
_PARTS = (8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320,
          250, 200, 160, 125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4)  # fmt: skip
DIAL_TIMES_S = (*(1 / part for part in _PARTS), 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5,
                3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 15.0, 20.0, 25.0, 30.0)  # fmt: skip
DIAL_F_NUMBERS = (1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6,
                  6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0,
                  32.0)  # fmt: skip
THIRD_STOP = 2 ** (1 / 3)


def dial_time(time_s: float) -> str:
    """Return the nearest time that a camera can be set to, in words.

    >>> dial_time(1 / 14), dial_time(1 / 120), dial_time(0.33)
    ('1/15 s', '1/125 s', '0.3 s')
    """
    nearest = min(DIAL_TIMES_S, key=lambda t: abs(math.log(t / time_s)))
    is_on_the_dial = 1 / THIRD_STOP < nearest / time_s < THIRD_STOP
    return exposure_time(nearest if is_on_the_dial else time_s)


def dial_f_number(f_number: float) -> str:
    """Return the nearest f-number that a lens can be set to.

    >>> dial_f_number(9.4), dial_f_number(7.7), dial_f_number(5.66)
    ('f/9', 'f/8', 'f/5.6')
    """
    nearest = min(DIAL_F_NUMBERS, key=lambda n: abs(math.log(n / f_number)))
    is_on_the_dial = 1 / THIRD_STOP < nearest / f_number < THIRD_STOP
    return f"f/{nearest if is_on_the_dial else f_number:.3g}"


def steady_time(time_s: float, mains_hz: int) -> float:
    """Return the camera time nearest to `time_s` at which mains lamps do not flicker.

    >>> steady_time(1 / 125, 50), steady_time(1 / 25, 60)
    (0.01, 0.03333333333333333)
    """
    return min(STEADY_TIMES_S[mains_hz], key=lambda t: abs(math.log(t / time_s)))


def bracket_stops(facts: SetupFacts) -> tuple[int, ...]:
    """Return the frames of a bracket in stops, the brightest last.

    One stop either way; further down as far as the foil stands above the paper, further up
    as far as it stands below. Common practice, no source.

    >>> from lightplan.reports.setup.facts import SetupFacts
    >>> bracket_stops(SetupFacts(foil_to_paper_stops=2.4))
    (-3, -2, -1, 0, 1)
    """
    above = facts.foil_to_paper_stops
    if above is None or not math.isfinite(above):
        return (-1, 0, 1)
    low = min(max(1, math.ceil(above)), MOST_BRACKET_STOPS)
    high = min(max(1, math.ceil(-above)), MOST_BRACKET_STOPS)
    return tuple(range(-low, high + 1))


def exposure_lines(rig: Rig, facts: SetupFacts) -> list[tuple[str, str]]:
    """Return (heading, text) pairs for the camera settings."""
    lines = [("Exposure", _exposure(rig, facts))]
    lines.append(("Mains flicker", _flicker(rig, facts)))
    lines.append(("White balance", _white_balance(rig)))
    lines.append(("Lock", _locks(rig.camera)))
    lines.append(("Bracket", _bracket(rig, facts)))
    leans = keystone_words(rig.camera, rig.sheet)
    if leans:
        lines.append(("Squaring", f"{leans}."))
    small = small_words(rig.camera, rig.sheet)
    if small:
        lines.append(("Cropping", f"{small}."))
    if rig.camera.polariser_rad is not None:
        angle = math.degrees(rig.camera.polariser_rad)
        lines.append(
            ("Polariser", f"its axis {angle:.0f}° anticlockwise from level in the picture.")
        )
    return lines


def _bracket(rig: Rig, facts: SetupFacts) -> str:
    stops = bracket_stops(facts)
    shown = ", ".join(_signed(s) for s in stops)
    settings = facts.settings
    if rig.camera.has_small_sensor:
        how = f"with the exposure slider at {shown} (each step is half or twice the light)"
    elif settings is None:
        how = f"{shown} stops by the time alone (one stop is half or twice as long)"
    else:
        times = ", ".join(dial_time(settings.time_s * 2.0**s) for s in stops)
        how = f"{times}: {shown} stops by the time alone (one stop is half or twice as long)"
    return (
        f"the same frame {len(stops)} times, {how}; nothing else changed. Keep the one in which "
        "the brightest foil just holds its detail."
    )


def _signed(stops: int) -> str:
    return "0" if stops == 0 else f"{'+' if stops > 0 else '−'}{abs(stops)}"


def _exposure(rig: Rig, facts: SetupFacts) -> str:
    wish, settings = rig.camera.exposure, facts.settings
    is_level = wish.f_number is None
    level = _code(wish.level_on(rig.sheet.paper))
    target = (
        f"Set it so that the brightest paper reads about {level} of 255, or "
        "darker where the foil would burn out."
        if is_level
        else "Set by hand, no automatic."
    )
    if settings is None:
        return target
    time = (dial_time if settings.is_suggested else exposure_time)(settings.time_s)
    values = f"f/{settings.f_number:.3g}, {time}, ISO {settings.iso:.0f}"
    if rig.camera.has_small_sensor:
        return (
            f"The phone's opening is fixed: use its manual mode or its exposure slider at the "
            f"lowest ISO. {target} (As much light as {values}.)"
        )
    return f"{values}, set by hand. {target}" if is_level else f"{values}. {target}"


def _code(level: float) -> int:
    return round(255 * min(float(srgb_encode(level)), 1.0))


def _flicker(rig: Rig, facts: SetupFacts) -> str:
    lamps = [lamp for lamp in rig.lamps if lamp.on and not lamp.is_window]
    if not lamps:
        return "none by daylight; keep the room's own lamps off."
    if all(lamp.output.unit == "guide number" for lamp in lamps):
        return (
            "does not matter with flash; use a time no shorter than the camera's flash "
            "synchronisation time."
        )
    parts = []
    for mains in (50, 60):
        pair = (1 / (2 * mains), 1 / mains)
        text = f"{mains} Hz mains: a whole number of times 1/{2 * mains} s"
        settings = facts.settings
        if settings is None or rig.camera.has_small_sensor:
            text += f", such as {exposure_time(pair[1])} or {exposure_time(pair[0])}"
        else:
            time_s = steady_time(settings.time_s, mains)
            f_number = settings.f_number * math.sqrt(time_s / settings.time_s)
            text += f"; here {exposure_time(time_s)} at {dial_f_number(f_number)}"
        parts.append(text)
    return (
        "lamps on the mains may swell and fade. Where frames differ, or show bands, take a time "
        "that evens it out. " + ". ".join(parts) + "."
    )


def _white_balance(rig: Rig) -> str:
    text = (
        "custom: lay a grey or white card in the sheet's place under this light and set it "
        "from that."
    )
    if rig.camera.white_balance_k is not None:
        text += f" The plan counts with {rig.camera.white_balance_k:.0f} K."
    colours = {lamp.colour_k for lamp in rig.lamps if lamp.on and lamp.colour_k is not None}
    if len(colours) > 1:
        listed = ", ".join(f"{k:.0f} K" for k in sorted(colours))
        text += f" The lamps differ in colour ({listed}): one setting cannot suit all of them."
    return text


def _locks(camera: Camera) -> str:
    if camera.has_small_sensor:
        return (
            "exposure, focus and white balance (press and hold on the sheet until the lock "
            "shows). HDR, night mode, portrait mode and flash off. Use the self-timer."
        )
    return (
        "manual exposure, manual focus, fixed white balance; HDR, automatic ISO and flash off. "
        "Use the self-timer or a remote release."
    )
