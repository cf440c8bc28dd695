"""A surface that Mitsuba lacks: a thin sheet that scatters evenly to both sides."""

from __future__ import annotations

import math
from typing import Any


def register_thin_diffuser(mi: Any) -> None:
    """Teach Mitsuba "thin_diffuser", with rho_r, rho_g, rho_b, tau_r, tau_g, tau_b.

    Of the light that reaches either side, the share rho leaves on that side and the share
    tau on the other, both with the cosine law: f = rho / pi or tau / pi.
    """
    import drjit as dr

    class ThinDiffuser(mi.BSDF):
        def __init__(self, props: Any) -> None:
            mi.BSDF.__init__(self, props)
            self.rho = mi.Color3f(*(float(props[f"rho_{c}"]) for c in "rgb"))
            self.tau = mi.Color3f(*(float(props[f"tau_{c}"]) for c in "rgb"))
            rho = sum(float(props[f"rho_{c}"]) for c in "rgb")
            tau = sum(float(props[f"tau_{c}"]) for c in "rgb")
            self.reflected_share = rho / (rho + tau)
            sides = mi.BSDFFlags.FrontSide | mi.BSDFFlags.BackSide
            reflection = mi.BSDFFlags.DiffuseReflection | sides
            transmission = mi.BSDFFlags.DiffuseTransmission | sides
            self.m_components = [reflection, transmission]
            self.m_flags = reflection | transmission

        def sample(self, ctx, si, sample1, sample2, active=True):  # type: ignore[no-untyped-def]
            came_from = mi.Frame3f.cos_theta(si.wi)
            active = active & (came_from != 0)
            out = mi.warp.square_to_cosine_hemisphere(sample2)
            density = mi.warp.square_to_cosine_hemisphere_pdf(out)
            reflects = sample1 < self.reflected_share
            chance = dr.select(reflects, self.reflected_share, 1 - self.reflected_share)
            out.z = dr.select(reflects == (came_from > 0), out.z, -out.z)
            sampled = mi.BSDFSample3f()
            sampled.wo = out
            sampled.pdf = density * chance
            sampled.eta = 1.0
            reflection, transmission = self.m_components
            sampled.sampled_type = dr.select(
                reflects, mi.UInt32(int(reflection)), mi.UInt32(int(transmission))
            )
            sampled.sampled_component = dr.select(reflects, mi.UInt32(0), mi.UInt32(1))
            weight = dr.select(reflects, self.rho, self.tau) / chance
            usable = active & (density > 0)
            return sampled, dr.select(usable, weight, mi.Color3f(0))

        def eval(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            before, after = mi.Frame3f.cos_theta(si.wi), mi.Frame3f.cos_theta(wo)
            share = dr.select(before * after > 0, self.rho, self.tau)
            value = share * (dr.abs(after) / math.pi)
            return dr.select(active & (before * after != 0), value, mi.Color3f(0))

        def pdf(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            before, after = mi.Frame3f.cos_theta(si.wi), mi.Frame3f.cos_theta(wo)
            same = before * after > 0
            chance = dr.select(same, self.reflected_share, 1 - self.reflected_share)
            density = chance * dr.abs(after) / math.pi
            return dr.select(active & (before * after != 0), density, 0.0)

        def eval_pdf(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            return self.eval(ctx, si, wo, active), self.pdf(ctx, si, wo, active)

        def to_string(self) -> str:
            return f"ThinDiffuser[rho={self.rho}, tau={self.tau}]"

    mi.register_bsdf("thin_diffuser", ThinDiffuser)
