"""Curves from a measure to a quality between 0 and 1.

A wish that is met loses nothing, so each curve is 1 where the wish is met. Outside it keeps
a slope however far the measure is off, so that a search can climb from anywhere; the tails
fall as the inverse square.
"""

from __future__ import annotations


def between(value: float, *, least: float, most: float, scale: float) -> float:
    """Return 1 from `least` to `most`, one half at one `scale` outside.

    >>> between(1.5, least=1.0, most=2.0, scale=1.0), between(3.0, least=1.0, most=2.0, scale=1.0)
    (1.0, 0.5)
    """
    off = max(least - value, value - most, 0.0)
    return 1.0 / (1.0 + (off / scale) ** 2)


def low(value: float, *, met: float, half_at: float) -> float:
    """Return 1 up to `met` and one half at `half_at`."""
    return between(value, least=float("-inf"), most=met, scale=half_at - met)


def high(value: float, *, met: float, half_at: float) -> float:
    """Return 0 at 0, rising towards 1 at `met`, ever less steeply; for values of 0 or more.

    As 1 - 2^(-value / half_at), scaled to be 1 at `met`.

    >>> high(30.0, met=30.0, half_at=10.0), round(high(10.0, met=30.0, half_at=10.0), 3)
    (1.0, 0.571)
    """
    most = 1.0 - 2.0 ** (-met / half_at)
    return float(min(1.0, (1.0 - 2.0 ** (-max(value, 0.0) / half_at)) / most))


def above(value: float, *, met: float, half_at: float) -> float:
    """Return 1 from `met` on, one half at `half_at`, towards 0 below."""
    return between(value, least=met, most=float("inf"), scale=met - half_at)


def beyond(value: float, *, limit: float, scale: float) -> float:
    """Return how badly a limit is passed: 0 within, growing smoothly outside.

    x^2 / (1 + x) of the excess in units of `scale`: soft at the limit, straight far out.

    >>> beyond(0.5, limit=1.0, scale=1.0), beyond(2.0, limit=1.0, scale=1.0)
    (0.0, 0.5)
    """
    excess = max(0.0, (value - limit) / scale)
    return excess * excess / (1.0 + excess)


def softly(value: float, *, start: float, end: float) -> float:
    """Return 0 below `start`, 1 above `end`, a smooth step between."""
    share = min(1.0, max(0.0, (value - start) / (end - start)))
    return share * share * (3.0 - 2.0 * share)
