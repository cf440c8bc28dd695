"""The curve of a phone: against the published tables, the other way round, and its other form."""

from __future__ import annotations

import numpy as np
import pytest

from lightplan.advice.worth import CameraAsSet
from lightplan.optics import tone_curve
from lightplan.scene import Camera, Placement

# Levels of light at 2^-0.5, 2^-1, 2^-1.5 and 2^-2 of the clip level as two published tables of
# small camera modules (`gamma_curve`, 16 bits, libcamera's tunings for vc4 and PiSP) encode them,
# linear between their points; decoded by IEC 61966-2-1. In stops over plain sRGB.
STOPS = np.array([-0.5, -1.0, -1.5, -2.0])
VC4 = np.array([0.23, 0.42, 0.51, 0.45])
PISP = np.array([0.02, 0.15, 0.27, 0.28])


def test_it_lies_between_the_published_ones():
    lifted = np.log2(tone_curve.shown(np.exp2(STOPS))) - STOPS
    assert np.all(lifted < VC4)
    assert np.all(lifted > PISP)
    assert lifted == pytest.approx((VC4 + PISP) / 2, abs=0.05)


def test_there_and_back_is_where_it_began():
    level = np.linspace(0.0, 1.4, 57)
    assert tone_curve.light_of(tone_curve.shown(level)) == pytest.approx(level, abs=1e-9)
    assert np.all(np.diff(tone_curve.shown(level)) > 0)
    assert tone_curve.shown(level.astype(np.float32)).dtype == np.float32


def test_as_contrast_and_lift_it_is_the_same_curve():
    """Advice knows a photograph's curve by those two numbers."""
    phone = Camera(placement=Placement((0, 0, 300)), tone_curve="phone")
    contrast, lift = phone.tones
    camera = CameraAsSet(clip_cd_m2=1.0, contrast=contrast, lift_stops=lift)
    level = np.exp2(np.linspace(-7.0, -0.02, 40))[:, None].repeat(3, axis=1)
    apart = np.log2(camera.levels(level)) - np.log2(phone.shown(level))
    assert np.abs(apart).max() < 0.03
