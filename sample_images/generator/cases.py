"""Draws one photograph's instrument, camera and looks from a class and a seed."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, replace

import numpy as np

from sample_images.generator import benches, looks
from sample_images.generator.boards import ScaleTruth, build_world, cover_level
from sample_images.generator.camera import Camera
from sample_images.generator.filling import fill, glass, level_out, out_of_range
from sample_images.generator.looks import Rng, pick
from sample_images.generator.phone import Degrade
from sample_images.generator.plans import Limb, NoFit, lengths, plan_instrument
from sample_images.generator.printing import Graduation
from sample_images.generator.render import World
from sample_images.generator.scene import STRAIGHT, Solid, Turn
from sample_images.generator.views import aim, division_px, nudged, xyz

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
CLASSES = READABLE + NEGATIVE + benches.CLASSES
OPENED = ("utube_colour", "utube_clear", "utube_mercury", "utube_twoscale", "utube_behind")
"""Classes of which a photograph with both ends open can be drawn."""
OPENED_SEED = 1_000
"""Sets the draws for it apart from the attempts at one case."""


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
    turn: Turn = STRAIGHT
    """Of the scale against the tubes."""


def draw(
    cls: str,
    seed: int,
    size_px: tuple[int, int] = (1500, 2000),
    *,
    opened: bool = False,
    askew_deg: float = 0.0,
    plastic: bool = False,
) -> Case:
    """Draw the case of a class and seed.

    Parameters
    ----------
    cls : str
        One of ``CLASSES``.
    seed : int
        Same class, seed, size and installed fonts give the same picture.
    size_px : tuple of int
        Width and height of the upright picture; turned for inclined tubes.
    opened : bool
        The same instrument with both ends open to the air, photographed from nearly the
        same place; its board leans a little, so that the levels differ all the same.
    askew_deg : float
        By how much all that is printed is turned against the tubes, anticlockwise.
    plastic : bool
        Tubes of plastic, which water does not wet; not on benches.

    Raises
    ------
    ValueError
        If the class is unknown.
    """
    if opened and cls not in OPENED:
        raise ValueError(f"class {cls!r} has no zero; one of {', '.join(OPENED)}")
    if plastic and cls in benches.CLASSES:
        raise ValueError(f"class {cls!r} has tubes of glass alone")
    if cls not in CLASSES:
        raise ValueError(f"class {cls!r} is unknown; one of {', '.join(CLASSES)}")
    for attempt in range(200):
        rng = np.random.default_rng([zlib.crc32(cls.encode()), seed, attempt])
        try:
            case = _build(cls, seed, rng, size_px, opened=opened, plastic=plastic)
            return _askew(case, askew_deg)
        except NoFit:
            continue
    raise RuntimeError(f"{cls} {seed}: no instrument of this class fits {size_px} px")


def _build(
    cls: str,
    seed: int,
    rng: Rng,
    size_px: tuple[int, int],
    *,
    opened: bool = False,
    plastic: bool = False,
) -> Case:
    if cls in benches.CLASSES:
        return _on_a_bench(cls, seed, rng, size_px)
    plan = plan_instrument(cls, rng, size_px)
    f = lengths(plan, rng)
    limbs = fill(plan, f, rng)
    hidden: tuple[int, ...] = ()
    if cls == "neg_outofrange":
        limbs, f, hidden = out_of_range(limbs, f, rng)
    later = np.random.default_rng([zlib.crc32(cls.encode()), seed, OPENED_SEED])
    if opened:
        limbs = level_out(limbs, later)
    up_angle = 0.0
    if plan.incline_deg is not None:
        up_angle = pick(rng, (-1.0, 1.0)) * math.radians(90 - plan.incline_deg)
    cam = aim(plan, f, limbs, up_angle, rng)
    if opened:
        cam = nudged(cam, later)
    division = division_px(cam, f)
    viewer = np.subtract(cam.origin_mm, cam.target_mm)
    room = looks.room(rng, xyz(viewer / np.linalg.norm(viewer)), up_angle)
    degrade = looks.degrade(rng, division, room)
    if opened:
        degrade = looks.degrade(later, division, room)
    cover: list[Solid] = []
    if cls == "neg_occluded":
        cover, hidden = cover_level(limbs, f, rng)
    if cls == "neg_blur":
        degrade, hidden = _blurred(degrade, division, rng), tuple(range(len(limbs)))
    tubes, bend, drawn = glass(plan, f, limbs, up_angle, rng, plastic=plastic)
    if cls == "neg_missing":
        hidden = tuple(range(len(limbs)))
    world, scales, look = build_world(cls, plan, f, limbs, tubes, bend, cover, room, cam, rng)
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


def _askew(case: Case, degrees: float) -> Case:
    if degrees == 0.0:
        return case
    g = case.graduation
    middle = (0.0, g.y_mm(0.5 * (g.lo + g.hi)))
    turn = Turn(angle_rad=math.radians(degrees), about_mm=middle)
    faces = tuple(
        replace(face, prints=tuple(replace(ink, turn=turn) for ink in face.prints))
        for face in case.world.scene.faces
    )
    scene = replace(case.world.scene, faces=faces)
    return replace(case, world=replace(case.world, scene=scene), turn=turn)


def _on_a_bench(cls: str, seed: int, rng: Rng, size_px: tuple[int, int]) -> Case:
    b = benches.build(cls, rng, size_px)
    return Case(
        cls=cls,
        seed=seed,
        graduation=b.graduation,
        limbs=b.limbs,
        fluid=b.plan.fluid,
        inner_mm=b.frame.inner,
        outer_mm=b.frame.outer,
        tube_z_mm=b.frame.tube_z,
        scale_z_mm=b.frame.scale_z,
        scales=b.scales,
        hidden=(),
        incline_deg=None,
        camera=b.camera,
        degrade=b.degrade,
        world=b.world,
        look=b.look,
    )


def _blurred(d: Degrade, division: float, rng: Rng) -> Degrade:
    """Defocus or motion that erases the divisions and the figures."""
    if rng.random() < 0.6:
        return replace(d, defocus=max(rng.uniform(14, 24), 2.0 * division))
    return replace(
        d,
        motion=max(rng.uniform(50, 90), 7 * division),
        blur=max(d.blur, 2.5),
        motion_angle=rng.uniform(math.pi / 3, 2 * math.pi / 3),
    )
