"""What an instrument file would state, from the picture alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np

from limbsight.calib.numbering import NamedScale
from limbsight.calib.rectify import combs_across
from limbsight.calib.unknown_scale import LENGTH_UNITS_M, ScaleFromPicture
from limbsight.find_scale import View
from limbsight.knowledge import (
    Knowledge,
    knowledge_from_picture,
    with_limbs,
)
from limbsight.reasons import reason, refusal
from limbsight.records import Reason
from limbsight.straighten import Board, Scene, lines_go_on, straighten_board, tube_along
from limbsight.unit_by_size import SeenSizes, units_by_size
from limbsight.vision.dark_line import line_in_strip
from limbsight.vision.face import ends_with_graduations, goes_on_behind
from limbsight.vision.fillings import change_at
from limbsight.vision.level_net import TubeView, look, look_again
from limbsight.vision.limb_net import ProposedLimb, ProposedLimbs, propose_limbs
from limbsight.vision.limbs import limb_candidates
from limbsight.vision.tube_strip import TubeStrip
from limbsight.without_file import (
    AXIS_ERROR_WIDTHS,
    BESIDE_WIDTHS,
    PROPOSED,
    LookedAt,
    choose_tubes,
    fillings_text,
    is_row,
    looked_at,
    with_fillings,
    with_unit,
)

USUAL_WIDTH_M, UNUSUAL = 9e-3, 1.5
"""Outside diameter of usual tubing (common practice, no source); tubes that are wider or
narrower by more are looked at once more at the size they have."""
LEAST_BANK = 3
WALLED_CANDIDATES = 8
"""Bands with walls that are looked at beside what the network proposes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFromPicture:
    """What the picture alone tells, where the limbs are (across, scale units), the doubts."""

    known: Knowledge
    places: tuple[float, ...]
    reasons: tuple[Reason, ...]


def know_from_picture(
    view: View, found: ScaleFromPicture, axis_to_scale_m: float | None = None
) -> KnownFromPicture:
    """State what an instrument file would: limbs, width, unit, fillings; and the doubts.

    Parameters
    ----------
    view, found
        The picture and its scale.
    axis_to_scale_m
        The tubes' axes before the graduated face, where that was given.
    """
    scale = found.named
    sizes = SeenSizes(
        tube=None,
        figure=found.figure_height,
        distance=scale.map.pose().distance,
        u_distance=view.frame.focal_relative_uncertainty,
    )
    known, board, proposed = _tubes_proposed(view, found, sizes, axis_to_scale_m)
    width = proposed.width_columns * board.grid.step
    known, unit_from = with_unit(known, replace(sizes, tube=width), found.unit_printed)
    before_lines = all(comb.parts for comb in scale.combs)
    limbs_of = partial(with_limbs, before_lines=before_lines or None)
    known = limbs_of(known, 2, width * known.unit_m)
    scene = Scene(view=view, board=board, scale=scale, known=known)
    tubes, certain = _tubes_on(scene, proposed.candidates)
    count = len(tubes)
    beyond = count == 2 and lines_go_on(view, scale, board, width)
    if count == 1 or count >= LEAST_BANK or beyond:
        # More of a bank, or the other limb, may stand beyond the surroundings of the scale.
        known = limbs_of(known, LEAST_BANK, width * known.unit_m)
        wide = straighten_board(view, scale, known)
        again = propose_limbs(wide.picture.bgr, width / wide.grid.step)
        candidates = _on_board(wide, board, proposed.candidates)
        candidates += again.candidates if again else ()
        more, surely = _tubes_on(replace(scene, board=wide, known=known), candidates)
        others = sum(tube.is_tube for tube in more) if count == 1 else len(more)
        if count >= LEAST_BANK or others > count:
            board, tubes, certain = wide, more, surely
        elif count == 1 and len(more) > 1:
            # A tube whose level is hidden or off the scale may be the other limb.
            certain = False
    if not tubes:
        raise refusal("limb_not_found", found=0, wanted=1)
    axes = [tube.column for tube in tubes]
    before_lines = _face_goes_on(board, scale, known, axes, width, before_lines=before_lines)
    known = with_limbs(known, len(tubes), width * known.unit_m, before_lines=before_lines)
    names = known.limb_names(len(tubes))
    known, agreed = with_fillings(known, names, [tube.count_levels() for tube in tubes])
    doubts: tuple[Reason, ...] = ()
    if not (certain and is_row(tubes, width / board.grid.step)):
        doubts += (reason("limb_uncertain"),)
    if unit_from is None:
        doubts += (reason("unit_uncertain"),)
    if not agreed:
        doubts += (reason("fillings_uncertain"),)
    if found.both_ways:
        doubts += (reason("numbers_both_ways"),)
    return KnownFromPicture(
        known=known,
        places=tuple(board.grid.across_at(tube.column) for tube in tubes),
        reasons=(*doubts, _assumptions(known, unit_from, before_lines)),
    )


def _face_goes_on(
    board: Board,
    scale: NamedScale,
    known: Knowledge,
    axes: list[float],
    width: float,
    *,
    before_lines: bool,
) -> bool:
    """Whether the graduated face is seen to go on behind a tube.

    ``width`` is in scale units; ``before_lines`` says that tubes cut the graduations.
    """
    grid, spec = board.grid, known.instrument.scale
    plane = scale.map.plane()
    ends = [combs_across(plane, (comb,), grid.in_front) for comb in scale.combs]
    columns = [(grid.column_at(left), grid.column_at(right)) for left, right in ends]
    bgr, width = board.picture.bgr, width / grid.step
    first, last = grid.row_at(spec.highest), grid.row_at(spec.lowest)
    clear = max(board.picture.line_rows, 3.0)
    if ends_with_graduations(bgr, (first - clear, last + clear), columns, axes, width):
        return False
    rows = slice(max(round(first), 0), round(last))
    return before_lines or goes_on_behind(
        bgr[rows], board.picture.block_rows, columns, axes, width
    )


def _tubes_proposed(
    view: View, found: ScaleFromPicture, sizes: SeenSizes, axis_to_scale_m: float | None
) -> tuple[Knowledge, Board, ProposedLimbs]:
    """Straighten what surrounds the scale and ask the network for tubes on it.

    How far that reaches depends on the unit. Where none is printed they are tried in turn,
    that first which makes the figures and the camera's distance the least unusual.
    """
    units = (found.spec.unit,) if found.unit_printed else units_by_size(sizes)
    tried = []
    for unit in units:
        spec = replace(
            found.spec, unit=unit, unit_m=LENGTH_UNITS_M.get(unit, found.spec.unit_m)
        )
        known = knowledge_from_picture(spec, axis_to_scale_m)
        board = straighten_board(view, found.named, known)
        proposed = _propose(board, known)
        if proposed is not None:
            tried.append((known, board, proposed))
            if proposed.best >= PROPOSED:
                break
    if not tried:
        raise refusal("limb_not_found", found=0, wanted=1)
    return max(tried, key=lambda one: one[2].best)


def _on_board(
    wide: Board, board: Board, candidates: tuple[ProposedLimb, ...]
) -> tuple[ProposedLimb, ...]:
    """Carry candidates to another board straightened from the same scale."""
    shrink = board.grid.step / wide.grid.step
    return tuple(
        replace(
            limb,
            centre_column=float(
                (board.grid.across_at(limb.centre_column) - wide.grid.across[0])
                / wide.grid.step
            ),
            width_columns=limb.width_columns * shrink,
        )
        for limb in candidates
    )


def _tubes_on(
    scene: Scene, proposed: tuple[ProposedLimb, ...]
) -> tuple[tuple[LookedAt, ...], bool]:
    """Choose the tubes among what the network proposes on this board and what has walls."""
    board, width = scene.board, scene.width_columns
    walled = limb_candidates(board.picture, width, scene.bore_columns, WALLED_CANDIDATES)
    columns = [limb.centre_column for limb in proposed]
    columns += [band.centre_column for band in walled.bands]
    # A place may be looked at for itself, beside another, and in both choices below.
    look_at = cache(partial(_looked_at, scene, proposed))

    def beside(place: LookedAt) -> list[LookedAt]:
        return [look_at(place.column + aside * width) for aside in BESIDE_WIDTHS]

    looked = [look_at(column) for column in columns]
    tubes, certain = choose_tubes(looked, width, beside)
    if len(tubes) != 1 or scene.known.limb_count != 2:
        return tubes, certain
    # Two limbs of which one was missed would be read as one: the board is looked over.
    everywhere = np.arange(0.5 * width, len(board.grid.across) - 0.5 * width, 0.5 * width)
    looked += [look_at(float(column)) for column in everywhere]
    return choose_tubes(looked, width, beside)


def _propose(board: Board, known: Knowledge) -> ProposedLimbs | None:
    """Ask the network for the tubes; again at their own size, where that is unusual."""
    usual = USUAL_WIDTH_M / (known.unit_m * board.grid.step)
    first = propose_limbs(board.picture.bgr, usual)
    if first is None or 1 / UNUSUAL < first.width_columns / usual < UNUSUAL:
        return first
    return propose_limbs(board.picture.bgr, first.width_columns) or first


def _looked_at(scene: Scene, proposed: tuple[ProposedLimb, ...], column: float) -> LookedAt:
    tube = tube_along(scene, scene.board.grid.across_at(column))
    near = AXIS_ERROR_WIDTHS * scene.width_columns
    chances = [
        limb.probability for limb in proposed if abs(limb.centre_column - column) <= near
    ]
    return looked_at(
        look(tube.seen),
        partial(look_again, tube.seen),
        tube.rows,
        column,
        max(chances, default=0.0),
        partial(line_in_strip, tube.seen),
        partial(_change_at, tube.seen),
    )


def _change_at(strip: TubeStrip, row: float, seen: TubeView) -> float:
    return change_at(strip, seen.fillings_beside(row, len(strip.bgr)), row)


def _assumptions(known: Knowledge, unit_from: str | None, before_lines: bool) -> Reason:
    spec = known.instrument.scale
    return reason(
        "read_without_file",
        every=spec.numbered_every,
        unit=spec.unit,
        lowest=spec.lowest,
        highest=spec.highest,
        unit_from=unit_from or "a guess",
        fillings=fillings_text(known),
        tube=2e3 * known.tube.outer_radius_m,
        depth=_depth_text(known, before_lines=before_lines),
    )


def _depth_text(known: Knowledge, *, before_lines: bool) -> str:
    tube = known.tube
    depth_mm = 1e3 * tube.axis_to_scale_m
    if known.instrument.tube.axis_to_scale_m is not None:
        return f"stand {depth_mm:.3g} mm in front of the graduated face, as given"
    half_mm = 1e3 * np.sqrt(3.0) * tube.u_axis_to_scale_m
    low_mm, high_mm = max(depth_mm - half_mm, 0.0), depth_mm + half_mm
    behind = ", which goes on behind them" if before_lines else ""
    return (
        f"are taken to stand {low_mm:.0f} to {high_mm:.0f} mm in front of the graduated face"
        f"{behind}"
    )
