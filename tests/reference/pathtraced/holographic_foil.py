"""A surface that Mitsuba lacks: rough metal with a diffraction grating pressed into it.

Written from the grating equation in its conical form (C. Palmer, Diffraction Grating
Handbook, 8th ed., section 2.1), not from lightplan's code: on a facet with normal n, light of
the wavelength w that travels along -i leaves along o with

    o - (o n) n = -(i - (i n) n) + m w N g

m being the order, N the lines per length and g the direction across the lines, laid into the
facet. The colours of the wavelengths are those of colour-science: the CIE 1931 observer under
D65, in linear sRGB, scaled so that an even spectrum of 390 to 730 nm is white.

Samples draw facet, order and wavelength. Towards a small lamp, which samples would hardly
ever meet, the sum over orders and wavelengths is taken: for each there is one facet that sends
the light on, and the solid angle of facets per solid angle of light is

    dn / do = (o n) / ((i n + o n) (i n + o n - m w N (g' n) / (g' g)))

with g' the direction across the lines before it is laid into the facet. (Derivative of the
equation above along g and across it; without a grating the known 1 / (4 i n).)
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

SHORTEST_NM, LONGEST_NM = 390, 730
DRAWN_STEP_NM, SUMMED_STEP_NM = 1, 4
ORDERS = (1, -1, 2, -2)
SPREAD = 0.5  # 1/sr; see `pdf`


def spectral_colours(step_nm: int) -> tuple[Any, Any]:
    """Return wavelengths (n,) in nm, the middles of even steps, and their colours (n, 3).

    Each column of the colours sums to 1; colours outside sRGB have negative parts.
    """
    import colour

    wavelengths = np.arange(SHORTEST_NM, LONGEST_NM, step_nm) + step_nm / 2
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    daylight = colour.SDS_ILLUMINANTS["D65"]
    xyz = np.array([observer[w] * daylight[w] for w in wavelengths])
    rgb = xyz @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB.T
    return wavelengths, rgb / rgb.sum(axis=0)


def register_holographic_foil(mi: Any) -> None:
    """Teach Mitsuba "holographic_foil".

    Of what GGX facets of a metal reflect, 1 - the sum of all shares stays in the mirror
    direction; the rest goes to the orders, of each wavelength alike. An order that would
    leave below the surface is lost. Properties: `mirror` (a `roughconductor` of GGX),
    `alpha_u`, `alpha_v`, `eta_r` to `k_b`, `lines_per_mm`, `direction_deg` (across the
    lines, from u), `order_1`, `order_-1`, `order_2`, `order_-2` (share of each).
    """
    import drjit as dr

    class HolographicFoil(mi.BSDF):
        def __init__(self, props: Any) -> None:
            mi.BSDF.__init__(self, props)
            self.mirror = props["mirror"]
            self.alpha = float(props["alpha_u"]), float(props["alpha_v"])
            self.metal = [(float(props[f"eta_{c}"]), float(props[f"k_{c}"])) for c in "rgb"]
            self.lines_per_nm = float(props["lines_per_mm"]) * 1e-6
            turn = math.radians(float(props["direction_deg"]))
            self.across = mi.Vector3f(math.cos(turn), math.sin(turn), 0.0)
            shares = np.array([float(props[f"order_{m}"]) for m in ORDERS])
            self.plain = float(1.0 - shares.sum())
            self.chance = 0.15 + 0.85 * self.plain**2  # of the mirror, which looks at lamps, too
            self.facets = mi.MicrofacetDistribution(mi.MicrofacetType.GGX, *self.alpha, True)
            self.set_up_samples(shares)
            self.set_up_sum(shares)
            front = mi.BSDFFlags.FrontSide
            self.m_components = [mi.BSDFFlags.GlossyReflection | front] * 2
            self.m_flags = self.m_components[0]

        def set_up_samples(self, shares):  # type: ignore[no-untyped-def]
            """Tables that orders and wavelengths are drawn from, by what they carry."""
            self.orders = mi.Float(np.float32(ORDERS))
            self.order_table = mi.DiscreteDistribution(np.float32(shares))
            _, colours = spectral_colours(DRAWN_STEP_NM)
            strength = np.abs(colours).sum(axis=1)
            chance = 0.95 * strength / strength.sum() + 0.05 / len(strength)
            self.colour_table = mi.DiscreteDistribution(np.float32(chance))
            self.colours = [mi.Float(np.float32(c / chance)) for c in colours.T]

        def set_up_sum(self, shares):  # type: ignore[no-untyped-def]
            """Shift of the direction and colour of every order and wavelength in turn."""
            wavelengths, colours = spectral_colours(SUMMED_STEP_NM)
            shifts = np.outer(ORDERS, wavelengths).ravel() * self.lines_per_nm
            carried = (shares[:, None, None] * colours).reshape(-1, 3)
            self.count = len(shifts)
            self.shifts = mi.Float(np.float32(shifts))
            self.carried = [mi.Float(np.float32(c)) for c in carried.T]

        def sample(self, ctx, si, sample1, sample2, active=True):  # type: ignore[no-untyped-def]
            mirrored = active & (sample1 < self.chance)
            first, weight = self.mirror.sample(ctx, si, sample1, sample2, mirrored)
            rest = (sample1 - self.chance) / (1 - self.chance)
            away, bent = self.diffract(si.wi, rest, sample2)
            made = mi.BSDFSample3f()
            made.wo = dr.select(mirrored, first.wo, away)
            made.pdf = self.pdf(ctx, si, made.wo, active)
            made.eta = 1.0
            made.sampled_type = mi.UInt32(int(mi.BSDFFlags.GlossyReflection))
            made.sampled_component = dr.select(mirrored, mi.UInt32(0), mi.UInt32(1))
            bent *= 1 / (1 - self.chance)
            weight *= self.plain / self.chance
            usable = active & (mi.Frame3f.cos_theta(si.wi) > 0)
            return made, dr.select(usable, dr.select(mirrored, weight, bent), mi.Color3f(0))

        def diffract(self, view, number, square):  # type: ignore[no-untyped-def]
            """Return the way a drawn order and wavelength leaves a drawn facet, and its weight."""
            number = dr.clip(number, 0.0, 0.999999)
            index, number = self.order_table.sample_reuse(number)
            order = dr.gather(mi.Float, self.orders, index)
            place, number = self.colour_table.sample_reuse(number)
            colour = mi.Color3f(*(dr.gather(mi.Float, c, place) for c in self.colours))
            wavelength = SHORTEST_NM + (mi.Float(place) + number) * DRAWN_STEP_NM
            facet, _ = self.facets.sample(view, square)
            cosine = dr.dot(view, facet)
            across = self.laid_into(facet)
            flat = cosine * facet - view + order * wavelength * self.lines_per_nm * across
            rest = 1.0 - dr.squared_norm(flat)
            away = flat + dr.safe_sqrt(rest) * facet
            exists = (rest > 0) & (cosine > 0) & (mi.Frame3f.cos_theta(away) > 0)
            weight = colour * self.metal_at(cosine) * self.facets.smith_g1(away, facet)
            return away, dr.select(exists, weight * (1 - self.plain), mi.Color3f(0))

        def laid_into(self, facet):  # type: ignore[no-untyped-def]
            """Return the direction across the lines, laid into a facet."""
            return dr.normalize(self.across - dr.dot(self.across, facet) * facet)

        def metal_at(self, cosine):  # type: ignore[no-untyped-def]
            values = (mi.fresnel_conductor(cosine, mi.Complex2f(*of)) for of in self.metal)
            return mi.Color3f(*values)

        def sent_on(self, view, light, shift):  # type: ignore[no-untyped-def]
            """Return the share per solid angle that one order and wavelength sends on."""
            facet = dr.normalize(view + light - shift * self.across)
            for _ in range(3):
                facet = dr.normalize(view + light - shift * self.laid_into(facet))
            before, after = dr.dot(view, facet), dr.dot(light, facet)
            across = self.laid_into(facet)
            tilt = dr.dot(self.across, facet) / dr.dot(self.across, across)
            both = before + after
            area = after / (both * (both - shift * tilt))
            density = self.facets.pdf(view, facet) * self.facets.smith_g1(light, facet)
            seen = (facet.z > 0) & (before > 0) & (after > 0)
            return dr.select(seen, density * area, 0.0), before

        def diffracted(self, view, light, active):  # type: ignore[no-untyped-def]
            """Return the sum over all orders and wavelengths."""

            def add(place, total):  # type: ignore[no-untyped-def]
                shift = dr.gather(mi.Float, self.shifts, place)
                density, cosine = self.sent_on(view, light, shift)
                colour = mi.Color3f(*(dr.gather(mi.Float, c, place) for c in self.carried))
                return place + 1, total + colour * self.metal_at(cosine) * density

            start = mi.UInt32(0), mi.Color3f(0)
            _, total = dr.while_loop(start, lambda place, _: active & (place < self.count), add)
            return total

        def eval(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            view = si.wi
            above = active & (mi.Frame3f.cos_theta(view) > 0) & (mi.Frame3f.cos_theta(wo) > 0)
            mirrored = self.plain * self.mirror.eval(ctx, si, wo, above)
            return dr.select(above, mirrored + self.diffracted(view, wo, above), mi.Color3f(0))

        def pdf(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            """What samples and lamps are weighed by against each other.

            The true density of diffracted samples would be another long sum. Any function will
            do so long as both sides are weighed by the same: here an even spread.
            """
            above = active & (mi.Frame3f.cos_theta(si.wi) > 0) & (mi.Frame3f.cos_theta(wo) > 0)
            even = (1 - self.chance) * SPREAD
            return dr.select(above, self.chance * self.mirror.pdf(ctx, si, wo, above) + even, 0.0)

        def eval_pdf(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            return self.eval(ctx, si, wo, active), self.pdf(ctx, si, wo, active)

        def to_string(self) -> str:
            return f"HolographicFoil[{1e6 * self.lines_per_nm} lines per mm]"

    mi.register_bsdf("holographic_foil", HolographicFoil)
