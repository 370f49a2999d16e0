"""Draws one photograph's instrument, camera and looks from a class and a seed."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, replace

import numpy as np

from sample_images.generator import looks, printing, surfaces
from sample_images.generator.camera import FULL_FRAME_DIAGONAL_MM, Camera
from sample_images.generator.fluids import FLUIDS, Floats, contact_range_deg, tension_n_m
from sample_images.generator.lighting import lightmap
from sample_images.generator.looks import INKS, MATERIALS, PLATES, Rng, pick
from sample_images.generator.meniscus import Surface, surface
from sample_images.generator.optics import Bend, Straight
from sample_images.generator.phone import Degrade
from sample_images.generator.printing import Graduation, Sheet, TickStyle
from sample_images.generator.render import World
from sample_images.generator.room import Room
from sample_images.generator.scene import (
    Box,
    Capsule,
    Face,
    Lightmap,
    Material,
    Print,
    Rod,
    Scene,
    Solid,
    Wall,
)

READABLE = (
    "utube_colour",
    "utube_clear",
    "utube_mercury",
    "utube_twoscale",
    "utube_behind",
    "utube_leg",
    "utube_seal",
    "single",
    "bank",
    "inclined",
)
NEGATIVE = ("neg_missing", "neg_outofrange", "neg_blur", "neg_occluded")
CLASSES = READABLE + NEGATIVE

COLOURED = (
    "water_blue",
    "water_green",
    "water_pink",
    "water_teal",
    "oil_red",
    "oil_amber",
    "oil_dark",
)
CLEAR = ("water", "kerosene", "glycol")
HEAVY = ("water_blue", "water_green", "water_pink", "water_teal", "glycol", "mercury")
"""Liquids that a lighter oil or kerosene floats on."""

LEAST_PX_PER_MM = 2.2  # below, a 6 mm tube is under 14 px wide
LEAST_DIGIT_PX = 11.0  # figures smaller than this are unfair to print
NEAREST_MM, FARTHEST_MM = 280.0, 1250.0
FRAME_MARGIN_PX = 25.0
CLEAR_OF_LEVEL_MM = 8.0  # clips stay this far from levels: meniscus plus perspective
LEAST_DEPTH = 0.9  # absorbance across the bore in the strongest channel


class NoFit(Exception):
    """The draw can't be built (too wide, too near, outside the frame): draw again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limb:
    """One tube's filling: fluids from the bottom up and the levels between them."""

    x_mm: float
    fluids: tuple[str, ...]
    levels_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleTruth:
    """Where a printed scale is: points at x_mm in the plane z_mm."""

    x_mm: float
    z_mm: float
    ticks: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything that one photograph and its truth follow from."""

    cls: str
    seed: int
    graduation: Graduation
    limbs: tuple[Limb, ...]
    fluid: str
    inner_mm: float
    outer_mm: float
    tube_z_mm: float
    scale_z_mm: float | None
    scales: tuple[ScaleTruth, ...]
    hidden: tuple[int, ...]
    incline_deg: float | None
    camera: Camera
    degrade: Degrade
    world: World
    look: dict[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """First decisions: what kind of instrument, at what scale in the picture."""

    cls: str
    layout: str  # between, outside, beside, behind, lines, gaps
    n_limbs: int
    fluid: str
    graduation: Graduation  # y_zero not yet placed
    px_per_mm: float
    width_px: int
    height_px: int
    incline_deg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """Lengths of the instrument, mm. Board from y = 0; tubes at the given x."""

    graduation: Graduation
    style: TickStyle
    tube_x: tuple[float, ...]
    inner: float
    outer: float
    tube_z: float
    scale_z: float
    strip_half: float  # half width of a scale strip or numeral column
    strips: tuple[tuple[float, float, str], ...]  # x0, x1, ticks
    line_span: tuple[float, float] | None
    board_half: float
    board_height: float
    tube_y: tuple[float, float]
    bend: bool


def draw(cls: str, seed: int, size_px: tuple[int, int] = (1500, 2000)) -> Case:
    """Draw the case of a class and seed.

    Parameters
    ----------
    cls : str
        One of ``CLASSES``.
    seed : int
        Same class, seed, size and installed fonts give the same picture.
    size_px : tuple of int
        Width and height of the upright picture; turned for inclined tubes.

    Raises
    ------
    ValueError
        If the class is unknown.
    """
    if cls not in CLASSES:
        raise ValueError(f"class {cls!r} is unknown; one of {', '.join(CLASSES)}")
    for attempt in range(200):
        rng = np.random.default_rng([zlib.crc32(cls.encode()), seed, attempt])
        try:
            return _build(cls, seed, rng, size_px)
        except NoFit:
            continue
    raise RuntimeError(f"{cls} {seed}: no instrument of this class fits {size_px} px")


# --------------------------------------------------------------------------- plan


def _base_class(cls: str, rng: Rng) -> str:
    if not cls.startswith("neg_"):
        return cls
    return pick(
        rng,
        (
            "utube_colour",
            "utube_colour",
            "utube_mercury",
            "utube_twoscale",
            "utube_behind",
            "single",
        ),
    )


def _layout(base: str, rng: Rng) -> str:
    if base == "utube_mercury":
        return pick(rng, ("between", "outside"))
    if base == "bank":
        return pick(rng, ("lines", "lines", "gaps"))
    return {
        "utube_twoscale": "outside",
        "utube_behind": "behind",
        "single": "beside",
        "inclined": "beside",
    }.get(base, "between")


def _fluid(base: str, rng: Rng) -> str:
    if base == "utube_mercury":
        return "mercury"
    if base in ("utube_leg", "utube_seal"):
        heavy = HEAVY if base == "utube_leg" else tuple(f for f in HEAVY if f != "glycol")
        return pick(rng, heavy)
    if base == "utube_clear":
        return pick(rng, CLEAR)
    if base == "bank":
        return pick(rng, (*COLOURED, "water", "kerosene"))
    if base in ("utube_behind", "single", "inclined"):
        return pick(rng, (*COLOURED, *COLOURED, "glycol"))
    return pick(rng, COLOURED)


def _plan(cls: str, rng: Rng, size_px: tuple[int, int]) -> _Plan:
    base = _base_class(cls, rng)
    incline = rng.uniform(10, 30) if base == "inclined" else None
    width, height = size_px if incline is None else size_px[::-1]
    weights = np.array([o.weight for o in looks.OPTIONS])
    option = looks.OPTIONS[int(rng.choice(len(weights), p=weights / weights.sum()))]
    division_px = float(np.clip(rng.normal(7.2, 2.2), 3.2, 13.5))
    division_mm = option.minor * option.unit_mm
    ppm = division_px / division_mm * (max(size_px) / 2000)
    if ppm < LEAST_PX_PER_MM:
        raise NoFit
    along = max(size_px)
    length = rng.uniform(0.5, 0.86) * along / ppm
    if not 90 <= length <= 650:
        raise NoFit
    label_every = pick(rng, option.label_every)
    steps = math.floor(length / option.unit_mm / label_every)
    if steps < 4 or steps > 80:
        raise NoFit
    lo, hi, labels = _range(base, steps, label_every, rng)
    graduation = Graduation(
        unit_mm=option.unit_mm,
        minor=option.minor,
        major=option.major,
        label_every=label_every,
        lo=lo,
        hi=hi,
        labels=labels,
        y_zero_mm=0.0,
    )
    n = {"bank": int(rng.integers(4, 13)), "single": 1, "inclined": 1}.get(base, 2)
    return _Plan(
        cls=base,
        layout=_layout(base, rng),
        n_limbs=n,
        fluid=_fluid(base, rng),
        graduation=graduation,
        px_per_mm=ppm,
        width_px=width,
        height_px=height,
        incline_deg=incline,
    )


def _range(base: str, steps: int, every: float, rng: Rng) -> tuple[float, float, str]:
    centred = {
        "single": 0.1,
        "bank": 0.0,
        "inclined": 0.0,
        "utube_twoscale": 0.3,
        "utube_mercury": 0.3,
        "utube_behind": 0.35,
    }.get(base, 0.6)
    if rng.random() < centred:
        half = steps // 2
        labels = "magnitude" if rng.random() < 0.75 else "signed"
        return -half * every, half * every, labels
    if base == "bank" and rng.random() < 0.4:
        return 0.0, steps * every, "downward"
    start = every * int(rng.integers(1, 12)) if rng.random() < 0.15 else 0.0
    return start, start + steps * every, "signed"


# --------------------------------------------------------------------------- lengths


def _frame(plan: _Plan, rng: Rng) -> _Frame:
    ppm = plan.px_per_mm
    slim = plan.cls in ("utube_mercury", "inclined") or plan.fluid == "mercury"
    inner = max(rng.uniform(1.1, 3.4) if slim else rng.uniform(1.6, 5.6), 6.5 / ppm)
    outer = inner + rng.uniform(0.7, 0.9 + 0.28 * inner)
    style = _tick_style(plan, rng)
    g = plan.graduation
    widest = max(
        printing.text_width_mm(g.label(v), style.digit_mm, style.font)
        for v in g.values()
        if g.rank(v) == 3
    )
    longest = max(style.length_mm)
    aside = rng.uniform(0.5, 3.5)
    raised = plan.layout not in ("behind", "lines") and rng.random() < 0.5
    if raised:
        tube_z = outer + rng.uniform(0.4, 5.0)
        dz = rng.uniform(1.0, min(10.0, tube_z - 0.8))
        if tube_z - dz > outer + 8:
            raise NoFit
    else:
        dz = rng.uniform(outer + 0.2, max(10.0, outer + 0.3))
        tube_z = dz
    if dz > 10.0 or dz < 1.0:
        raise NoFit
    xs, strips, span, half = _across(plan, style, outer, widest, longest, aside, rng)
    below, above = rng.uniform(14, 40), rng.uniform(14, 40)
    if plan.cls == "utube_seal":
        above += 6
    bend = (
        plan.n_limbs == 2
        and plan.layout in ("between", "outside", "behind")
        and rng.random() < 0.45
        and xs[1] > 2.2 * outer
    )
    foot = rng.uniform(12, 26)
    y_lo = foot + below + (xs[1] + outer if bend else 0.0)
    sign = -1.0 if g.labels == "downward" else 1.0
    start = g.hi if g.labels == "downward" else g.lo
    g = replace(g, y_zero_mm=y_lo - sign * start * g.unit_mm)
    y_hi = y_lo + (g.hi - g.lo) * g.unit_mm
    tube_y = (y_lo - below + (0.0 if not bend else 4.0), y_hi + above)
    reach = max(
        [abs(x) + outer for x in xs]
        + [max(abs(a), abs(b)) for a, b, _ in strips]
        + ([max(abs(span[0]), abs(span[1]))] if span else [])
    )
    return _Frame(
        graduation=g,
        style=style,
        tube_x=xs,
        inner=inner,
        outer=outer,
        tube_z=tube_z,
        scale_z=tube_z - dz,
        strip_half=half,
        strips=strips,
        line_span=span,
        board_half=reach + rng.uniform(3, 22),
        board_height=tube_y[1] + rng.uniform(2, 26),
        tube_y=tube_y,
        bend=bend,
    )


def _tick_style(plan: _Plan, rng: Rng) -> TickStyle:
    g, ppm = plan.graduation, plan.px_per_mm
    label_step = g.label_every * g.unit_mm
    digit = rng.uniform(1.9, 4.2)
    digit = min(max(digit, LEAST_DIGIT_PX / ppm), 0.62 * label_step)
    if digit * ppm < LEAST_DIGIT_PX:
        raise NoFit
    division = g.minor * g.unit_mm
    longest = max(rng.uniform(4.0, 9.0), 18 / ppm)
    thin = min(rng.uniform(0.15, 0.4), 0.36 * division)
    bold = min(thin * rng.uniform(1.0, 1.7), 0.5)
    ranks = (rng.uniform(0.35, 0.6), rng.uniform(0.6, 0.78), rng.uniform(0.78, 1.0), 1.0)
    font = looks.font(rng)
    return TickStyle(
        length_mm=(longest * ranks[0], longest * ranks[1], longest * ranks[2], longest),
        width_mm=(thin, thin, bold, bold),
        spine_mm=bold if rng.random() < 0.45 else 0.0,
        digit_mm=digit,
        font=font,
        gap_mm=rng.uniform(0.5, 1.6),
    )


def _across(
    plan: _Plan,
    style: TickStyle,
    outer: float,
    widest: float,
    longest: float,
    aside: float,
    rng: Rng,
) -> tuple[
    tuple[float, ...], tuple[tuple[float, float, str], ...], tuple[float, float] | None, float
]:
    """Tube positions, strips (x0, x1, ticks), span of full lines, half width of a strip."""
    margin = rng.uniform(0.3, 1.5)
    one_sided = longest + style.gap_mm + widest + 2 * margin
    if plan.layout == "between":
        half = longest + style.gap_mm + widest / 2 + margin
        x = half + aside + outer
        return (-x, x), ((-half, half, "both"),), None, half
    if plan.layout == "outside":
        x = outer + rng.uniform(2.5, 16)
        near = x + outer + aside
        return (
            (-x, x),
            ((-near - one_sided, -near, "right"), (near, near + one_sided, "left")),
            None,
            one_sided / 2,
        )
    if plan.layout == "beside":
        near = outer + aside
        if rng.random() < 0.5:
            return (0.0,), ((near, near + one_sided, "left"),), None, one_sided / 2
        return (0.0,), ((-near - one_sided, -near, "right"),), None, one_sided / 2
    room_mm = plan.width_px / plan.px_per_mm
    if plan.layout == "behind":
        x = outer + rng.uniform(4, min(30.0, 0.22 * room_mm))
        reach = x + outer + rng.uniform(3, 12)
        return (-x, x), (), (-reach, reach), widest
    n = plan.n_limbs
    if plan.layout == "gaps":
        pitch = 2 * (longest + style.gap_mm + widest / 2 + margin + aside + outer)
        n = min(n, max(int((0.72 * room_mm) / pitch) + 1, 3))
        if n < 4:
            raise NoFit
        xs = tuple((i - (n - 1) / 2) * pitch for i in range(n))
        half = pitch / 2 - outer - aside
        strips = tuple((x + pitch / 2 - half, x + pitch / 2 + half, "both") for x in xs[:-1])
        return xs, strips, None, half
    pitch = 2 * outer + rng.uniform(2.5, 14)
    n = min(n, int(0.62 * room_mm / pitch) + 1)
    if n < 4:
        raise NoFit
    xs = tuple((i - (n - 1) / 2) * pitch for i in range(n))
    reach = xs[-1] + outer + rng.uniform(2, 8)
    return xs, (), (-reach, reach), widest


# --------------------------------------------------------------------------- liquids


def _limbs(plan: _Plan, f: _Frame, rng: Rng) -> tuple[Limb, ...]:
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


def _out_of_range(
    limbs: tuple[Limb, ...], f: _Frame, rng: Rng
) -> tuple[tuple[Limb, ...], _Frame, tuple[int, ...]]:
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


def _strength(plan: _Plan, inner: float, rng: Rng) -> float:
    peak = max(FLUIDS[plan.fluid].absorption_per_mm)
    drawn = math.exp(rng.uniform(math.log(0.5), math.log(2.0)))
    return drawn if peak < 0.02 else max(drawn, LEAST_DEPTH / (peak * 2 * inner))


def _glass(
    plan: _Plan, f: _Frame, limbs: tuple[Limb, ...], up_angle: float, rng: Rng
) -> tuple[tuple[Straight, ...], Bend | None, dict[str, float]]:
    strength = _strength(plan, f.inner, rng)
    index = rng.uniform(1.469, 1.523)  # borosilicate to soda-lime, from memory
    incline = math.pi / 2 - abs(up_angle)
    downhill = (-math.copysign(1.0, up_angle), 0.0)
    angle: dict[str, float] = {}
    tubes = []
    for limb in limbs:
        shapes: list[Surface] = []
        for below, above, y in zip(limb.fluids, limb.fluids[1:], limb.levels_mm, strict=False):
            pair = f"{below}/{above}"
            angle.setdefault(pair, rng.uniform(*contact_range_deg(below, above)))
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


# --------------------------------------------------------------------------- board


def _print_scales(
    plan: _Plan, f: _Frame, ppm: float, ink: tuple[str, str], rng: Rng
) -> tuple[list[list[Print]], list[ScaleTruth]]:
    """Prints for each strip (or one list for the board) and where the scales are."""
    g, style = f.graduation, f.style
    y_lo, y_hi = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    pad = style.digit_mm
    groups: list[list[Print]] = []
    truths: list[ScaleTruth] = []
    if f.line_span is not None:
        x0, x1 = f.line_span
        wide = f.strip_half + style.gap_mm + 1
        lines = Sheet(x0, x1, y_lo - pad, y_hi + pad, ppm)
        step = rng.uniform(0, 2.5)
        spans = [(x0, x1)]
        if plan.layout == "behind" and rng.random() < 0.35:  # lines only behind each tube
            w = f.outer + rng.uniform(2, 6)
            spans = [(x - w, x + w) for x in f.tube_x]
        printing.full_lines(lines, g, style, spans, (2 * step, step, 0.0, 0.0))
        prints = [lines.printed(INKS[ink[0]])]
        where = pick(rng, ("left", "right", "margins"))
        for side, x, anchor in (
            ("left", x0 - style.gap_mm, "r"),
            ("right", x1 + style.gap_mm, "l"),
        ):
            if where in (side, "margins"):
                sheet = Sheet(
                    x - wide if side == "left" else x,
                    x if side == "left" else x + wide,
                    y_lo - pad,
                    y_hi + pad,
                    ppm,
                )
                printing.numerals(sheet, g, style, x, anchor)
                prints.append(sheet.printed(INKS[ink[1]]))
        middle = 0.5 * sum(spans[0]) if len(spans) > 1 else 0.5 * (x0 + x1)
        truths.append(ScaleTruth(x_mm=middle, z_mm=f.scale_z, ticks="full"))
        return [prints], truths
    inward = rng.random() < 0.5  # ticks rooted at the tube's side, or at the numerals
    for x0, x1, ticks in f.strips:
        sheet, words = (Sheet(x0, x1, y_lo - pad, y_hi + pad, ppm) for _ in range(2))
        edge = 0.15 + style.spine_mm / 2
        longest = max(style.length_mm)
        sides = {"both": (-1, 1), "left": (-1,), "right": (1,)}[ticks]
        for hand in sides:
            outside = x1 - edge if hand > 0 else x0 + edge
            if inward:
                printing.column(sheet, g, style, outside, -hand)
            else:
                printing.column(sheet, g, style, outside - hand * longest, hand)
        if ticks == "both":
            printing.numerals(words, g, style, 0.5 * (x0 + x1), "m")
        elif ticks == "left":
            printing.numerals(words, g, style, x0 + edge + longest + style.gap_mm, "l")
        else:
            printing.numerals(words, g, style, x1 - edge - longest - style.gap_mm, "r")
        groups.append([sheet.printed(INKS[ink[0]]), words.printed(INKS[ink[1]])])
        truths.append(ScaleTruth(x_mm=0.5 * (x0 + x1), z_mm=f.scale_z, ticks=ticks))
    return groups, truths


def _heading(plan: _Plan, f: _Frame, ppm: float, ink: str, rng: Rng) -> list[Print]:
    """Unit beside the scale's upper end and, sometimes, a name on the board."""
    g = f.graduation
    font = looks.font(rng)
    out = []
    y_hi = max(g.y_mm(g.lo), g.y_mm(g.hi))
    unit = {1: "mm", 10: "cm"}.get(round(g.unit_mm), pick(rng, ("in", "inch")))
    x = 0.0 if f.line_span is not None or len(f.strips) != 2 else f.strips[0][0] + 4
    if f.strips and len(f.strips) == 1:
        x = 0.5 * (f.strips[0][0] + f.strips[0][1])
    y = y_hi + 2.4 * f.style.digit_mm + 1
    if rng.random() < 0.7 and y + 4 < f.board_height and f.scale_z == 0.0:
        sheet = Sheet(x - 12, x + 12, y - 4, y + 4, ppm)
        sheet.text(unit, x, y, f.style.digit_mm * rng.uniform(0.9, 1.2), font)
        out.append(sheet.printed(INKS[ink]))
    if rng.random() < 0.5:
        words = pick(rng, looks.WORDS)
        if rng.random() < 0.5:
            words += f" {pick(rng, 'ABCDEFG')}{int(rng.integers(1, 30))}"
        size = rng.uniform(2.2, 4.5)
        y = 6.0 if rng.random() < 0.5 else f.board_height - 6
        half = min(0.5 * printing.text_width_mm(words, size, font) + 2, f.board_half)
        sheet = Sheet(-half, half, y - 5, y + 5, ppm)
        sheet.text(words, 0.0, y, size, font)
        out.append(sheet.printed(INKS[ink]))
    return out


def _face(
    rect: tuple[float, float, float, float],
    z: float,
    plate: str,
    prints: list[Print],
    rng: Rng,
) -> Face:
    albedo, kind, _, _ = PLATES[plate]
    ppm = 4.0
    if max(rect[1] - rect[0], rect[3] - rect[2]) > 2000:
        ppm = 1.0
    metal = kind == "brushed"
    return Face(
        x0_mm=rect[0],
        x1_mm=rect[1],
        y0_mm=rect[2],
        y1_mm=rect[3],
        z_mm=z,
        albedo=albedo,
        grain=surfaces.grain(
            kind, int((rect[1] - rect[0]) * ppm), int((rect[3] - rect[2]) * ppm), rng
        ),
        grain_px_per_mm=ppm,
        gloss=rng.uniform(0.05, 0.16) if metal else rng.uniform(0, 0.03),
        gloss_exponent=rng.uniform(8, 20) if metal else rng.uniform(15, 90),
        prints=tuple(prints),
    )


def _solids(
    plan: _Plan, f: _Frame, limbs: tuple[Limb, ...], thick: float, rng: Rng
) -> list[Solid]:
    """Caps, hoses, foot block, clips, screws, and the bodies of board and strips."""
    out: list[Solid] = []
    y0, y1 = f.tube_y
    cap = looks.material(
        rng,
        (
            "brass",
            "steel",
            "black rubber",
            "green rubber",
            "brown rubber",
            "white plastic",
            "blue plastic",
            "grey plastic",
        ),
    )
    wide, tall = rng.uniform(0.7, 2.4), rng.uniform(6, 15)
    hose = rng.random() < 0.5
    hose_material = looks.material(
        rng, ("black rubber", "brown rubber", "grey plastic", "white plastic", "green rubber")
    )
    for x in f.tube_x:
        out.append(
            Rod(
                x_mm=x,
                z_mm=f.tube_z,
                radius_mm=f.outer + wide,
                y0_mm=y1 - 1.5,
                y1_mm=y1 + tall,
                material=cap,
            )
        )
        if hose:
            r = max(0.75 * f.outer, 2.0)
            bow = (
                x + rng.uniform(-6, 6),
                y1 + tall + rng.uniform(15, 40),
                f.tube_z + rng.uniform(0, 8),
            )
            out.append(
                Capsule(
                    a_mm=(x, y1 + tall - 1, f.tube_z),
                    b_mm=bow,
                    radius_mm=r,
                    material=hose_material,
                )
            )
            out.append(
                Capsule(
                    a_mm=bow,
                    b_mm=(bow[0] + rng.uniform(-40, 40), bow[1] + 120, bow[2] - 3),
                    radius_mm=r,
                    material=hose_material,
                )
            )
    if not f.bend:
        reach = max(abs(x) for x in f.tube_x) + f.outer + rng.uniform(2, 8)
        foot = looks.material(
            rng,
            (
                "brass",
                "steel",
                "black plastic",
                "grey plastic",
                "wood",
                "blue plastic",
                "white plastic",
            ),
        )
        out.append(
            Box(
                lo_mm=(-reach, y0 - rng.uniform(8, 14), 0.0),
                hi_mm=(reach, y0 + 1.0, f.tube_z + f.outer + rng.uniform(0.5, 4)),
                material=foot,
            )
        )
    out += _clips(f, limbs, rng)
    if rng.random() < 0.6:
        screw = looks.material(rng, ("brass", "steel", "black plastic"))
        inset = rng.uniform(4, 7)
        for x in (-f.board_half + inset, f.board_half - inset):
            for y in (inset, f.board_height - inset):
                out.append(
                    Capsule(
                        a_mm=(x, y, -1.6),
                        b_mm=(x, y, -1.5),
                        radius_mm=rng.uniform(2.6, 2.7),
                        material=screw,
                    )
                )
    return out


def _clips(f: _Frame, limbs: tuple[Limb, ...], rng: Rng) -> list[Solid]:
    out: list[Solid] = []
    if rng.random() < 0.35:
        return out
    stuff = looks.material(
        rng,
        ("brass", "steel", "black plastic", "white plastic", "grey plastic", "blue plastic"),
    )
    tall, wide, front = rng.uniform(2.5, 7), rng.uniform(0.8, 3), rng.uniform(0.4, 1.5)
    round_ones = rng.random() < 0.5
    y0, y1 = f.tube_y
    heights = rng.uniform(y0 + 8, y1 - 12, int(rng.integers(1, 4)))
    for limb in limbs:
        for y in heights:
            span = (y - tall / 2, y + tall / 2)
            if any(
                span[0] - CLEAR_OF_LEVEL_MM < v < span[1] + CLEAR_OF_LEVEL_MM
                for v in limb.levels_mm
            ):
                continue
            if round_ones:
                out.append(
                    Rod(
                        x_mm=limb.x_mm,
                        z_mm=f.tube_z,
                        radius_mm=f.outer + front,
                        y0_mm=span[0],
                        y1_mm=span[1],
                        material=stuff,
                    )
                )
            else:
                half = f.outer + wide
                out.append(
                    Box(
                        lo_mm=(limb.x_mm - half, span[0], 0.0),
                        hi_mm=(limb.x_mm + half, span[1], f.tube_z + f.outer + front),
                        material=stuff,
                    )
                )
    return out


def _cover(
    limbs: tuple[Limb, ...], f: _Frame, rng: Rng
) -> tuple[list[Solid], tuple[int, ...]]:
    """Something opaque in front of one limb's level."""
    i = int(rng.integers(len(limbs)))
    limb = limbs[i]
    y = limb.levels_mm[0]
    front = f.tube_z + f.outer
    up, down = rng.uniform(9, 22), rng.uniform(9, 22)
    how = pick(rng, ("sticker", "tape", "finger", "sleeve"))
    if how == "finger":
        side = math.copysign(1.0, limb.x_mm) if limb.x_mm else pick(rng, (-1.0, 1.0))
        r = max(rng.uniform(8, 11), f.inner + 6)
        tip = (limb.x_mm - side * (f.outer + 3), y + rng.uniform(-1, 1), front + r)
        knuckle = (tip[0] + side * 38, tip[1] - rng.uniform(4, 18), tip[2] + 8)
        wrist = (knuckle[0] + side * 45, knuckle[1] - rng.uniform(10, 40), knuckle[2] + 6)
        skin = MATERIALS["skin"]
        return [
            Capsule(a_mm=tip, b_mm=knuckle, radius_mm=r, material=skin),
            Capsule(a_mm=knuckle, b_mm=wrist, radius_mm=r * 1.12, material=skin),
        ], (i,)
    if how == "sleeve":
        stuff = looks.material(rng, ("black rubber", "blue plastic", "steel", "brown rubber"))
        return [
            Rod(
                x_mm=limb.x_mm,
                z_mm=f.tube_z,
                radius_mm=f.outer + rng.uniform(0.5, 2),
                y0_mm=y - down,
                y1_mm=y + up,
                material=stuff,
            )
        ], (i,)
    stuff = (
        MATERIALS["tape"] if how == "tape" else looks.material(rng, ("paper", "orange paper"))
    )
    half = f.outer + rng.uniform(1.5, 12 if how == "sticker" else 3)
    return [
        Box(
            lo_mm=(limb.x_mm - half, y - down, front + 0.1),
            hi_mm=(limb.x_mm + half, y + up, front + 0.5),
            material=stuff,
        )
    ], (i,)


# --------------------------------------------------------------------------- camera


def _camera(
    plan: _Plan, f: _Frame, limbs: tuple[Limb, ...], up_angle: float, rng: Rng
) -> Camera:
    g = f.graduation
    y_lo, y_hi = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    xs = [x for s in f.strips for x in s[:2]] + [
        x + s * f.outer for x in f.tube_x for s in (-1, 1)
    ]
    if f.line_span is not None:
        grow = f.strip_half + f.style.gap_mm + 1
        xs += [f.line_span[0] - grow, f.line_span[1] + grow]
    corners = np.array(
        [
            [x, y, z]
            for x in (min(xs), max(xs))
            for y in (y_lo - 4, y_hi + 4)
            for z in (f.scale_z, f.tube_z)
        ]
    )
    middle = np.array([0.5 * (min(xs) + max(xs)), 0.5 * (y_lo + y_hi), 0.0])
    diagonal = math.hypot(plan.width_px, plan.height_px)
    f35 = math.exp(rng.uniform(math.log(26), math.log(80)))
    distance = f35 / FULL_FRAME_DIAGONAL_MM * diagonal / plan.px_per_mm
    if not NEAREST_MM <= distance <= FARTHEST_MM:
        raise NoFit
    yaw, pitch = (
        float(np.clip(rng.normal(0, math.radians(5.5)), -0.24, 0.24)) for _ in range(2)
    )
    roll = up_angle + float(np.clip(rng.normal(0, math.radians(2.5)), -0.14, 0.14))
    target = middle + np.array([rng.uniform(-12, 12), rng.uniform(-14, 14), 0.0])
    out = np.array(
        [math.sin(yaw) * math.cos(pitch), math.sin(pitch), math.cos(yaw) * math.cos(pitch)]
    )
    k1 = float(rng.normal(0, 0.012))
    for _ in range(8):
        origin = target + distance * out
        cam = Camera(
            width_px=plan.width_px,
            height_px=plan.height_px,
            f35_mm=f35,
            k1=k1,
            origin_mm=_xyz(origin),
            target_mm=_xyz(target),
            roll_rad=roll,
        )
        p = cam.project(corners)
        inside = (
            (p > FRAME_MARGIN_PX)
            & (p < np.array([plan.width_px, plan.height_px]) - FRAME_MARGIN_PX)
        ).all()
        if inside and distance <= FARTHEST_MM:
            return cam
        distance *= 1.04
    raise NoFit


def _xyz(v: Floats) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))


def _division_px(cam: Camera, f: _Frame) -> float:
    g = f.graduation
    mid = 0.5 * (g.y_mm(g.lo) + g.y_mm(g.hi))
    p = cam.project(np.array([[0, mid, f.scale_z], [0, mid + g.minor * g.unit_mm, f.scale_z]]))
    return float(np.linalg.norm(p[1] - p[0]))


# --------------------------------------------------------------------------- assembly


def _build(cls: str, seed: int, rng: Rng, size_px: tuple[int, int]) -> Case:
    plan = _plan(cls, rng, size_px)
    f = _frame(plan, rng)
    limbs = _limbs(plan, f, rng)
    hidden: tuple[int, ...] = ()
    if cls == "neg_outofrange":
        limbs, f, hidden = _out_of_range(limbs, f, rng)
    up_angle = 0.0
    if plan.incline_deg is not None:
        up_angle = pick(rng, (-1.0, 1.0)) * math.radians(90 - plan.incline_deg)
    cam = _camera(plan, f, limbs, up_angle, rng)
    division = _division_px(cam, f)
    viewer = np.subtract(cam.origin_mm, cam.target_mm)
    room = looks.room(rng, _xyz(viewer / np.linalg.norm(viewer)), up_angle)
    degrade = looks.degrade(rng, division, room)
    cover: list[Solid] = []
    if cls == "neg_occluded":
        cover, hidden = _cover(limbs, f, rng)
    if cls == "neg_blur":
        degrade, hidden = _blurred(degrade, division, rng), tuple(range(len(limbs)))
    tubes, bend, drawn = _glass(plan, f, limbs, up_angle, rng)
    if cls == "neg_missing":
        hidden = tuple(range(len(limbs)))
    world, scales, look = _world(cls, plan, f, limbs, tubes, bend, cover, room, cam, rng)
    return Case(
        cls=cls,
        seed=seed,
        graduation=f.graduation,
        limbs=limbs,
        fluid=plan.fluid,
        inner_mm=f.inner,
        outer_mm=f.outer,
        tube_z_mm=f.tube_z,
        scale_z_mm=None if cls == "neg_missing" else f.scale_z,
        scales=tuple(scales),
        hidden=hidden,
        incline_deg=plan.incline_deg,
        camera=cam,
        degrade=degrade,
        world=world,
        look={
            **look,
            **drawn,
            "base": plan.cls,
            "layout": plan.layout,
            "division_px": division,
        },
    )


def _blurred(d: Degrade, division_px: float, rng: Rng) -> Degrade:
    """Defocus or motion that erases the divisions and the figures."""
    if rng.random() < 0.6:
        return replace(d, defocus=max(rng.uniform(14, 24), 2.0 * division_px))
    return replace(
        d,
        motion=max(rng.uniform(50, 90), 7 * division_px),
        blur=max(d.blur, 2.5),
        motion_angle=rng.uniform(math.pi / 3, 2 * math.pi / 3),
    )


def _world(
    cls: str,
    plan: _Plan,
    f: _Frame,
    limbs: tuple[Limb, ...],
    tubes: tuple[Straight, ...],
    bend: Bend | None,
    cover: list[Solid],
    room: Room,
    cam: Camera,
    rng: Rng,
) -> tuple[World, list[ScaleTruth], dict[str, object]]:
    dark_ok = plan.fluid == "mercury" or (
        plan.layout in ("between", "outside", "beside") and f.scale_z > 0
    )
    dark_scale = dark_ok and rng.random() < 0.25
    scale_plate = looks.plate(rng, dark_scale)
    one_plate = f.scale_z == 0.0
    board_plate = scale_plate if one_plate else looks.plate(rng, False)
    inks = PLATES[scale_plate][2]
    main = pick(rng, inks)
    ink = (main, pick(rng, inks) if rng.random() < 0.2 else main)
    ppm = min(2.5 * plan.px_per_mm, 40.0)
    groups, scales = _print_scales(plan, f, ppm, ink, rng)
    thick = rng.uniform(2, 12)
    board_rect = (-f.board_half, f.board_half, 0.0, f.board_height)
    heading = _heading(plan, f, ppm, pick(rng, PLATES[board_plate][2]), rng)
    solids = _solids(plan, f, limbs, thick, rng) + cover
    missing = _missing(cls, rng)
    if missing in ("board", "ruler", "wall"):
        tubes, bend, solids = (
            (),
            None,
            [s for s in solids if isinstance(s, Capsule) and s.a_mm[2] < 0],
        )
    if missing in ("board", "tubes", "wall"):
        groups, scales = [], []
    if missing is not None:
        scales = []
    y_lo, y_hi = sorted(
        (f.graduation.y_mm(f.graduation.lo), f.graduation.y_mm(f.graduation.hi))
    )
    faces: list[Face] = []
    bodies: list[Solid] = []
    strip_stuff = Material(albedo=PLATES[scale_plate][0])
    if one_plate:
        heading = heading + [p for g in groups for p in g]
    else:
        over = rng.uniform(2, 9)
        for (x0, x1, _), prints in zip(f.strips, groups, strict=False):
            rect = (x0, x1, y_lo - over - f.style.digit_mm, y_hi + over + f.style.digit_mm)
            faces.append(_face(rect, f.scale_z, scale_plate, prints, rng))
            bodies.append(
                Box(
                    lo_mm=(x0, rect[2], 0.0),
                    hi_mm=(x1, rect[3], f.scale_z - 0.01),
                    material=strip_stuff,
                )
            )
    if missing != "wall":
        faces.append(_face(board_rect, 0.0, board_plate, heading, rng))
        bodies.append(
            Box(
                lo_mm=(-f.board_half, 0.0, -thick),
                hi_mm=(f.board_half, f.board_height, -0.01),
                material=Material(albedo=PLATES[board_plate][0]),
            )
        )
    gradient = (rng.uniform(-0.22, 0.22), rng.uniform(-0.22, 0.22))
    everything = solids + bodies
    maps = tuple(_light(face, room, everything, tubes, f, gradient, rng) for face in faces)
    wall, wall_light = _wall(plan, f, cam, thick, room, everything, gradient, rng)
    scene = Scene(
        faces=tuple(faces),
        lightmaps=maps,
        wall=wall,
        wall_light=wall_light,
        solids=tuple(everything),
        room=room,
    )
    look: dict[str, object] = {
        "font": str(f.style.font).rsplit("/", 1)[-1],
        "scale_plate": scale_plate,
        "board_plate": board_plate,
        "ink": ink[0],
        "numeral_ink": ink[1],
        "line_mm": f.style.width_mm[0],
        "digit_mm": f.style.digit_mm,
        "bend": f.bend,
        "missing": missing,
    }
    return World(scene=scene, tubes=tubes, tube_span_mm=f.tube_y, bend=bend), scales, look


def _missing(cls: str, rng: Rng) -> str | None:
    """What is there instead of an instrument: a bare board, a ruler, tubes without scale."""
    return pick(rng, ("board", "ruler", "tubes", "wall")) if cls == "neg_missing" else None


def _light(
    face: Face,
    room: Room,
    solids: list[Solid],
    tubes: tuple[Straight, ...],
    f: _Frame,
    gradient: tuple[float, float],
    rng: Rng,
) -> Lightmap:
    rect = (face.x0_mm, face.x1_mm, face.y0_mm, face.y1_mm)
    return lightmap(rect, face.z_mm, 3.0, room, solids, tubes, f.tube_y, gradient, rng)


def _wall(
    plan: _Plan,
    f: _Frame,
    cam: Camera,
    thick: float,
    room: Room,
    solids: list[Solid],
    gradient: tuple[float, float],
    rng: Rng,
) -> tuple[Wall, Lightmap]:
    z = -thick - rng.uniform(0.2, 30)
    centre = (0.0, 0.5 * f.board_height)
    extent = 1.5 * max(plan.width_px, plan.height_px) / plan.px_per_mm
    ppm = min(1900 / extent, 4.0)
    size = int(extent * ppm)
    kind = pick(rng, surfaces.WALLS)
    picture = surfaces.wall(kind, size, size, ppm, rng)
    rect = (
        centre[0] - extent / 2,
        centre[0] + extent / 2,
        centre[1] - extent / 2,
        centre[1] + extent / 2,
    )
    light = lightmap(
        rect, z, min(1.0, 500 / extent), room, solids, (), f.tube_y, gradient, rng
    )
    return Wall(z_mm=z, centre_mm=centre, px_per_mm=ppm, albedo=picture), light
