"""Paths through glass and coloured liquids: absorption on every segment, no scattering.

Unidirectional path tracing with emitter sampling at rough surfaces, the two weighted by the
power heuristic (Veach 1997, from memory). The liquid that was entered last absorbs on the
next segment by Beer and Lambert; its paths stay straight, so no medium need be sampled.

Imported once the renderer's variant is set: its classes are those of the variant.
"""

# mypy: ignore-errors
# Compiled by the renderer from this source; its types are the renderer's own.

import drjit as dr
import mitsuba as mi

NAME = "absorbing_path"
MAX_DEPTH = 28
ROULETTE_DEPTH = 14
"""Through a tube and back are eight surfaces; paths shorter than this are never given up."""
SURVIVAL = 0.96
"""Most probable survival of a longer one."""


class AbsorbingPath(mi.SamplingIntegrator):
    """Radiance along rays."""

    def __init__(self, props):
        super().__init__(props)
        self.max_depth = int(props.get("max_depth", MAX_DEPTH))
        self.roulette_depth = int(props.get("rr_depth", ROULETTE_DEPTH))

    @dr.syntax
    def sample(self, scene, sampler, ray_, medium=None, active=True):
        """Follow rays; the arguments and what comes back are those of the library's own."""
        context = mi.BSDFContext()
        ray = mi.Ray3f(ray_)
        depth = mi.UInt32(0)
        radiance = mi.Color3f(0.0)
        throughput = mi.Color3f(1.0)
        absorption = mi.Color3f(0.0)
        eta = mi.Float(1.0)
        active = mi.Bool(active)
        last = dr.zeros(mi.SurfaceInteraction3f)
        last_pdf = mi.Float(1.0)
        last_delta = mi.Bool(True)
        nowhere = dr.zeros(mi.MediumInteraction3f)
        while active:
            here = scene.ray_intersect(ray, ray_flags=mi.RayFlags.All, coherent=(depth == 0))
            hit = here.is_valid()
            passed = dr.exp(-absorption * dr.select(hit, here.t, 0.0))
            throughput *= dr.select(hit, passed, 1.0)
            # Light of an emitter that the path has met by itself.
            met = mi.DirectionSample3f(scene, here, last)
            emitter_pdf = scene.pdf_emitter_direction(last, met, ~last_delta)
            squares = last_pdf * last_pdf + emitter_pdf * emitter_pdf
            by_path = dr.select(last_pdf > 0, last_pdf * last_pdf / squares, 0.0)
            weight = dr.select(last_delta, 1.0, by_path)
            radiance += throughput * weight * met.emitter.eval(here, active)
            # Light of an emitter that is looked for.
            going_on = (depth + 1 < self.max_depth) & hit & active
            bsdf = here.bsdf(ray)
            rough = going_on & mi.has_flag(bsdf.flags(), mi.BSDFFlags.Smooth)
            lit, light = scene.sample_emitter_direction(here, sampler.next_2d(), True, rough)
            rough &= lit.pdf != 0.0
            outward = here.to_local(lit.d)
            reflected, bsdf_pdf = bsdf.eval_pdf(context, here, outward, rough)
            squares_lit = lit.pdf * lit.pdf + bsdf_pdf * bsdf_pdf
            weight_lit = dr.select(lit.delta, 1.0, lit.pdf * lit.pdf / squares_lit)
            found = throughput * weight_lit * reflected * light
            radiance += dr.select(rough, found, 0.0)
            # The next segment, and what absorbs on it.
            bounce, gain = bsdf.sample(
                context, here, sampler.next_1d(), sampler.next_2d(), going_on
            )
            ray = here.spawn_ray(here.to_world(bounce.wo))
            throughput *= gain
            eta *= bounce.eta
            last = dr.detach(here, True)
            last_pdf = bounce.pdf
            last_delta = mi.has_flag(bounce.sampled_type, mi.BSDFFlags.Delta)
            crossing = going_on & here.is_medium_transition()
            medium_entered = here.target_medium(ray.d)
            _, _, extinction = medium_entered.get_scattering_coefficients(nowhere, crossing)
            absorption = dr.select(crossing, extinction, absorption)
            brightest = dr.max(throughput)
            survival = dr.minimum(brightest * eta * eta, SURVIVAL)
            roulette = depth >= self.roulette_depth
            throughput[roulette] = throughput * dr.rcp(dr.maximum(survival, 1e-6))
            survives = (~roulette) | (sampler.next_1d() < survival)
            active = going_on & survives & (brightest > 0.0)
            depth += 1
        return radiance, mi.Bool(True), []


def load():
    """An integrator of this kind."""
    mi.register_integrator(NAME, lambda props: AbsorbingPath(props))
    return mi.load_dict({"type": NAME})
