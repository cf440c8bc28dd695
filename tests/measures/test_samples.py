"""Samples of a picture against the measures of all its pixels, and their linearity."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.measures import SheetMaps, judge, measure, merit
from lightplan.measures.samples import Sampler
from lightplan.scene import Look

ROWS, COLS = 80, 120
LOOKS = ["bright field", "gradient", "dark field", "split", "rainbow"]


@pytest.fixture
def share():
    """A frame and a bar of foil, its edges soft."""
    art = np.zeros((ROWS, COLS), np.float32)
    art[6:74, 6:114] = 1.0
    art[12:68, 12:108] = 0.0
    art[30:50, 25:95] = 1.0
    art[30:50, 24] = art[30:50, 95] = 0.5
    return art


def smooth_light(seed):
    """Light that runs over the sheet, (rows, cols, 3), as paper and as foil."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0 : 1 : ROWS * 1j, 0 : 1 : COLS * 1j]
    waves = [np.exp(rng.uniform(-1, 1) * x + rng.uniform(-1, 1) * y * x) for _ in range(6)]
    return (np.stack(waves[:3], axis=-1), np.stack(waves[3:], axis=-1))


def picture(share, seed, level):
    paper, foil = smooth_light(seed)
    mixed = paper + share[..., None] * (1.4 * foil - paper)
    return (level * mixed / mixed.max()).astype(np.float32)


def maps_of(linear, share):
    return SheetMaps.from_linear(linear, share, width_mm=120, height_mm=80)


@pytest.mark.parametrize("kind", LOOKS)
@pytest.mark.parametrize("seed", [1, 2])
def test_samples_measure_as_all_pixels_do(share, kind, seed):
    # Second method: the measures of the whole picture.
    linear, look = picture(share, seed, 0.95), Look(kind=kind)
    maps = maps_of(linear, share)
    sampler = Sampler.of(maps.grid)
    whole = measure(maps, look, "gold foil").values_by_name()
    found = sampler.measure(sampler.sample(linear), look, "gold foil").values_by_name()
    assert found.keys() == whole.keys()
    for name, value in whole.items():
        close = 2e-3 if "near_clipped" in name else 1e-4
        assert found[name] == pytest.approx(value, abs=close), name


@pytest.mark.parametrize("kind", LOOKS)
def test_what_is_left_out_is_not_judged(share, kind):
    linear, look = picture(share, 3, 0.9), Look(kind=kind)
    sampler = Sampler.of(maps_of(linear, share).grid)
    samples = sampler.sample(linear)
    whole = sampler.measure(samples, look, "gold foil")
    part = sampler.measure(samples, look, "gold foil", judged_only=True)
    assert len(part) < len(whole)
    assert judge(part, look).score == judge(whole, look).score
    assert merit(part, look) == merit(whole, look)


def test_samples_are_linear_in_the_light(share):
    one, other = picture(share, 4, 0.5), picture(share, 5, 0.4)
    sampler = Sampler.of(maps_of(one, share).grid)
    mixed = 0.25 * sampler.sample(one) + 1.5 * sampler.sample(other)
    whole = sampler.sample((0.25 * one + 1.5 * other).astype(np.float32))
    assert whole == pytest.approx(mixed, rel=2e-5, abs=1e-6)
    assert len(whole) == sampler.size


def test_clipped_shares_of_a_brighter_picture_are_those_of_that_picture(share):
    linear, look = picture(share, 1, 1.0), Look(kind="bright field")
    sampler = Sampler.of(maps_of(linear, share).grid)
    samples = sampler.sample(linear)
    found = [sampler.measure(samples, look, None)]
    (lifted,) = sampler.brighter(found, 2 * samples[None], 1.0)
    whole = measure(maps_of(linear * np.float32(2.0), share), look, None)
    for name in ("foil_clipped_share", "paper_clipped_share", "foil_clipped_red_share"):
        # A share of 600 pixels of more: one standard error (binomial) is at most 0.02.
        assert lifted[name].value == pytest.approx(whole[name].value, abs=0.02), name
        assert whole[name].value > 0.05
    assert sampler.measure(samples, look, None)["foil_clipped_share"].value < 0.02


def masks():
    """Sheets that ask for each path: both materials, one alone, little of one, thin artwork."""
    full, bare = np.ones((ROWS, COLS), np.float32), np.zeros((ROWS, COLS), np.float32)
    corner = np.zeros((ROWS, COLS), np.float32)
    corner[:4, :4] = 1.0
    thin = np.where(np.random.default_rng(3).random((ROWS, COLS)) < 0.2, 0.8, 0.0)
    half = np.zeros((ROWS, COLS), np.float32)
    half[:, : COLS // 2] = 1.0
    return {
        "half": half,
        "all foil": full,
        "no foil": bare,
        "little foil": corner,
        "little paper": 1.0 - corner,
        "thin": thin.astype(np.float32),
    }


@st.composite
def pictures(draw):
    """Several pictures under one mask: black, dim, just below clipping, far above it."""
    mask = masks()[draw(st.sampled_from(sorted(masks())))]
    levels = st.sampled_from([0.0, 1e-4, 0.3, 0.95, 1.02, 1.5, 20.0])
    drawn = draw(st.lists(st.tuples(levels, st.integers(0, 99)), min_size=2, max_size=7))
    found = []
    for level, seed in drawn:
        noise = 1 + 0.02 * np.random.default_rng(seed).standard_normal((ROWS, COLS, 3))
        found.append((picture(mask, seed, level) * noise).astype(np.float32))
    return mask, found


@settings(max_examples=60, deadline=None)
@given(pictures(), st.sampled_from(LOOKS), st.sampled_from(["gold foil", None]), st.booleans())
def test_many_pictures_at_once_measure_as_one_by_one(drawn, kind, foil_kind, judged_only):
    # To the last digit: a plan must not hang on how the work was shared out.
    mask, found = drawn
    look = Look(kind=kind)
    sampler = Sampler.of(maps_of(found[0], mask).grid)
    samples = np.array([sampler.sample(one) for one in found])
    together = sampler.measure_each(samples, look, foil_kind, judged_only=judged_only)
    lifted = sampler.brighter(together, samples, 0.15)
    assert len(together) == len(lifted) == len(samples)
    for one, many, bright in zip(samples, together, lifted, strict=True):
        alone = sampler.measure(one, look, foil_kind, judged_only=judged_only)
        assert many.pairs() == alone.pairs()
        assert bright.pairs() == sampler.brighter([alone], one[None], 0.15)[0].pairs()
        assert all(type(number) is float for pair in many.pairs().values() for number in pair)


def test_pictures_under_one_mask_are_told_apart(share):
    # The test above would be empty if all of its pictures were measured alike.
    found = [picture(share, seed, level) for seed, level in ((1, 0.4), (2, 0.9), (3, 1.3))]
    sampler = Sampler.of(maps_of(found[0], share).grid)
    samples = np.array([sampler.sample(one) for one in found])
    whole = [x.values_by_name() for x in sampler.measure_each(samples, Look(), "gold foil")]
    fixed = {"valid_share", "mask_confidence_share", "foil_pixels_count", "paper_pixels_count"}
    steady = {name for name in whole[0] if len({one[name] for one in whole}) == 1}
    may_be_nought = {name for name in whole[0] if name.endswith("_share")} | {"foil_band_stops"}
    assert fixed <= steady <= fixed | may_be_nought
    assert [one["foil_clipped_share"] > 0 for one in whole] == [False, False, True]
