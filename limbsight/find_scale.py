"""The scale of a photo: found upright or in a turned picture, numbered and mapped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Protocol, TypeVar

import numpy as np

from limbsight.calib.boards import choose_board
from limbsight.calib.numbering import NamedScale, name_graduations
from limbsight.calib.rectify import Grid, make_grid
from limbsight.calib.scale_map import Frame, Plane
from limbsight.calib.unknown_scale import ScaleFromPicture, read_scale
from limbsight.errors import NotMeasurable
from limbsight.knowledge import Knowledge
from limbsight.reasons import refusal
from limbsight.records import PointPx
from limbsight.standing import stands
from limbsight.vision.graduations import Comb
from limbsight.vision.picture import Picture
from limbsight.vision.turning import Turn, turned_copy
from limbsight.vision.working import WorkingImage, find_scales, working_image

MIN_PITCH_PX = 2.5
"""Least pixels of a division: below, neighbouring lines merge under an ordinary blur of one
pixel (contrast of a line pattern of period P under blur b: exp(-2 (pi b / P)^2), 4 % here)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """The picture, and how it is turned for the scale to stand upright.

    Attributes
    ----------
    reduced
        Working copy of the picture as taken.
    upright
        The same, turned; the scale map and all that goes with it are in the pixels of this
        one at full size.
    """

    picture: Picture
    reduced: WorkingImage
    upright: WorkingImage
    turn: Turn

    @property
    def frame(self) -> Frame:
        """The camera, as the turned picture shows it."""
        frame = Frame.of_picture(*self.picture.size_px, self.picture.focal_35mm)
        return frame if self.turn.is_none else frame.turned(*self.turn.canvas_px)

    def grid(self, plane: Plane, **extent: Any) -> Grid:
        """Lay a grid over the plane, in pixels of the picture as taken."""
        grid = make_grid(plane, **extent)
        if self.turn.is_none:
            return grid
        x, y = self.turn.to_picture(grid.x_px, grid.y_px)
        return replace(grid, x_px=x.astype(np.float32), y_px=y.astype(np.float32))

    def point(self, x_px: float, y_px: float) -> PointPx:
        """Carry a position to the picture as taken."""
        x, y = self.turn.to_picture(x_px, y_px)
        return float(x), float(y)


class _FoundScale(Protocol):
    @property
    def numbers_read(self) -> bool: ...


Found = TypeVar("Found", bound=_FoundScale)


def upright(
    picture: Picture, known: Knowledge | None, find: Callable[[View], Found]
) -> tuple[View, Found]:
    """Find the scale, in the picture as taken or turned.

    Raises
    ------
    NotMeasurable
        As the likeliest turn does, that of a scale found before that of none.
    """
    reduced = working_image(picture.bgr)
    first: NotMeasurable | None = None
    for stand in stands(reduced, incline_rad=known.incline_rad if known else None):
        upright = turned_copy(reduced, stand.turn)
        view = View(picture=picture, reduced=reduced, upright=upright, turn=stand.turn)
        try:
            found = find(view)
            if stand.up_certain or found.numbers_read:
                return view, found
            raise NotMeasurable("", code="scale_ambiguous")
        except NotMeasurable as stop:
            if first is None or first.code == "scale_not_found":
                first = stop
    raise first or NotMeasurable("", code="scale_not_found")


def find_scale(view: View, known: Knowledge) -> NamedScale:
    """Find, number and map the scale that the instrument file states.

    Raises
    ------
    NotMeasurable
        ``scale_not_found``, ``too_few_pixels``, and what ``name_graduations`` raises.
    """
    spec = known.instrument.scale
    groups = _groups(view)
    bank = known.instrument.arrangement == "bank"
    boards = choose_board(groups, spec, known.unit_m, bank=bank)
    pitch = boards.chosen[0].pitch_px
    if pitch < MIN_PITCH_PX:
        raise refusal("too_few_pixels", most="", pitch=pitch, needed=MIN_PITCH_PX)
    upright = view.upright
    named = name_graduations(upright.green, upright.factor, boards.chosen, spec, view.frame)
    return replace(named, rivals=boards.rivals)


def find_unknown_scale(view: View) -> ScaleFromPicture:
    """Find, number and map the scale with most graduations, by its printed numbers.

    Raises
    ------
    NotMeasurable
        ``scale_not_found``, and what ``read_scale`` raises.
    """
    groups = _groups(view)
    grey, factor = view.upright.green, view.upright.factor
    found = read_scale(grey, factor, groups[0], view.frame)
    # How far apart the columns stand is known once the numbers are.
    spec = found.spec
    boards = choose_board(groups, spec, spec.unit_m or 1e-3, bank=False, stated=False)
    if len(boards.chosen) < len(groups[0]):
        found = read_scale(grey, factor, boards.chosen, view.frame)
    return replace(found, named=replace(found.named, rivals=boards.rivals))


def _groups(view: View) -> tuple[tuple[Comb, ...], ...]:
    groups = find_scales(view.upright)
    if not groups:
        raise NotMeasurable("", code="scale_not_found")
    return groups
