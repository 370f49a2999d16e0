"""Instruments as schools and workshops build them: rulers, sticks, papers, plates.

Six classes beside those of ``plans``: tubes on a wooden board with a ruler between them
(``school_ruler``), on stands with a metre stick that may run out of the picture
(``school_stick``), on printed paper with a title, a border, words and tables
(``paper_scale``), on graph paper that goes on beyond its figures (``graph_paper``), beside
an engraved rule whose edges differ (``steel_rule``), on an enamel plate numbered once or
both ways (``enamel_plate``). Tubes are thick or wide or usual, dyes strong or faint, drops
hang above the level, windows shine along the whole tube, the picture has 3 or 12
megapixels, leans by up to eight degrees and is smoothed and sharpened as phones do. Light,
glass and menisci are those of the other classes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from sample_images.generator import bench_things, looks, printing
from sample_images.generator.bench_prints import RULED, Panel, panels
from sample_images.generator.boards import ScaleTruth
from sample_images.generator.camera import Camera
from sample_images.generator.filling import fill, glass
from sample_images.generator.lighting import lightmap
from sample_images.generator.looks import Rng, pick
from sample_images.generator.optics import Bend, Drop, Straight
from sample_images.generator.phone import Degrade
from sample_images.generator.plans import Frame, Limb, NoFit, Plan
from sample_images.generator.printing import Graduation, TickStyle
from sample_images.generator.render import World
from sample_images.generator.room import Lamp, Room
from sample_images.generator.rulings import Ruling
from sample_images.generator.scene import Scene
from sample_images.generator.views import aim, division_px, xyz

CLASSES = (
    "school_ruler",
    "school_stick",
    "paper_scale",
    "graph_paper",
    "steel_rule",
    "enamel_plate",
)
DYED = (
    "water_blue",
    "water_blue",
    "water_green",
    "water_pink",
    "water_brown",
    "water_yellow",
    "oil_red",
)
LEAST_BORE_PX = 10.0
LEAST_PX_PER_MM = 2.8
FINEST_PX = 2.9  # least pitch of a division


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What a class and a seed make."""

    plan: Plan
    frame: Frame
    graduation: Graduation
    limbs: tuple[Limb, ...]
    scales: tuple[ScaleTruth, ...]
    camera: Camera
    degrade: Degrade
    world: World
    look: dict[str, object]


def build(cls: str, rng: Rng, size_px: tuple[int, int]) -> Bench:
    """Draw one; raises ``NoFit`` where the draw can't be built."""
    if rng.random() < 0.5:
        size_px = (2 * size_px[0], 2 * size_px[1])
    plan, ruling = _plan(cls, rng, size_px)
    f, ruling = _frame(plan, ruling, rng)
    limbs = fill(plan, f, rng)
    cam = _leant(aim(plan, f, limbs, 0.0, rng), f, rng)
    division = division_px(cam, f)
    viewer = np.subtract(cam.origin_mm, cam.target_mm)
    room = _with_window(looks.room(rng, xyz(viewer / np.linalg.norm(viewer)), 0.0), rng)
    degrade = _phone(looks.degrade(rng, division, room), max(size_px) / 2000, rng)
    faint = plan.fluid != "water" and rng.random() < 0.5
    dye = None
    if plan.fluid != "water":
        dye = math.exp(
            rng.uniform(math.log(0.2), math.log(0.9)) if faint else rng.uniform(0, 1.3)
        )
    tubes, bend, drawn = glass(plan, f, limbs, 0.0, rng, dye)
    if rng.random() < 0.5:
        tubes = tuple(_wet(tube, f, rng) for tube in tubes)
    shown = panels(cls, plan, f, ruling, rng)
    world = _world(cls, plan, f, limbs, tubes, bend, shown, room, cam, rng)
    scales = tuple(
        ScaleTruth(x_mm=x, z_mm=f.scale_z, ticks="bench") for x in shown[0].columns_mm
    )
    return Bench(
        plan=plan,
        frame=f,
        graduation=ruling.graduation,
        limbs=limbs,
        scales=scales,
        camera=cam,
        degrade=degrade,
        world=world,
        look={
            **drawn,
            "absorbance": dye,
            "font": str(ruling.font).rsplit("/", 1)[-1],
            "quarters": ruling.quarters,
            "drops": len(tubes[0].drops),
            "digit_mm": ruling.digit_mm,
            "line_mm": ruling.width_mm[3],
            "base": cls,
            "layout": plan.layout,
            "division_px": division,
            "bend": f.bend,
        },
    )


def _plan(cls: str, rng: Rng, size_px: tuple[int, int]) -> tuple[Plan, Ruling]:
    g, steps, decimals = _graduation(cls, rng)
    length = (g.hi - g.lo) * g.unit_mm
    share = rng.uniform(0.32, 0.62) if max(size_px) > 2500 else rng.uniform(0.5, 0.82)
    ppm = share * max(size_px) / min(length, 420.0)
    if ppm < LEAST_PX_PER_MM or g.minor * g.unit_mm * ppm < FINEST_PX:
        raise NoFit
    one = cls in ("school_stick", "steel_rule", "graph_paper") and rng.random() < 0.3
    between = cls in ("school_ruler", "school_stick", "enamel_plate")
    layout = "behind" if cls == "graph_paper" else "between" if between else "outside"
    if one and cls != "graph_paper":
        layout = "beside"
    if cls == "steel_rule" and not one:
        layout = pick(rng, ("between", "apart"))
    plan = Plan(
        cls=cls,
        layout=layout,
        n_limbs=1 if one else 2,
        fluid="water" if rng.random() < 0.12 else pick(rng, DYED),
        graduation=g,
        px_per_mm=ppm,
        width_px=size_px[0],
        height_px=size_px[1],
        incline_deg=None,
    )
    division = g.minor * g.unit_mm
    step = g.label_every * g.unit_mm
    rule = cls in RULED
    quarters = pick(rng, (0, 1, 3)) if rule else 0
    digit = min(rng.uniform(2.2, 4.5), 0.7 * step)
    if quarters % 2:  # figures that follow each other along the rule keep apart
        last = max((g.label(g.lo), g.label(g.hi)), key=len)
        digit *= min(1.0, 0.75 * step / printing.text_width_mm(last, digit, None))
    if digit * ppm < 11:
        raise NoFit
    longest = rng.uniform(4.5, 9.0)
    thin = min(max(rng.uniform(0.12, 0.3), 0.7 / ppm), 0.36 * division)
    long, middle, short = (rng.uniform(*v) for v in ((0.75, 1.0), (0.58, 0.75), (0.38, 0.55)))
    return plan, Ruling(
        graduation=g,
        steps=steps,
        length_mm=(longest, longest * long, longest * middle, longest * short),
        width_mm=(thin * rng.uniform(1.0, 1.6), thin * 1.1, thin, thin)
        if cls != "graph_paper"
        else (3 * thin, 2.2 * thin, 1.6 * thin, thin),
        digit_mm=digit,
        font=looks.font(rng),
        quarters=quarters,
        decimals=decimals,
        wobble_mm=rng.uniform(0.05, 0.12)
        if cls == "paper_scale" and rng.random() < 0.3
        else 0,
    )


def _graduation(
    cls: str, rng: Rng
) -> tuple[Graduation, tuple[float, float, float, float], int | None]:
    """Graduation, steps of its ranks, decimals printed."""
    unit, minor, numbered, steps = 10.0, 0.1, 1.0, (1.0, 0.5, 0.5, 0.1)
    decimals: int | None = None
    lo, labels = 0.0, "signed"
    length = rng.uniform(170, 420)
    if cls == "school_ruler":
        length = pick(rng, (200.0, 300.0, 300.0, 400.0))
        if rng.random() < 0.2:
            unit, minor, numbered, steps = 1.0, 1.0, 10.0, (10.0, 5.0, 5.0, 1.0)
    elif cls == "school_stick":
        length = 1000.0 if rng.random() < 0.5 else 500.0
        if rng.random() < 0.3:
            numbered, steps = 5.0, (5.0, 1.0, 0.5, 0.1)
    elif cls == "steel_rule":
        length = pick(rng, (200.0, 300.0))
        unit, minor, numbered = 1.0, pick(rng, (0.5, 1.0, 1.0)), 10.0
        steps = (10.0, 5.0, 1.0, 0.5) if minor < 1 else (10.0, 5.0, 5.0, 1.0)
    elif cls == "graph_paper":
        numbered = pick(rng, (1.0, 2.0, 5.0))
        steps = (5.0, 1.0, 0.5, 0.1) if numbered == 5 else (1.0, 1.0, 0.5, 0.1)
    else:
        how = pick(rng, ("cm", "mm", "decimals", "sparse", "inches", "two"))
        if how == "mm":
            unit, minor, numbered, steps = 1.0, 1.0, 10.0, (10.0, 5.0, 5.0, 1.0)
        elif how == "decimals":
            numbered, steps, decimals = 0.5, (0.5, 0.5, 0.5, 0.1), 1
        elif how == "sparse":
            numbered, steps = 5.0, (5.0, 1.0, 0.5, 0.1)
        elif how == "inches":
            unit, minor, numbered, steps = 25.4, 0.1, 0.5, (0.5, 0.5, 0.5, 0.1)
            decimals = 1
        elif how == "two":
            unit, minor, numbered, steps = 1.0, 2.0, 20.0, (20.0, 10.0, 10.0, 2.0)
        if rng.random() < 0.4:
            labels = "magnitude"
    count = math.floor(length / unit / numbered + 1e-6)
    if labels == "magnitude":
        count -= count % 2
        lo = -numbered * count / 2
    if count < 3:
        raise NoFit
    g = Graduation(
        unit_mm=unit,
        minor=minor,
        major=steps[1],
        label_every=numbered,
        lo=lo,
        hi=lo + numbered * count,
        labels=labels,
        y_zero_mm=0.0,
    )
    return g, steps, decimals


def _frame(plan: Plan, r: Ruling, rng: Rng) -> tuple[Frame, Ruling]:
    make = pick(rng, ("thick", "usual", "usual", "wide"))
    if make == "thick":
        inner = rng.uniform(1.2, 1.9)
        outer = inner + rng.uniform(1.6, 2.8)
    elif make == "usual":
        inner = rng.uniform(2.2, 4.2)
        outer = inner + rng.uniform(0.8, 1.4)
    else:
        inner = rng.uniform(5.5, 7.6)
        outer = inner + rng.uniform(1.0, 1.8)
    if 2 * inner * plan.px_per_mm < LEAST_BORE_PX:
        raise NoFit
    tube_z = outer + rng.uniform(0.2, 3.5)
    rule = plan.cls in RULED
    scale_z = min(rng.uniform(0.8, 6.0), tube_z - 0.6) if rule else 0.1
    if plan.cls == "school_stick":
        scale_z = tube_z - rng.uniform(0.6, 8.0)
    if not 0.5 < tube_z - scale_z < 12:
        raise NoFit
    widest, longest = r.widest_mm(), max(r.length_mm)
    half = rng.uniform(11, 16) if rule else longest + widest / 2 + 2.5
    if rule:
        half = max(half, 0.5 * (longest + widest + 4.0))
    aside = rng.uniform(1.0, 9.0)
    n = plan.n_limbs
    xs: tuple[float, ...] = (0.0,)
    strips: tuple[tuple[float, float, str], ...] = ()
    span = None
    if plan.layout == "between":
        x = half + aside + outer
        xs, strips = (-x, x), ((-half, half, "rule"),)
    elif plan.layout == "beside":
        near = outer + aside
        strips = ((near, near + 2 * half, "rule"),)
    elif plan.layout == "apart":
        x = outer + rng.uniform(5, 18)
        near = x + outer + aside
        xs, strips = (-x, x), ((near, near + 2 * half, "rule"),)
    elif plan.layout == "behind":
        x = outer + rng.uniform(6, 30)
        xs = (0.0,) if n == 1 else (-x, x)
        reach = xs[-1] + outer + rng.uniform(8, 30)
        span = (-reach, reach)
    else:
        x = outer + rng.uniform(3, 14)
        near = x + outer + aside
        wide = longest + widest + 5
        xs = (-x, x)
        strips = ((-near - wide, -near, "right"), (near, near + wide, "left"))
    bend = n == 2 and rng.random() < 0.7 and xs[1] > 2.2 * outer
    below, above = rng.uniform(12, 30), rng.uniform(15, 70)
    g = r.graduation
    seen = g
    length = (g.hi - g.lo) * g.unit_mm
    if plan.cls == "school_stick" and length > 420:
        whole = 420.0 / g.unit_mm
        first = g.lo + math.floor(rng.uniform(0, g.hi - g.lo - whole)) // 1.0
        first = 0.0 if rng.random() < 0.5 else first
        seen = replace(g, lo=first, hi=first + math.floor(whole * rng.uniform(0.6, 1.0)))
    y_lo = 20 + below + (xs[-1] + outer if bend else 0.0)
    y_zero = y_lo - seen.lo * g.unit_mm
    g, seen = replace(g, y_zero_mm=y_zero), replace(seen, y_zero_mm=y_zero)
    tube_y = (y_lo - below + (4.0 if bend else 0.0), seen.y_mm(seen.hi) + above)
    reach = max([abs(x) + outer for x in xs] + [max(abs(a), abs(b)) for a, b, _ in strips])
    reach = max(reach, span[1] if span else 0.0)
    style = TickStyle(
        length_mm=(r.length_mm[3], r.length_mm[2], r.length_mm[1], r.length_mm[0]),
        width_mm=(r.width_mm[3], r.width_mm[2], r.width_mm[1], r.width_mm[0]),
        spine_mm=0.0,
        digit_mm=r.digit_mm,
        font=r.font,
        gap_mm=1.0,
    )
    return Frame(
        graduation=seen,
        style=style,
        tube_x=xs,
        inner=inner,
        outer=outer,
        tube_z=tube_z,
        scale_z=scale_z,
        strip_half=widest if span else half,
        strips=strips,
        line_span=span,
        board_half=reach + rng.uniform(6, 60),
        board_height=tube_y[1] + rng.uniform(-10, 40),
        tube_y=tube_y,
        bend=bend,
    ), replace(r, graduation=g)


def _leant(cam: Camera, f: Frame, rng: Rng) -> Camera:
    """The same picture, held askew by one to eight degrees, its subject off the middle."""
    if rng.random() < 0.4:
        return cam
    lean = pick(rng, (-1.0, 1.0)) * math.radians(rng.uniform(1, 8))
    leant = replace(cam, roll_rad=lean)
    g = f.graduation
    corners = np.array(
        [
            [x, g.y_mm(v), f.scale_z]
            for x in (-f.board_half, f.board_half)
            for v in (g.lo, g.hi)
        ]
    )
    p = leant.project(corners)
    if (p < 5).any() or (p > np.array([cam.width_px, cam.height_px]) - 5).any():
        return cam
    return leant


def _with_window(room: Room, rng: Rng) -> Room:
    """Half of the rooms have a window so tall that it shines along the whole tube."""
    if rng.random() < 0.5:
        return room
    window = Lamp(
        azimuth_rad=pick(rng, (-1.0, 1.0)) * rng.uniform(0.3, 1.1),
        elevation_rad=rng.uniform(0.0, 0.25),
        half_width_rad=rng.uniform(0.08, 0.25),
        half_height_rad=rng.uniform(0.45, 0.7),
        radiance=(rng.uniform(4, 12),) * 3,
        bars=int(rng.integers(0, 3)),
    )
    return replace(room, lamps=(*room.lamps[:1], window))


def _phone(d: Degrade, larger: float, rng: Rng) -> Degrade:
    """Blur goes with the pixels of a large picture; half are smoothed and sharpened hard."""
    d = replace(d, blur=d.blur * (1 + 0.5 * (larger - 1)), rotate=pick(rng, (1, 6)))
    if rng.random() < 0.5:
        return d
    return replace(
        d,
        full_well=math.exp(rng.uniform(math.log(400), math.log(1500))),
        denoise=rng.uniform(0.05, 0.12),
        sharpen=rng.uniform(1.0, 2.2),
        sharpen_radius=rng.uniform(0.8, 2.2),
    )


def _wet(tube: Straight, f: Frame, rng: Rng) -> Straight:
    """Drops on the wall, more of them near the level, none lower than a bore above it."""
    level = tube.surfaces[-1].highest_mm
    room = f.tube_y[1] - level - 3
    if room < 5:
        return tube
    drops = tuple(
        Drop(
            angle_rad=rng.uniform(-math.pi, math.pi),
            y_mm=level + 1.0 + room * rng.random() ** 2,
            radius_mm=rng.uniform(0.3, min(1.3, 0.6 * f.inner)),
            slope=rng.uniform(0.2, 0.8),
        )
        for _ in range(int(rng.integers(4, 28)))
    )
    return replace(tube, drops=drops)


def _world(
    cls: str,
    plan: Plan,
    f: Frame,
    limbs: tuple[Limb, ...],
    tubes: tuple[Straight, ...],
    bend: Bend | None,
    shown: list[Panel],
    room: Room,
    cam: Camera,
    rng: Rng,
) -> World:
    solids = bench_things.around(cls, f, limbs, rng)
    faces = [p.face for p in shown]
    solids += [p.body for p in shown if p.body is not None]
    gradient = (rng.uniform(-0.22, 0.22), rng.uniform(-0.22, 0.22))
    fine = 3.0 if plan.px_per_mm < 6 else 4.0
    maps = tuple(
        lightmap(
            (a.x0_mm, a.x1_mm, a.y0_mm, a.y1_mm),
            a.z_mm,
            fine,
            room,
            solids,
            tubes,
            f.tube_y,
            gradient,
            rng,
        )
        for a in faces
    )
    wall, light = bench_things.wall(cls, plan, f, room, solids, gradient, rng)
    scene = Scene(
        faces=tuple(faces),
        lightmaps=maps,
        wall=wall,
        wall_light=light,
        solids=tuple(solids),
        room=room,
    )
    return World(scene=scene, tubes=tubes, tube_span_mm=f.tube_y, bend=bend)
