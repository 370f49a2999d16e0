"""What was found, written as the records that people and programs get."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from limbsight.calib.heights import LevelFit
from limbsight.calib.indexing import heights_of, is_numbered, value_of_height
from limbsight.calib.meniscus import COVERAGE_FACTOR
from limbsight.calib.numbering import NamedScale
from limbsight.calib.rectify import px_per_unit
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.read_limb import Limb
from limbsight.records import GraduationMark, LevelReading, LimbReading

if TYPE_CHECKING:
    from limbsight.level_heights import LevelHeight


def limb_reading(limb: Limb, view: View, scale: NamedScale, known: Knowledge) -> LimbReading:
    """One limb with its levels, in pixels of the picture as taken."""
    plane = scale.map.plane()
    spec, unit_m = known.instrument.scale, known.unit_m
    across = limb.grid.across_at(limb.axis_column)
    ends = np.array([spec.lowest, spec.highest])
    x, y = plane.to_pixel(np.full(2, across), ends, limb.grid.in_front)
    density = px_per_unit(plane, across, float(ends.mean()), limb.grid.in_front)
    return LimbReading(
        limb=limb.name,
        levels=tuple(
            _level_reading(level, k, limb, view, scale, known)
            for k, level in enumerate(limb.levels)
        ),
        axis_px=(view.point(x[0], y[0]), view.point(x[1], y[1])),
        width_px=2 * known.tube.outer_radius_m / unit_m * density,
    )


def _level_reading(
    level: LevelFit, k: int, limb: Limb, view: View, scale: NamedScale, known: Knowledge
) -> LevelReading:
    u = level.standard_uncertainty
    across = limb.grid.across_at(limb.axis_column)
    interval = np.array(
        [level.height - COVERAGE_FACTOR * u, level.height + COVERAGE_FACTOR * u]
    )
    x, y = scale.map.plane().to_pixel(np.full(2, across), interval, limb.grid.in_front)
    spec = known.instrument.scale
    x_px, y_px = view.point(level.x_px, level.y_px)
    return LevelReading(
        value=value_of_height(level.height, spec),
        standard_uncertainty=u,
        unit=spec.unit,
        x_px=x_px,
        y_px=y_px,
        below=known.filling(limb.name, k),
        above=known.filling(limb.name, k + 1),
        interval_px=(view.point(x[0], y[0]), view.point(x[1], y[1])),
    )


def marks(view: View, scale: NamedScale, known: Knowledge) -> tuple[GraduationMark, ...]:
    """Every graduation found, with its value."""
    spec = known.instrument.scale
    marks = []
    for comb, shift in zip(scale.combs, scale.shifts, strict=True):
        heights = heights_of(comb.index, shift, spec)
        numbered = is_numbered(comb.index + shift, spec)
        lines = comb.lines
        ends = [
            np.stack(view.turn.to_picture(x, lines.y_at(x)), axis=1).tolist()
            for x in (lines.left, lines.right)
        ]
        marks += [
            GraduationMark(
                start_px=(start[0], start[1]),
                end_px=(end[0], end[1]),
                value=value_of_height(height, spec),
                numbered=has_number,
            )
            for start, end, height, has_number in zip(
                *ends, heights.tolist(), numbered.tolist(), strict=True
            )
        ]
    return tuple(marks)


def level_height(level: LevelFit, known: Knowledge) -> LevelHeight:
    """A level as the reduction takes it, with its components."""
    from limbsight.level_heights import HeightComponent, LevelHeight

    spec = known.instrument.scale
    return LevelHeight(
        value=value_of_height(level.height, spec),
        unit=spec.unit,
        components=tuple(
            HeightComponent(
                name=part.name,
                standard_uncertainty=part.standard_uncertainty,
                shared_key=part.shared_key,
                kind=part.kind,
                sensitivity_sign=part.sign * spec.upward,
            )
            for part in level.components
        ),
    )
