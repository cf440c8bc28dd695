"""Curves from a measure to a quality between 0 and 1, without plateaus.

A search must be able to climb from anywhere, so every curve keeps a slope however far
the measure is from its target; the tails fall as the inverse square.
"""

from __future__ import annotations


def close(value: float, *, target: float, scale: float) -> float:
    """Return 1 at the target, one half at one `scale` from it.

    >>> close(2.0, target=2.0, scale=1.0), close(3.0, target=2.0, scale=1.0)
    (1.0, 0.5)
    """
    return 1.0 / (1.0 + ((value - target) / scale) ** 2)


def low(value: float, *, half_at: float) -> float:
    """Return 1 at 0 and one half at `half_at`."""
    return close(value, target=0.0, scale=half_at)


def high(value: float, *, half_at: float) -> float:
    """Return 0 at 0, one half at `half_at`, towards 1 above; for values of 0 or more.

    >>> high(3.0, half_at=3.0)
    0.5
    """
    return float(1.0 - 2.0 ** (-max(value, 0.0) / half_at))


def above(value: float, *, half_at: float, scale: float) -> float:
    """Return one half at `half_at`, towards 1 above it, towards 0 below (logistic, base 2).

    >>> above(1.0, half_at=1.0, scale=0.5)
    0.5
    """
    return float(1.0 / (1.0 + 2.0 ** (min(max((half_at - value) / scale, -60.0), 60.0))))


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
