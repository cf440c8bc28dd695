"""A second implementation: the microfacet and Fresnel code of the renderer Mitsuba 3."""

import numpy as np
import plain_laws
import pytest

from lightplan.optics import fresnel, microfacet

mitsuba = pytest.importorskip("mitsuba", reason="mitsuba is an optional test dependency")
drjit = pytest.importorskip("drjit", reason="drjit comes with mitsuba")


@pytest.fixture(scope="module", autouse=True)
def _variant():
    mitsuba.set_variant("scalar_rgb")


def directions(seed, count=40):
    rng = np.random.default_rng(seed)
    vectors = rng.normal(size=(count, 3))
    vectors[:, 2] = np.abs(vectors[:, 2]) + 0.05
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


@pytest.mark.parametrize(("ax", "ay"), [(0.1, 0.1), (0.05, 0.3), (0.4, 0.15)])
def test_anisotropic_density_masking_and_visible_density(ax, ay):
    theirs = mitsuba.MicrofacetDistribution(mitsuba.MicrofacetType.GGX, ax, ay, True)
    for view, half in zip(directions(1), directions(2), strict=True):
        if view @ half <= 0:
            continue
        v, h = mitsuba.Vector3f(*view), mitsuba.Vector3f(*half)
        assert microfacet.d(*half, ax, ay) == pytest.approx(theirs.eval(h), rel=2e-4, abs=1e-12)
        assert microfacet.g1(*view, ax, ay) == pytest.approx(theirs.smith_g1(v, h), rel=1e-5)
        got = plain_laws.visible_density(view, half, ax, ay)
        assert got == pytest.approx(theirs.pdf(v, h), rel=2e-4, abs=1e-12)


def test_fresnel_of_metals_and_glass():
    for cosine in np.linspace(0.01, 1.0, 30):
        for eta, k in [(0.43, 2.455), (1.0, 6.6), (3.18, 3.33)]:
            mean = np.mean(fresnel.conductor(cosine, eta, k))
            theirs = mitsuba.fresnel_conductor(cosine, drjit.scalar.Complex2f(eta, k))
            assert mean == pytest.approx(theirs, abs=1e-5)
        mean = np.mean(fresnel.dielectric(cosine, 1.5))
        assert mean == pytest.approx(mitsuba.fresnel(cosine, 1.5)[0], abs=1e-5)
