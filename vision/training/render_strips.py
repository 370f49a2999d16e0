"""Draw tube strips with exact labels, to train the network of levels on.

    python vision/training/render_strips.py OUT --seed 20000 --minutes 8 --jobs 16

Instruments come from ``sample_images.generator``; instead of a whole photograph only what the
reader sees of one tube is drawn: the strip straightened about its axis, in linear light. A
strip is the picture of a pinhole camera whose image plane lies in the plane of the tubes'
axes, so the generator's own renderer draws it without resampling.

Each .npz holds ``picture``, the JPEG of (light / BRIGHTEST)^(1 / GAMMA), light relative to the
strip's bright parts; ``levels`` (N, 2): row and kind (1 liquid
under gas, 2 liquid under liquid, 3 mercury), and ``state`` (R,) uint8: 0 gas, 1 liquid,
2 covered, 3 no tube, 255 unknown.
"""

# mypy: ignore-errors
# A script beside the product.

from __future__ import annotations

import sys
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drawing import Classes, coarser_prints, draw_many, stored, varied

from sample_images.generator import cases, optics, render
from sample_images.generator.fluids import Floats
from sample_images.generator.optics import Straight
from sample_images.generator.plans import Limb
from sample_images.generator.scene import nearest_solid
from sample_images.generator.strips import StripCamera

COLUMNS_PER_WIDTH = 24
"""Columns to an outside diameter; the training reduces them to the network's 20."""
STRIP_WIDTHS = 3.4
"""Width of a strip in outside diameters: the network's 2.8 and room to shift and shrink."""
MOST_ROWS = 1000
render.GLASS_SAMPLES, render.LEVEL_SAMPLES = 2, 4
optics.CULL_WEIGHT = 0.03
"""Coarser than for photographs: more strips in the same time, and noise is added anyway."""
CLASSES = (
    *cases.READABLE,
    *("utube_clear", "utube_behind", "bank", "utube_mercury", "utube_leg"),
    *("utube_seal", "utube_seal", "utube_seal"),
)
"""The hard classes more often."""
NEGATIVES = ("neg_missing", "neg_occluded", "neg_outofrange")
NEGATIVE_SHARE = 0.2
PLASTIC_SHARE = 0.15
"""Tubes that water does not wet: its surface is nearly flat there."""
ASIDE_SHARE = 0.12
ASIDE_WIDTHS = (0.45, 2.2)
OFF_WIDTHS = 0.16
"""Strips that miss the tube, by so many outside diameters; the training sees axes off by up
to the last of these, and none between."""
GAS, LIQUID, COVERED, NO_TUBE, UNKNOWN = 0, 1, 2, 3, 255


def draw(cls: str, seed: int) -> list[dict[str, npt.NDArray[np.generic]]]:
    """Draw one instrument and the strips of one or two of its tubes."""
    rng = np.random.default_rng([zlib.crc32(cls.encode()), seed, 77])
    case = cases.draw(cls, seed, plastic=bool(rng.random() < PLASTIC_SHARE))
    case = replace(case, world=varied(case.world, rng))
    limbs = list(range(len(case.limbs)))
    picked = list(rng.permutation(limbs)[:2])
    for i in case.hidden:
        if i not in picked and i < len(limbs):
            picked[0] = i
    return [_strip(case, int(i), rng) for i in picked]


def _strip(
    case: cases.Case, i: int, rng: np.random.Generator
) -> dict[str, npt.NDArray[np.generic]]:
    limb: Limb | None = case.limbs[i]
    assert limb is not None
    step = 2 * case.outer_mm / COLUMNS_PER_WIDTH
    g = case.graduation
    low, high = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    margin = rng.uniform(0.03, 0.2) * (high - low)
    top, bottom = high + margin, low - margin
    most = MOST_ROWS * step
    if top - bottom > most:
        within = rng.uniform(bottom, top - most)
        if limb.levels_mm and rng.random() < 0.85:
            level = limb.levels_mm[int(rng.integers(len(limb.levels_mm)))]
            within = float(np.clip(level - rng.uniform(0.1, 0.9) * most, bottom, top - most))
        bottom, top = within, within + most
    columns = round(STRIP_WIDTHS * COLUMNS_PER_WIDTH)
    axis, limb = _axis(case, limb, rng)
    camera = StripCamera(
        origin_mm=case.camera.origin_mm,
        left_mm=axis - 0.5 * columns * step,
        top_mm=top,
        depth_mm=case.tube_z_mm,
        step_mm=step,
        width_px=columns,
        height_px=int((top - bottom) / step),
    )
    world = replace(case.world, scene=coarser_prints(case.world.scene, 1 / step))
    light = render.render(world, camera)
    state = _states(world, camera, axis, case)
    levels = _levels(camera, limb, state) if limb is not None and world.tubes else []
    bright = float(np.percentile(light.max(axis=2), 98.0))
    return {
        "picture": stored(light / bright),
        "levels": np.array(levels, np.float32).reshape(-1, 2),
        "state": state,
        "bore": np.float32(case.inner_mm / case.outer_mm),
    }


def _axis(case: cases.Case, limb: Limb, rng: np.random.Generator) -> tuple[float, Limb | None]:
    """Choose the middle of a strip, and the limb there if any."""
    width = 2 * case.outer_mm
    while rng.random() < ASIDE_SHARE:
        x = limb.x_mm + rng.uniform(*ASIDE_WIDTHS) * float(rng.choice((-1.0, 1.0))) * width
        nearest = min(case.limbs, key=lambda other: abs(other.x_mm - x))
        if abs(nearest.x_mm - x) > ASIDE_WIDTHS[0] * width:
            return x, None
        if abs(nearest.x_mm - x) < OFF_WIDTHS * width:
            return x, nearest
    return limb.x_mm, limb


def _states(
    world: render.World, camera: StripCamera, axis_mm: float, case: cases.Case
) -> npt.NDArray[np.uint8]:
    """What the axis shows in each row."""
    rows = np.arange(camera.height_px, dtype=float)
    state = np.full(camera.height_px, NO_TUBE, np.uint8)
    near = [t for t in world.tubes if abs(t.x_mm - axis_mm) < 2 * OFF_WIDTHS * t.outer_mm]
    votes = []
    for share in (-0.5, 0.0, 0.5):
        column = 0.5 * camera.width_px - 0.5 + share * case.inner_mm / camera.step_mm
        d = camera.directions(np.full(len(rows), column), rows)
        o = np.broadcast_to(np.array(camera.origin_mm), d.shape)
        t_solid, _, _ = nearest_solid(world.scene.solids, o, d)
        plane = (camera.depth_mm - o[:, 2]) / d[:, 2]
        votes.append((t_solid < plane) if not near else (t_solid < near[0].enter(o, d)[0]))
    covered = np.sum(votes, axis=0) >= 2
    if near:
        y = camera.top_mm - (rows + 0.5) * camera.step_mm
        state = _fillings(near[0], y, world.tube_span_mm)
    state[covered] = COVERED
    return state


def _fillings(
    tube: Straight, y: Floats, span_mm: tuple[float, float]
) -> npt.NDArray[np.uint8]:
    which = np.searchsorted([s.level_mm for s in tube.surfaces], y)
    gas = np.array([f.name == "air" for f in tube.fluids])
    state = np.where(gas[which], GAS, LIQUID).astype(np.uint8)
    state[(y < span_mm[0])] = UNKNOWN
    state[(y > span_mm[1])] = NO_TUBE
    return state


def _levels(
    camera: StripCamera, limb: Limb, state: npt.NDArray[np.uint8]
) -> list[tuple[float, int]]:
    found = []
    for k, y in enumerate(limb.levels_mm):
        row = camera.row_of(y)
        at = round(row)
        if not 0 <= at < len(state) or state[at] not in (GAS, LIQUID):
            continue
        kind = 3 if limb.fluids[k] == "mercury" else 1 if limb.fluids[k + 1] == "air" else 2
        found.append((row, kind))
    return found


if __name__ == "__main__":
    draw_many(
        __doc__,
        draw,
        Classes(usual=CLASSES, negative=NEGATIVES, negative_share=NEGATIVE_SHARE),
        first_seed=20000,
    )
