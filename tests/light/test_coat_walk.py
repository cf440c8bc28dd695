"""What a rough coat lets in, against light that is followed from facet to facet.

A walk through Smith's uncorrelated heights (Heitz, Hanika, d'Eon, Dachsbacher, SIGGRAPH 2016,
"Multiple-scattering microfacet BSDFs with the Smith model"): all bounces between the facets, no
light lost. A renderer that counts one scattering loses what facets hide of the light they let in,
some per cent of it where light comes low; so pictures of coats by it are too dark there.
"""

import numpy as np
import pytest

from lightplan.light import coat
from lightplan.optics import fresnel, microfacet
from lightplan.scene import Paper

INDEX, COUNT, BOUNCES = 1.5, 200_000, 20


def smith_lambda(way, alpha):
    """Smith's Lambda, below the horizon too."""
    flat = np.sqrt(np.maximum(1 - way[:, 2] ** 2, 1e-12))
    slope = alpha * flat / np.where(np.abs(way[:, 2]) < 1e-9, 1e-9, np.abs(way[:, 2]))
    root = np.sqrt(1 + slope**2)
    return np.where(way[:, 2] > 0, 0.5 * (root - 1), 0.5 * (-root - 1))


def visible_facets(way, alpha, square):
    """Facets that a direction sees, which may come from below (Dupuy and Benyoub, HPG 2023)."""
    stretched = way * [alpha, alpha, 1.0]
    stretched /= np.linalg.norm(stretched, axis=1, keepdims=True)
    up = (1 - square[:, 1]) * (1 + stretched[:, 2]) - stretched[:, 2]
    flat, turn = np.sqrt(np.clip(1 - up**2, 0, 1)), 2 * np.pi * square[:, 0]
    half = np.stack([flat * np.cos(turn), flat * np.sin(turn), up], axis=1) + stretched
    half *= [alpha, alpha, 1.0]
    return half / np.linalg.norm(half, axis=1, keepdims=True)


def enters_by_walk(cosine, alpha):
    draw = np.random.default_rng(1)
    way = np.tile([-np.sqrt(1 - cosine**2), 0.0, -cosine], (COUNT, 1))
    below = np.ones(COUNT)  # share of the heights that lie below each, 1 over all
    entered = 0
    for _ in range(BOUNCES):
        shadow, luck = smith_lambda(way, alpha), draw.random(len(way))
        out = np.where(way[:, 2] > 0, below ** np.maximum(shadow, 0), 0.0)
        stays = luck < 1 - out
        way, shadow, luck, below = way[stays], shadow[stays], luck[stays], below[stays]
        below = np.clip(below / (1 - luck) ** (1 / shadow), 1e-12, 1.0)
        facet = visible_facets(-way, alpha, draw.random((len(way), 2)))
        against = np.clip(-np.sum(way * facet, axis=1), 0, 1)
        s, p = fresnel.dielectric(against, INDEX)
        mirrored = draw.random(len(way)) < 0.5 * (s + p)
        entered += np.count_nonzero(~mirrored)
        way = (way + 2 * against[:, None] * facet)[mirrored]
        below = below[mirrored]
        if not len(way):
            break
    return entered / COUNT


def enters_in_one_scattering(cosine, alpha):
    """As a renderer without bounces between facets has it."""
    square = np.random.default_rng(2).random((COUNT, 2))
    view = np.tile([np.sqrt(1 - cosine**2), 0.0, cosine], (COUNT, 1))
    half = visible_facets(view, alpha, square)
    against = np.clip(np.sum(view * half, axis=1), 0, 1)
    s, p = fresnel.dielectric(against, INDEX)
    inside = np.sqrt(1 - (1 - against**2) / INDEX**2)
    on = (view - against[:, None] * half) / INDEX + inside[:, None] * half
    masks = microfacet.g1(*on.T, alpha, alpha)
    return float(np.mean((1 - 0.5 * (s + p)) * masks))


@pytest.mark.parametrize("alpha", [0.1, 0.2, 0.26])
@pytest.mark.parametrize("cosine", [1.0, 0.8, 0.5, 0.4, 0.3])
def test_a_rough_coat_lets_in_nearly_all_that_a_walk_does(alpha, cosine):
    stock = Paper(coat_index=INDEX, coat_roughness=alpha)
    ours, walked = float(coat.passes(stock, np.array(cosine))), enters_by_walk(cosine, alpha)
    assert ours == pytest.approx(walked, rel=0.018)


def test_one_scattering_loses_much_of_low_light():
    walked, once = enters_by_walk(0.4, 0.26), enters_in_one_scattering(0.4, 0.26)
    assert once < 0.96 * walked
