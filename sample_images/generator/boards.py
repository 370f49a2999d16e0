"""Board, scales, fittings, light: the opaque world around the tubes."""

import math
from dataclasses import dataclass

from sample_images.generator import looks, printing, surfaces
from sample_images.generator.camera import Camera
from sample_images.generator.lighting import lightmap
from sample_images.generator.looks import INKS, MATERIALS, PLATES, Rng, pick
from sample_images.generator.optics import Bend, Straight
from sample_images.generator.plans import Frame, Limb, Plan
from sample_images.generator.printing import Sheet
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

CLEAR_OF_LEVEL_MM = 8.0  # clips stay this far from levels: meniscus plus perspective


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleTruth:
    """Where a printed scale is: points at x_mm in the plane z_mm."""

    x_mm: float
    z_mm: float
    ticks: str


def _print_scales(
    plan: Plan, f: Frame, ppm: float, ink: tuple[str, str], rng: Rng
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


def _heading(plan: Plan, f: Frame, ppm: float, ink: str, rng: Rng) -> list[Print]:
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
    plan: Plan, f: Frame, limbs: tuple[Limb, ...], thick: float, rng: Rng
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


def _clips(f: Frame, limbs: tuple[Limb, ...], rng: Rng) -> list[Solid]:
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


def cover_level(
    limbs: tuple[Limb, ...], f: Frame, rng: Rng
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


def build_world(
    cls: str,
    plan: Plan,
    f: Frame,
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
    f: Frame,
    gradient: tuple[float, float],
    rng: Rng,
) -> Lightmap:
    rect = (face.x0_mm, face.x1_mm, face.y0_mm, face.y1_mm)
    return lightmap(rect, face.z_mm, 3.0, room, solids, tubes, f.tube_y, gradient, rng)


def _wall(
    plan: Plan,
    f: Frame,
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
