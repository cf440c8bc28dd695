"""Camera settings in words: exposure, mains flicker, white balance, locks, bracket."""

from __future__ import annotations

import math

from lightplan.optics.colour import srgb_encode
from lightplan.reports.picture import exposure_time
from lightplan.reports.setup_facts import SetupFacts
from lightplan.scene import Camera, Rig

PHONE_SENSOR_MM = 10.0  # phones have smaller ones, cameras larger ones
# Times that cameras offer and that are whole multiples of half a mains period; lamps on
# the mains swell and fade twice in every period. Common practice, no source.
STEADY_TIMES_S: dict[int, tuple[float, ...]] = {
    50: (1 / 100, 1 / 50, 1 / 25, 1 / 10, 1 / 5, 0.4, 0.8, 1.6, 3.2, 6.0, 13.0, 30.0),
    60: (1 / 120, 1 / 60, 1 / 30, 1 / 15, 1 / 10, 1 / 5, 0.4, 0.8, 1.6, 3.2, 6.0, 13.0, 30.0),
}
MOST_BRACKET_STOPS = 3


def is_phone(camera: Camera) -> bool:
    """Whether the sensor is as small as a phone's."""
    return camera.sensor_width_mm < PHONE_SENSOR_MM


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
    if is_phone(rig.camera):
        how = f"with the exposure slider at {shown} (each step is half or twice the light)"
    elif settings is None:
        how = f"{shown} stops by the time alone (one stop is half or twice as long)"
    else:
        times = ", ".join(exposure_time(settings.time_s * 2.0**s) for s in stops)
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
    target = (
        f"Set it so that the brightest paper reads about {_code(wish.paper_level)} of 255, or "
        "darker where the foil would burn out."
        if is_level
        else "Set by hand, no automatic."
    )
    if settings is None:
        return target
    values = f"f/{settings.f_number:.3g}, {exposure_time(settings.time_s)}, ISO {settings.iso:.0f}"
    if is_phone(rig.camera):
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
        text = f"{mains} Hz mains: whole multiples of 1/{2 * mains} s"
        settings = facts.settings
        if settings is None or is_phone(rig.camera):
            text += f", such as {exposure_time(pair[1])} or {exposure_time(pair[0])}"
        else:
            time_s = steady_time(settings.time_s, mains)
            f_number = settings.f_number * math.sqrt(time_s / settings.time_s)
            text += f"; here {exposure_time(time_s)} at f/{_stop(f_number)}"
        parts.append(text)
    return ". ".join(parts) + "."


def _stop(f_number: float) -> str:
    return f"{f_number:.1f}" if f_number < 9.95 else f"{f_number:.0f}"


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
    if is_phone(camera):
        return (
            "exposure, focus and white balance (press and hold on the sheet until the lock "
            "shows). HDR, night mode, portrait mode and flash off. Use the self-timer."
        )
    return (
        "manual exposure, manual focus, fixed white balance; HDR, automatic ISO and flash off. "
        "Use the self-timer or a remote release."
    )
