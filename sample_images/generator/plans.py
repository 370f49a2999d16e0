"""What is drawn first: kind of instrument, its graduation and its lengths."""

import math
from dataclasses import dataclass, replace

import numpy as np

from sample_images.generator import looks, printing
from sample_images.generator.looks import Rng, pick
from sample_images.generator.printing import Graduation, TickStyle

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
HEAVY = ("water_blue", "water_green", "water_pink", "water_teal", "mercury")
"""Liquids that a lighter oil or kerosene floats on."""

LEAST_PX_PER_MM = 2.2  # below, a 6 mm tube is under 14 px wide
LEAST_LINE_PX = 0.8  # thinner lines drown in noise at once
LEAST_DIGIT_PX = 11.0  # figures smaller than this are unfair to print


class NoFit(Exception):
    """The draw can't be built (too wide, too near, outside the frame): draw again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limb:
    """One tube's filling: fluids from the bottom up and the levels between them."""

    x_mm: float
    fluids: tuple[str, ...]
    levels_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
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
class Frame:
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
        return pick(rng, HEAVY)
    if base == "utube_clear":
        return pick(rng, CLEAR)
    if base == "bank":
        return pick(rng, (*COLOURED, "water", "kerosene"))
    if base in ("utube_behind", "single", "inclined"):
        return pick(rng, (*COLOURED, *COLOURED, "glycol"))
    return pick(rng, COLOURED)


def plan_instrument(cls: str, rng: Rng, size_px: tuple[int, int]) -> Plan:
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
    return Plan(
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


def lengths(plan: Plan, rng: Rng) -> Frame:
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
        + ([max(abs(span[0]), abs(span[1])) + half + style.gap_mm + 1] if span else [])
    )
    return Frame(
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


def _tick_style(plan: Plan, rng: Rng) -> TickStyle:
    g, ppm = plan.graduation, plan.px_per_mm
    label_step = g.label_every * g.unit_mm
    digit = rng.uniform(1.9, 4.2)
    digit = min(max(digit, LEAST_DIGIT_PX / ppm), 0.62 * label_step)
    if digit * ppm < LEAST_DIGIT_PX:
        raise NoFit
    division = g.minor * g.unit_mm
    longest = max(rng.uniform(4.0, 9.0), 18 / ppm)
    thin = min(max(rng.uniform(0.15, 0.4), LEAST_LINE_PX / ppm), 0.36 * division)
    bold = max(thin, min(thin * rng.uniform(1.0, 1.7), 0.5))
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
    plan: Plan,
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
