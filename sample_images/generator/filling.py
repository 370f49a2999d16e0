"""What the tubes hold: fluids, levels, menisci, glass."""

import math
from dataclasses import replace

import numpy as np

from sample_images.generator.fluids import FLUIDS, contact_range_deg, tension_n_m
from sample_images.generator.looks import Rng, pick
from sample_images.generator.meniscus import Surface, surface
from sample_images.generator.optics import Bend, Straight
from sample_images.generator.plans import Frame, Limb, NoFit, Plan

LEAN_DEG = 1.5  # of a board that nobody levelled
LEAST_DEPTH = 0.9  # absorbance across the bore in the strongest channel


def fill(plan: Plan, f: Frame, rng: Rng) -> tuple[Limb, ...]:
    g = f.graduation
    y_lo, y_hi = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    length = y_hi - y_lo
    a, b = y_lo + 0.07 * length + 2, y_hi - 0.07 * length - 2
    if plan.cls == "bank":
        t = np.linspace(0, 1, len(f.tube_x))
        wave = (
            rng.uniform(0.1, 0.9)
            + 0.3 * np.sin(t * rng.uniform(2, 7) + rng.uniform(0, 6))
            + rng.normal(0, 0.07, len(t))
        )
        y = a + np.clip(wave, 0, 1) * (b - a)
        return tuple(
            Limb(x_mm=x, fluids=(plan.fluid, "air"), levels_mm=(float(v),))
            for x, v in zip(f.tube_x, y, strict=True)
        )
    if plan.cls == "utube_seal":
        plug = rng.uniform(0.07, 0.22) * length
        if plug < 9 or b - a < plug + 20:
            raise NoFit
        low = rng.uniform(a, b - plug, 2)
        return tuple(
            Limb(
                x_mm=x,
                fluids=(plan.fluid, "oil_amber", "air"),
                levels_mm=(float(v), float(v + plug)),
            )
            for x, v in zip(f.tube_x, low, strict=True)
        )
    y = rng.uniform(a, b, len(f.tube_x))
    top = ["air"] * len(f.tube_x)
    if plan.cls == "utube_leg":
        top[0] = "kerosene" if plan.fluid.startswith("water") else "water"
    return tuple(
        Limb(x_mm=x, fluids=(plan.fluid, up), levels_mm=(float(v),))
        for x, v, up in zip(f.tube_x, y, top, strict=True)
    )


def out_of_range(
    limbs: tuple[Limb, ...], f: Frame, rng: Rng
) -> tuple[tuple[Limb, ...], Frame, tuple[int, ...]]:
    """Move one level off the scale: above, below, up into the cap, or down into the foot."""
    i = int(rng.integers(len(limbs)))
    g = f.graduation
    y_lo, y_hi = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    step = g.minor * g.unit_mm
    how = pick(rng, ("above", "below", "full", "empty"))
    level = {
        "above": rng.uniform(y_hi + 2 * step + 2, max(f.tube_y[1] - 3, y_hi + 2 * step + 4)),
        "below": rng.uniform(min(f.tube_y[0] + 3, y_lo - 2 * step - 4), y_lo - 2 * step - 2),
        "full": f.tube_y[1] + 12,
        "empty": f.tube_y[0] - 12,
    }[how]
    if f.bend and level < f.tube_y[0] + 2:
        raise NoFit
    moved = replace(limbs[i], levels_mm=(float(level),))
    return (*limbs[:i], moved, *limbs[i + 1 :]), f, (i,)


def level_out(limbs: tuple[Limb, ...], rng: Rng) -> tuple[Limb, ...]:
    """Open both ends: levels at one height, but for the lean of the board."""
    middle = float(np.mean([limb.levels_mm[0] for limb in limbs]))
    lean = math.tan(math.radians(rng.uniform(0.3, 1.0) * LEAN_DEG))
    centre = float(np.mean([limb.x_mm for limb in limbs]))
    return tuple(
        replace(limb, levels_mm=(middle + lean * (limb.x_mm - centre),)) for limb in limbs
    )


def _strength(plan: Plan, inner: float, rng: Rng) -> float:
    peak = max(FLUIDS[plan.fluid].absorption_per_mm)
    drawn = math.exp(rng.uniform(math.log(0.5), math.log(2.0)))
    return drawn if peak < 0.02 else max(drawn, LEAST_DEPTH / (peak * 2 * inner))


def glass(
    plan: Plan,
    f: Frame,
    limbs: tuple[Limb, ...],
    up_angle: float,
    rng: Rng,
    dye: float | None = None,
    plastic: bool = False,
) -> tuple[tuple[Straight, ...], Bend | None, dict[str, float]]:
    """Tubes and bend; ``dye`` is the absorbance across the bore, drawn unless given, and
    ``plastic`` says of what the walls are."""
    strength = _strength(plan, f.inner, rng)
    if dye is not None:
        strength = dye / (max(FLUIDS[plan.fluid].absorption_per_mm) * 2 * f.inner)
    # Borosilicate to soda-lime; acrylic to polyvinyl chloride (from memory).
    index = rng.uniform(*((1.49, 1.54) if plastic else (1.469, 1.523)))
    incline = math.pi / 2 - abs(up_angle)
    downhill = (-math.copysign(1.0, up_angle), 0.0)
    angle: dict[str, float] = {}
    tubes = []
    for limb in limbs:
        shapes: list[Surface] = []
        for below, above, y in zip(limb.fluids, limb.fluids[1:], limb.levels_mm, strict=False):
            pair = f"{below}/{above}"
            limits = contact_range_deg(below, above, plastic=plastic)
            angle.setdefault(pair, rng.uniform(*limits))
            contrast = FLUIDS[below].density_kg_m3 - FLUIDS[above].density_kg_m3
            shapes.append(
                surface(
                    y,
                    f.inner,
                    tension_n_m(below, above),
                    contrast,
                    angle[pair],
                    incline,
                    downhill,
                )
            )
        tubes.append(
            Straight(
                x_mm=limb.x_mm,
                z_mm=f.tube_z,
                inner_mm=f.inner,
                outer_mm=f.outer,
                glass_index=index,
                fluids=tuple(FLUIDS[n] for n in limb.fluids),
                absorption_per_mm=tuple(_absorption(n, strength) for n in limb.fluids),
                surfaces=tuple(shapes),
            )
        )
    bend = None
    if f.bend:
        bend = Bend(
            half_mm=f.tube_x[1],
            y_mm=f.tube_y[0] - 4.0,
            z_mm=f.tube_z,
            inner_mm=f.inner,
            outer_mm=f.outer,
            glass_index=index,
            fluids=(FLUIDS[plan.fluid],),
            absorption_per_mm=(_absorption(plan.fluid, strength),),
        )
    return (
        tuple(tubes),
        bend,
        {
            "dye": strength,
            "glass_index": index,
            **{f"contact {k}": v for k, v in angle.items()},
        },
    )


def _absorption(name: str, strength: float) -> tuple[float, float, float]:
    r, g, b = FLUIDS[name].absorption_per_mm
    return (r * strength, g * strength, b * strength)
