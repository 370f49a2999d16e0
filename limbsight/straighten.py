"""The board and its tubes straightened: uprights upright, rows of one height."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.graduated_plane import Plane
from limbsight.calib.indexing import graduation_count
from limbsight.calib.numbering import NamedScale
from limbsight.calib.rectify import Grid, combs_across, print_columns, px_per_unit
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.vision.layers import Layers
from limbsight.vision.level_choice import LIKELY, settle_by_both
from limbsight.vision.level_net import (
    SECOND_WITNESS,
    WITNESS,
    TubeView,
    look,
    look_again,
    look_meanwhile,
)
from limbsight.vision.levels import find_layers
from limbsight.vision.limbs import BoardPicture
from limbsight.vision.lines_behind import are_too_fine, without_lines
from limbsight.vision.strip import sample
from limbsight.vision.tube_strip import TubeStrip
from limbsight.vision.working import WorkingImage, reduced, sample_between

if TYPE_CHECKING:
    from limbsight.calib.instrument import ScaleSpec


NEAR_WIDTHS, NEAR_M = 3.5, 25e-3
"""How far from the graduations the axis of a limb is looked for: this many outside diameters
or this distance, whichever is more. Numerals between scale and tube take 20 mm at most on the
sample photos; farther off are planks, tiles and other instruments."""
BAR_M = 35e-3
"""A ruler is 25 to 40 mm wide (from memory) and often graduated along one edge only: the limb
beyond its other edge is as much farther off, and so is the second of two at one side."""
LONG_LINE_WIDTHS = 3.0
"""Graduations longer than this many tube widths run across the board behind the tubes."""
STRIP_WIDTHS = 1.5
"""Half the width of a tube's strip, in outside diameters: the tube and a clip beside it."""
SEARCH_COLUMNS = 28.0
"""Columns across a tube where limbs and layers are looked for: a wall of a tenth of the width
takes three."""
BOARD_MARGIN_WIDTHS = 1.2
"""How far beyond the ends of the scale limbs are looked for: a level at an end needs a
window."""
LINE_SEEN = 0.5
"""Share of their contrast that graduations have where they go on: half-way between all of it
and none (judgement, no source)."""
DENIED = 0.3
"""What both witnesses together give less is no level. Of 551 such fits on 784 photos with
glare, covers and dirt drawn over levels 521 are outside their intervals; of 622 levels read on
photos without none has less than 0.7, of 40 photos of another renderer two boundaries of
liquids 0.45."""
SCALE_MARGIN = 0.15
"""How far beyond the scale's ends tubes are sampled, as a share of its length."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Board:
    """The straightened surroundings of the scale, where limbs are looked for."""

    source: WorkingImage
    grid: Grid
    picture: BoardPicture
    density: float
    """Pixels of the full picture per scale unit in the middle of the scale."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """What limbs are looked for in: a picture, straightened about a scale, and what is
    known of it."""

    view: View
    board: Board
    scale: NamedScale
    known: Knowledge

    @property
    def width_columns(self) -> float:
        """Outside diameter in columns of the board."""
        known = self.known
        return 2 * known.tube.outer_radius_m / known.unit_m / self.board.grid.step

    @property
    def bore_columns(self) -> float:
        """Inside diameter in columns of the board."""
        known = self.known
        return 2 * known.tube.bore_radius_m / known.unit_m / self.board.grid.step


def straighten_board(view: View, scale: NamedScale, known: Knowledge) -> Board:
    """Straighten the surroundings of the scale, of a bank all that the picture shows."""
    spec, unit_m = known.instrument.scale, known.unit_m
    working = view.reduced
    plane = scale.map.plane()
    depth = known.tube.axis_to_scale_m / unit_m
    width = 2 * known.tube.outer_radius_m / unit_m
    columns = *scale.combs, *scale.unplaced
    left, right = combs_across(plane, columns, depth)
    middle = 0.5 * (spec.lowest + spec.highest)
    density = px_per_unit(plane, 0.5 * (left + right), middle, depth)
    near = max(NEAR_WIDTHS * width, NEAR_M / unit_m) + width
    if len(columns) == 1 and _has_far_limb(known, right - left, width):
        near += BAR_M / unit_m
    across = left - near, right + near
    if known.instrument.arrangement == "bank":
        # A bank is as wide as it is: all that the picture shows.
        across = _picture_across(plane, view, depth)
    coarse = reduced(working, width * density / working.factor / SEARCH_COLUMNS)
    margin = BOARD_MARGIN_WIDTHS * width
    grid = view.grid(
        plane,
        values=(spec.lowest - margin, spec.highest + margin),
        across=across,
        step=coarse.factor / density,
        in_front=depth,
    )
    picture = BoardPicture(
        bgr=sample(coarse.bgr, *in_working(grid, coarse)),
        print_columns=print_columns(grid, plane, columns, widest=LONG_LINE_WIDTHS * width),
        block_rows=max(8, round(spec.numbered_every / grid.step)),
        line_rows=spec.division / grid.step,
    )
    return Board(source=coarse, grid=grid, picture=picture, density=density)


def lines_go_on(view: View, scale: NamedScale, board: Board, width: float) -> bool:
    """Whether graduations go on beyond a board's sides, behind tubes that stand there.

    They are looked for over three tubes' ``width`` [scale units] either way.
    """
    plane, upright = scale.map.plane(), view.upright
    comb = scale.combs[0]
    height = plane.from_pixel(comb.lines.x, comb.lines.y)[1]
    quarter = 0.25 * float(np.median(np.diff(np.sort(height))))

    def contrast(across: float) -> float:
        def light(off: float) -> NDArray[np.float64]:
            x, y = plane.to_pixel(np.full(len(height), across), height + off)
            at = (np.stack([x, y]) + 0.5) / upright.factor - 0.5
            return sample_between(upright.searched, *at)

        return float(np.median(light(0.0) - 0.5 * (light(-quarter) + light(quarter))))

    own = contrast(float(np.median(plane.from_pixel(comb.lines.x, comb.lines.y)[0])))
    left, right = (board.grid.across_at(column) for column in (0, len(board.grid.across) - 1))
    beyond = np.arange(0.0, 3.0, 0.25) * width
    places = np.concatenate((left - beyond, right + beyond))
    least, sign = LINE_SEEN * abs(own), float(np.sign(own))
    return any(sign * contrast(float(place)) > least for place in places)


def _has_far_limb(known: Knowledge, lines: float, width: float) -> bool:
    """Whether one of two limbs may stand beyond the bar of a lone column, or beyond the other.

    ``lines`` is how far the graduations reach across: long ones run behind the limbs.
    """
    two_limbs = known.limb_count == 2 and not known.from_picture
    return two_limbs and lines < LONG_LINE_WIDTHS * width


def _picture_across(plane: Plane, view: View, in_front: float) -> tuple[float, float]:
    """Return the left and right border of the picture at half its height [scale units]."""
    width, height = view.upright.full_size_px
    ends, _ = plane.from_pixel(
        np.array([0.0, width - 1.0]), np.full(2, 0.5 * (height - 1)), in_front
    )
    return float(ends.min()), float(ends.max())


def in_working(
    grid: Grid, working: WorkingImage
) -> tuple[
    np.ndarray[tuple[int, ...], np.dtype[np.float32]],
    np.ndarray[tuple[int, ...], np.dtype[np.float32]],
]:
    """Carry a grid's positions into a reduced copy, pixel centres to pixel centres."""
    scale = np.float32(1.0 / working.factor)
    shift = np.float32(0.5 / working.factor - 0.5)
    return grid.x_px * scale + shift, grid.y_px * scale + shift


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StraightTube:
    """One tube straightened.

    Attributes
    ----------
    seen, clean
        As it is, and without the graduations behind it.
    rows
        First and last row in which a level may lie.
    """

    grid: Grid
    seen: TubeStrip
    clean: TubeStrip
    rows: tuple[int, int]


@dataclass(frozen=True, kw_only=True, eq=False)
class SplitTube:
    """One tube and both opinions on ``count`` levels in it, one of them still being formed."""

    tube: StraightTube
    count: int
    steps: Layers
    looking: Future[TubeView]

    @property
    def network(self) -> TubeView:
        """What the network sees in it; two of them, where one leaves a doubt."""
        return self._settled[1]

    @property
    def layers(self) -> Layers:
        """The fillings, by both opinions."""
        return self._settled[0]

    @cached_property
    def seen_by_both(self) -> TubeView:
        """What both networks see in it, whether the first leaves a doubt or not."""
        return self.looking.result().pooled(self._seen_again)

    @cached_property
    def _witness(self) -> Future[TubeView]:
        return look_meanwhile(self.tube.seen, WITNESS)

    def call_witness(self) -> None:
        """Let the first witness look while this thread goes on."""
        _ = self._witness

    @cached_property
    def _second_witness(self) -> TubeView:
        return look(self.tube.seen, SECOND_WITNESS)

    def witnessed(self, kind: int, row: float, reach: float) -> float:
        """Least of the probabilities that both witnesses give a level of one kind within
        ``reach`` rows."""
        first = self._witness.result().of_kind(kind, row, reach)
        return min(first, self._second_witness.of_kind(kind, row, reach))

    def is_denied(self, row: float, reach: float) -> bool:
        """Whether both witnesses together see no level within ``reach`` rows."""
        if self._witness.result().near(row, reach) >= LIKELY:
            return False
        return self._witness.result().pooled(self._second_witness).near(row, reach) < DENIED

    @cached_property
    def _seen_again(self) -> TubeView:
        return look_again(self.tube.seen)

    @cached_property
    def _settled(self) -> tuple[Layers, TubeView]:
        return settle_by_both(
            self.steps,
            self.looking.result(),
            lambda: self._seen_again,
            self.tube.clean.width_columns,
            self.count,
            self.tube.rows,
        )


def split_along(scene: Scene, across: float, count: int) -> SplitTube:
    """Straighten one tube and split it into its fillings."""
    tube = tube_along(scene, across)
    looking = look_meanwhile(tube.seen)
    steps = find_layers(tube.clean, count, tube.rows)
    return SplitTube(tube=tube, count=count, steps=steps, looking=looking)


def tube_along(scene: Scene, across: float) -> StraightTube:
    """Straighten the picture about one axis."""
    view, board, scale, known = scene.view, scene.board, scene.scale, scene.known
    spec, unit_m = known.instrument.scale, known.unit_m
    margin = SCALE_MARGIN * (spec.highest - spec.lowest)
    width = 2 * known.tube.outer_radius_m / unit_m
    step = board.grid.step
    grid = view.grid(
        scale.map.plane(),
        values=(spec.lowest - margin, spec.highest + margin),
        across=(across - STRIP_WIDTHS * width, across + STRIP_WIDTHS * width),
        step=step,
        in_front=known.tube.axis_to_scale_m / unit_m,
    )
    inside = grid.inside(*board.source.full_size_px)
    strip = TubeStrip(
        bgr=sample(board.source.bgr, *in_working(grid, board.source)),
        bore_columns=2 * known.tube.bore_radius_m / unit_m / step,
        width_columns=width / step,
        inside_picture=np.asarray(inside[:, len(grid.across) // 2]),
    )
    ends = grid.row_at(spec.highest), grid.row_at(spec.lowest)
    behind = *_rows_of_graduations(grid, scale, spec, across), graduation_count(spec)
    clean = without_lines(strip.bgr, *behind, strip.width_columns, strip.bore_columns)
    slack = strip.bore_columns if clean is None else 0.0
    # Lines over the whole board run behind the tubes, whether this strip shows them or not.
    lined = are_too_fine(*behind) and any(comb.parts for comb in scale.combs)
    return StraightTube(
        grid=grid,
        seen=strip,
        clean=replace(
            strip,
            bgr=strip.bgr if clean is None else clean,
            lined=lined or clean is not None,
        ),
        rows=(int(ends[0] - slack), int(ends[1] + slack)),
    )


def _rows_of_graduations(
    grid: Grid, scale: NamedScale, spec: ScaleSpec, across: float
) -> tuple[float, float]:
    """Return the rows in which the end graduations are seen past or through a tube.

    The grid lies at the depth of the axis, in front of them.
    """
    plane = scale.map.plane()
    ends = np.array([spec.highest, spec.lowest])
    x, y = plane.to_pixel(np.full(2, across), ends)
    _, values = plane.from_pixel(x, y, grid.in_front)
    return grid.row_at(float(values[0])), grid.row_at(float(values[1]))
