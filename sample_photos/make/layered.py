"""The law of :mod:`sample_photos.make.finishes` as a Mitsuba material: three wavelengths at a time ride as "RGB"."""

from __future__ import annotations

from typing import Any

import drjit
import mitsuba

from sample_photos.make.finishes import REFRACTIVE_INDEX

dr: Any = drjit  # their stubs deny the mixing of floats and arrays that both are made for
mi: Any = mitsuba

_SURFACE_SHARE = 0.3  # of the rays, sent by the surface lobe; any share in (0, 1) gives the same picture


class Layered(mi.BSDF):  # type: ignore[misc]  # see mi
    """Coloured body (rough metal or matt) under a dyed layer with a white rough surface."""

    def __init__(self, props: Any) -> None:
        mi.BSDF.__init__(self, props)
        three = "red", "green", "blue"
        self.base = mi.Color3f(*(props[f"base_{c}"] for c in three))
        self.density = mi.Color3f(*(props[f"density_{c}"] for c in three))
        body_alpha = mi.Float(props["body_alpha"])
        self.surface_alpha = mi.Float(props["surface_alpha"])
        self.body_along = body_alpha / mi.Float(props["brushed"])
        self.body_across = body_alpha * mi.Float(props["brushed"])
        dr.make_opaque(self.base, self.density, self.body_along, self.body_across, self.surface_alpha)
        self.metal = bool(props["metal"])
        self.m_flags = mi.BSDFFlags.GlossyReflection | mi.BSDFFlags.FrontSide
        self.m_components = [self.m_flags]

    def _lobes(self) -> tuple[Any, Any]:
        kind = mi.MicrofacetType.GGX
        return (
            mi.MicrofacetDistribution(kind, self.body_along, self.body_across, True),
            mi.MicrofacetDistribution(kind, self.surface_alpha, self.surface_alpha, True),
        )

    def sample(self, ctx: Any, si: Any, choice: Any, point: Any, active: Any = True) -> tuple[Any, Any]:
        surface = choice < _SURFACE_SHARE
        along = dr.select(surface, self.surface_alpha, self.body_along)
        across = dr.select(surface, self.surface_alpha, self.body_across)
        facets = mi.MicrofacetDistribution(mi.MicrofacetType.GGX, along, across, True)
        half, _ = facets.sample(si.wi, point)
        wo = 2 * dr.dot(si.wi, half) * half - si.wi
        if not self.metal:
            wo = dr.select(surface, wo, mi.warp.square_to_cosine_hemisphere(point))
        value, pdf = self.eval_pdf(ctx, si, wo, active)
        bs = mi.BSDFSample3f()
        bs.wo, bs.pdf, bs.eta = wo, pdf, 1.0
        bs.sampled_type, bs.sampled_component = mi.UInt32(+self.m_flags), 0
        usable = active & (pdf > 0)
        return bs, dr.select(usable, value / pdf, 0.0)

    def eval(self, ctx: Any, si: Any, wo: Any, active: Any = True) -> Any:
        return self.eval_pdf(ctx, si, wo, active)[0]

    def pdf(self, ctx: Any, si: Any, wo: Any, active: Any = True) -> Any:
        return self.eval_pdf(ctx, si, wo, active)[1]

    def eval_pdf(self, ctx: Any, si: Any, wo: Any, active: Any = True) -> tuple[Any, Any]:
        cos_in, cos_out = mi.Frame3f.cos_theta(si.wi), mi.Frame3f.cos_theta(wo)
        active = mi.Bool(active) & (cos_in > 1e-4) & (cos_out > 1e-4)
        half = dr.normalize(si.wi + wo)
        body, surface = self._lobes()
        f_half = mi.fresnel(dr.dot(si.wi, half), REFRACTIVE_INDEX)[0]
        f_in, cos_t_in, _, _ = mi.fresnel(cos_in, REFRACTIVE_INDEX)
        f_out, cos_t_out, _, _ = mi.fresnel(cos_out, REFRACTIVE_INDEX)
        path = 1 / dr.abs(cos_t_in) + 1 / dr.abs(cos_t_out)
        shine = surface.eval(half) * surface.G(si.wi, wo, half) / (4 * cos_in)
        if self.metal:
            spread = body.eval(half) * body.G(si.wi, wo, half) / (4 * cos_in)
            body_pdf = body.pdf(si.wi, half) / (4 * dr.dot(wo, half))
        else:
            spread = body_pdf = cos_out * dr.inv_pi
        value = f_half * shine + (1 - f_in) * (1 - f_out) * self.base * dr.exp(-self.density * path) * spread
        surface_pdf = surface.pdf(si.wi, half) / (4 * dr.dot(wo, half))
        pdf = _SURFACE_SHARE * surface_pdf + (1 - _SURFACE_SHARE) * body_pdf
        return dr.select(active, value, 0.0), dr.select(active, pdf, 0.0)

    def traverse(self, callback: Any) -> None:
        callback.put("base", self.base, mi.ParamFlags.NonDifferentiable)

    def to_string(self) -> str:
        return "Layered[]"
