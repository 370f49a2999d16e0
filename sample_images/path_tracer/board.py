"""The board: what it is made of, its scales, titles, screws and frame.

Ranges are our own choice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from sample_images.generator.scene import FloatMap, Rgb
from sample_images.path_tracer import materials, printing
from sample_images.path_tracer.ageing import aged, worn
from sample_images.path_tracer.canvas import Align, Canvas
from sample_images.path_tracer.colour import one_texel, to_bytes
from sample_images.path_tracer.draws import Rng, chance, pick
from sample_images.path_tracer.hardware import screw
from sample_images.path_tracer.lettering import Lettering
from sample_images.path_tracer.materials import SHINE, WOODS
from sample_images.path_tracer.meshes import Mesh, Profile, box, extrude
from sample_images.path_tracer.noise import resize
from sample_images.path_tracer.plan import Plan
from sample_images.path_tracer.printing import Inks, Plate, Style
from sample_images.path_tracer.stage import Coat, Stage
from sample_images.path_tracer.typefaces import Typefaces

BOARDS = (
    "steel_paint",
    "steel_paint",
    "enamel",
    "black",
    "alu",
    "oak",
    "pine",
    "walnut",
    "mahogany",
    "plastic",
    "yellowed",
    "frosted",
    "laminate",
)
STRIPS = (
    "paper",
    "paper",
    "plastic",
    "brass",
    "steel",
    "black",
    "yellowed",
    "enamel",
    "alu",
    "frosted",
    "acrylic",
)
SIDES_BETWEEN: tuple[printing.Side, ...] = ("both", "both", "both", "left", "right")
CLEAR_STRIP = "acrylic"
PAPER_MM = 0.15

TITLES = (
    "PDI-{}",
    "LG {}",
    "MAN {}",
    "U-TUBE {}",
    "DRAUGHT {}",
    "FAN {}",
    "COLUMN {}",
    "FILTER {}",
    "HEAD {}",
    "TEST RIG {}",
    "Nr. {}",
    "PI {}",
    "BENCH {}",
    "STATIC {}",
    "DUCT {}",
    "{}",
)
NOTICES = (
    "ISOLATE BEFORE WORK",
    "CHECK WEEKLY",
    "VALVE 2 OPEN",
    "SEE SHEET 14",
    "DATE",
    "INSPECTED",
    "LINE B",
)
FRAMES: tuple[Rgb, ...] = (
    (0.15, 0.15, 0.16),
    (0.6, 0.6, 0.6),
    (0.5, 0.33, 0.18),
    (0.75, 0.62, 0.3),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """All that is needed to print a scale on one of the plates."""

    style: Style
    inks: Inks
    hand: Lettering
    wear: FloatMap | None
    opacity: float
    age: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """What others need to know of the board once it is up."""

    plates: tuple[Plate, ...]
    scale_z_mm: float
    thickness_mm: float
    font: str


def put_up(stage: Stage, rng: Rng, plan: Plan, faces: Typefaces) -> Board:
    """Print and mount the board."""
    material, strip = _materials(rng, plan)
    px = plan.px_per_mm
    width, height = int(plan.board_width_mm * px), int(plan.board_height_mm * px)
    base = materials.picture(rng, material, width, height, px)
    canvas = Canvas(base, -plan.half_width_mm, plan.board_height_mm, px)
    hand = Lettering(rng, faces)
    age = rng.uniform(0, 1.0) if chance(rng, 0.8) else 0.0
    plates = _plates(rng, plan)
    scale_z = _strip_front(rng, plan, strip) if strip else 0.0
    inks = printing.draw_inks(rng, strip or material)
    style = printing.draw_style(rng, plan.scale, plates[0])
    wear = worn(rng, width, height, px) if chance(rng, 0.3) else None
    opacity = rng.uniform(0.55, 1) if chance(rng, 0.35) else rng.uniform(0.88, 1)
    scale_print = Print(style=style, inks=inks, hand=hand, wear=wear, opacity=opacity, age=age)
    for plate in () if plan.scaleless else plates:
        if plan.bare:
            at = _beside_tubes(rng, plan, plate, style)
            scale_print = replace(scale_print, style=replace(style, figures_at=at))
        if strip:
            _mount_strip(stage, rng, plan, plate, strip, scale_z, scale_print)
        else:
            _print(canvas, plan, plate, scale_print)
    on_board = not strip and not plan.scaleless
    _titles(canvas, rng, plan, faces, material, plates[0] if on_board else None, scale_print)
    shine, roughness = SHINE[material]
    roughness = float(np.clip(roughness * rng.uniform(0.6, 1.6), 0.03, 0.5))
    picture = to_bytes(aged(rng, canvas.picture, px, age))
    stage.coat("board", Coat(shine, picture, roughness))
    half = plan.half_width_mm
    stage.add(extrude(_face(rng, plan), 0, plan.board_height_mm, (-half, half)), "board")
    edge_colour = base[::50, ::50].mean((0, 1)) * 0.85
    thickness = _body(stage, rng, plan, edge_colour)
    return Board(
        plates=tuple(plates), scale_z_mm=scale_z, thickness_mm=thickness, font=hand.name
    )


def _materials(rng: Rng, plan: Plan) -> tuple[str, str | None]:
    """Of the board, and of the strips with the scale if it is not on the board itself."""
    material = pick(rng, *BOARDS)
    if plan.bare:
        if material in WOODS:
            material = pick(rng, "enamel", "plastic", "alu", "yellowed")
        return material, None
    if material in WOODS or material == "laminate" or chance(rng, 0.45):
        return material, pick(rng, *STRIPS)
    return material, None


def _plates(rng: Rng, plan: Plan) -> list[Plate]:
    """Where the scales are."""
    limbs, outer, strip = plan.limbs_mm, plan.outer_mm, plan.strip_mm
    gap = rng.uniform(0.3, 2.5)
    inner_left, inner_right = limbs[0] + outer + gap, limbs[-1] - outer - gap
    if plan.bare:
        left = limbs[0] - outer - rng.uniform(2, 6)
        return [Plate("full", left, limbs[-1] + outer + rng.uniform(2, 6))]
    if plan.kind == "utube_twoscale":
        if plan.apart_mm - 2 * outer > 2 * strip + 6 and chance(rng, 0.5):
            return [
                Plate("left", inner_left, inner_left + strip),
                Plate("right", inner_right - strip, inner_right),
            ]
        left, right = limbs[0] - outer - gap, limbs[1] + outer + gap
        return [Plate("right", left - strip, left), Plate("left", right, right + strip)]
    if len(limbs) == 1:
        if chance(rng, 0.5):
            return [Plate("left", inner_left, inner_left + strip)]
        return [Plate("right", limbs[0] - outer - gap - strip, limbs[0] - outer - gap)]
    side = pick(rng, *SIDES_BETWEEN)
    return [Plate(side, inner_left, inner_right)]


def _strip_front(rng: Rng, plan: Plan, strip: str) -> float:
    """z of the face of strips. Both others are drawn, whatever the strip: see draws.py."""
    before_tubes = plan.axis_mm - plan.outer_mm
    clear = pick(rng, 0.4, 2.5, max(0.4, before_tubes))
    thickest = max(0.8, plan.axis_mm + plan.outer_mm * 0.3)
    other = rng.uniform(0.5, min(4.0, thickest))
    return {"paper": PAPER_MM, CLEAR_STRIP: clear}.get(strip, other)


def _beside_tubes(
    rng: Rng, plan: Plan, plate: Plate, style: Style
) -> tuple[tuple[float, Align], ...]:
    """Where the figures of lines behind the tubes stand: left, right, or in a gap."""
    away = 0.2 * style.figure_mm
    places: list[tuple[float, Align]] = [(plate.left_mm - 1.0 - away, "right")]
    if chance(rng, 0.5):
        places.append((plate.right_mm + 1 + away, "left"))
    if chance(rng, 0.25):
        limbs = plan.limbs_mm
        places = [((limbs[1] + limbs[0]) / 2, "centre")]
    if chance(rng, 0.3):
        places = places[-1:]
    return tuple(places)


def _print(canvas: Canvas, plan: Plan, plate: Plate, p: Print) -> None:
    printing.print_scale(canvas, plan.scale, p.style, plate, p.hand, p.inks, p.wear, p.opacity)


def _mount_strip(
    stage: Stage, rng: Rng, plan: Plan, plate: Plate, strip: str, z: float, p: Print
) -> None:
    name = f"strip{int(plate.left_mm)}".replace("-", "n")
    clear = strip == CLEAR_STRIP
    margin, heading = (4, 4) if clear else (6, 10)
    bottom, top = plan.lowest_mm - margin, plan.highest_mm + margin + heading
    px, left, right = plan.px_per_mm, plate.left_mm, plate.right_mm
    width, height = max(8, int((right - left) * px)), int((top - bottom) * px)
    face = extrude([(left, z), (right, z)], bottom, top, (left, right))
    if clear:
        _mount_clear(stage, plan, plate, Canvas(_nothing(width, height), left, top, px), p)
        stage.add(face, name)
        return
    canvas = Canvas(materials.picture(rng, strip, width, height, px), left, top, px)
    wear = None if p.wear is None else resize(p.wear[:height, :width], width, height)
    _print(canvas, plan, plate, replace(p, wear=wear))
    if plan.scale.text and chance(rng, 0.7):
        with canvas.ink(p.inks.figures):
            canvas.text(
                p.hand,
                plan.scale.text,
                plate.middle_mm,
                plan.highest_mm + 8.5,
                min(2.6, p.style.figure_mm),
            )
    shine, roughness = SHINE[strip]
    roughness = float(roughness * rng.uniform(0.7, 1.4)) or 0.2
    stage.coat(name, Coat(shine, to_bytes(aged(rng, canvas.picture, px, p.age)), roughness))
    stage.add(face, name)
    side = stage.plain("stripside", canvas.picture.mean((0, 1)) * 0.8, 0.2)
    stage.add(box(left, right, bottom, top, 0.01, z, open_front=True), side)
    if strip != "paper" and chance(rng, 0.8):
        for y in (bottom + 2.5, top - 2.5):
            screw(stage, rng, (plate.middle_mm, y, z), rng.uniform(1.0, 1.7))


def _nothing(width: int, height: int) -> FloatMap:
    return np.zeros((height, width, 3), np.float32)


def _mount_clear(stage: Stage, plan: Plan, plate: Plate, canvas: Canvas, p: Print) -> None:
    """Only the print of a clear strip is there."""
    white = (1.0, 1.0, 1.0)
    all_of_it = Inks(lines=white, long_lines=white, figures=white)
    _print(canvas, plan, plate, replace(p, inks=all_of_it, wear=None))
    name = f"strip{int(plate.left_mm)}".replace("-", "n")
    ink = one_texel(p.inks.lines)
    stage.coat(name, Coat("diffuse", ink, cutout=to_bytes(canvas.picture.max(-1))))


def _titles(
    canvas: Canvas,
    rng: Rng,
    plan: Plan,
    faces: Typefaces,
    material: str,
    plate: Plate | None,
    p: Print,
) -> None:
    """Name of the instrument, unit over its plate, a border, notices where there is none."""
    ink = printing.draw_inks(rng, material).figures
    half, height = plan.half_width_mm, plan.board_height_mm
    if chance(rng, 0.75):
        words = pick(rng, *TITLES)
        numbers = (
            str(rng.integers(1, 20)),
            str(rng.integers(100, 9999)),
            f"{rng.integers(1, 9)}{'ABC'[int(rng.integers(3))]}",
        )
        title = words.format(pick(rng, *numbers))
        hand = Lettering(rng, faces)
        x = pick(rng, 0, -half * 0.4, half * 0.3)
        with canvas.ink(ink, opacity=p.opacity):
            y, size = height - rng.uniform(8, 14), rng.uniform(2.5, 5)
            canvas.text(hand, title, x, y, size)
    if plan.scale.text and plate is not None:
        x = plate.left_mm if plate.side == "full" else plate.middle_mm
        figure = p.style.figure_mm
        with canvas.ink(ink, opacity=p.opacity):
            y, size = plan.highest_mm + 4 + figure, min(3, figure + 0.3)
            canvas.text(p.hand, plan.scale.text, x, y, size)
    if chance(rng, 0.25):
        with canvas.ink(ink):
            _border(canvas, half, height)
    if plan.scaleless and chance(rng, 0.6):
        with canvas.ink(ink):
            for i in range(int(rng.integers(3, 9))):
                hand, words = Lettering(rng, faces), pick(rng, *NOTICES)
                canvas.text(hand, words, 0, height * 0.75 - 14 * i, rng.uniform(2.5, 6))


def _border(canvas: Canvas, half: float, height: float) -> None:
    canvas.rectangle(-half + 3, half - 3, height - 4.4, height - 4)
    canvas.rectangle(-half + 3, half - 3, 4, 4.4)
    canvas.rectangle(-half + 3, -half + 3.4, 4, height - 4)
    canvas.rectangle(half - 3.4, half - 3, 4, height - 4)


def _face(rng: Rng, plan: Plan) -> Profile:
    """Cut through the face of the board, from left to right: (x, z)."""
    half = plan.half_width_mm
    points: list[tuple[float, float]] = [(-half, 0)]
    if plan.groove and not plan.scaleless:
        z, radius = plan.axis_mm, plan.outer_mm + rng.uniform(0.25, 0.8)
        edge = math.asin(z / radius) if z > 0 else 0.0
        for x in plan.limbs_mm:
            deep = z < 0
            points += [(x - radius, 0)] * deep
            points += [
                (x - radius * math.cos(a), z - radius * math.sin(a))
                for a in np.linspace(edge, np.pi - edge, 25)
            ]
            points += [(x + radius, 0)] * deep
        points = [
            p
            for i, p in enumerate(points)
            if i == 0 or np.hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]) > 1e-6
        ]
    return [*points, (half, 0)]


def _body(stage: Stage, rng: Rng, plan: Plan, colour: FloatMap) -> float:
    """Thickness of the board; its sides, screws and frame."""
    half, height = plan.half_width_mm, plan.board_height_mm
    thickness = rng.uniform(3, 18) + (plan.outer_mm if plan.groove else 0)
    side = stage.plain("boardside", colour, 0.2)
    stage.add(box(-half, half, 0, height, -thickness, -0.001, open_front=True), side)
    if chance(rng, 0.8):
        for x in (-half + 6, half - 6):
            for y in (6, height - 6):
                screw(stage, rng, (x, y, 0), rng.uniform(1.8, 3.2))
    if chance(rng, 0.18):
        finish = stage.plain("frame", pick(rng, *FRAMES), 0.2)
        for bar in _frame(rng, half, height, thickness):
            stage.add(bar, finish)
    return thickness


def _frame(rng: Rng, half: float, height: float, thickness: float) -> list[Mesh]:
    width, proud = rng.uniform(4, 9), rng.uniform(3, 12)
    bars = (
        (-half - width, -half, -width, height + width),
        (half, half + width, -width, height + width),
        (-half, half, -width, 0.0),
        (-half, half, height, height + width),
    )
    return [box(*bar, -thickness, proud, bevel=0.6) for bar in bars]
