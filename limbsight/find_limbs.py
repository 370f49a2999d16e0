"""The limbs before a board: candidates by their walls and levels, and the choice."""

from __future__ import annotations

from dataclasses import replace

from limbsight.calib.numbering import NamedScale
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.read_limb import Limb, read_limb
from limbsight.reasons import reason, refusal
from limbsight.straighten import Board, SplitTube, split_along, straighten_board
from limbsight.vision.level_marks import tube_weight
from limbsight.vision.limbs import (
    LimbBand,
    LimbCandidates,
    LimbChoice,
    choose_limbs,
    limb_candidates,
    near_places,
)
from limbsight.vision.meanwhile import meanwhile
from limbsight.vision.tube_row import choose_row

SPARE_CANDIDATES, MAX_CANDIDATES = 5, 24
"""Bands looked at beyond the number of limbs; in all, where that is not known."""
UNSEEN_SHARE = 0.02
"""What a candidate keeps in whose place the network sees no level: a level may be hidden."""
CLEAR_OF_DOUBT = 4.0
"""Candidates that stand out less over the rest are weighed by the levels in them: true limbs
of one photo differ by a factor of 3."""


def find_limbs(
    view: View, scale: NamedScale, known: Knowledge, places: tuple[float, ...] = ()
) -> tuple[Limb, ...]:
    """Find and read the limbs; near ``places`` (across, scale units) where those are known."""
    board = straighten_board(view, scale, known)
    width = 2 * known.tube.outer_radius_m / known.unit_m / board.grid.step
    bore = 2 * known.tube.bore_radius_m / known.unit_m / board.grid.step
    most = known.limb_count + SPARE_CANDIDATES if known.limb_count else MAX_CANDIDATES
    candidates = limb_candidates(board.picture, width, bore, most)
    splits: dict[float, SplitTube] = {}
    if places:
        columns = [(at - board.grid.across[0]) / board.grid.step for at in places]
        choice = near_places(candidates.bands, columns, width)
    else:
        choice, splits = _choose(candidates, view, board, scale, known)
    wanted = known.limb_count or 1
    if len(choice.limbs) < wanted:
        raise refusal("limb_not_found", found=len(choice.limbs), wanted=wanted)
    # All are split before one is read: the network looks at some while menisci are fitted.
    tubes = [
        meanwhile(_split, band, name, splits, view, board, scale, known)
        for band, name in zip(choice.limbs, known.limb_names(len(choice.limbs)), strict=True)
    ]
    limbs = tuple(read_limb(view, board, scale, known, *tube.result()) for tube in tubes)
    if not choice.certain:
        doubted = replace(limbs[0], reasons=(*limbs[0].reasons, reason("limb_uncertain")))
        limbs = (doubted, *limbs[1:])
    return limbs


def _split(
    band: LimbBand,
    name: str,
    before: dict[float, SplitTube],
    view: View,
    board: Board,
    scale: NamedScale,
    known: Knowledge,
) -> tuple[float, str, SplitTube]:
    """Where the axis of a limb is across the board, its name, and its tube split.

    ``before`` are tubes that were split already, by their columns.
    """
    across, count = board.grid.across_at(band.centre_column), known.level_count(name)
    found = before.get(band.centre_column)
    if found is None or found.count != count:
        found = split_along(view, board, scale, known, across, count)
    return across, name, found


def _choose(
    candidates: LimbCandidates, view: View, board: Board, scale: NamedScale, known: Knowledge
) -> tuple[LimbChoice, dict[float, SplitTube]]:
    """Choose the limbs; and the tubes that were split for that, by their columns."""
    if known.limb_count is not None:
        choice = choose_limbs(candidates.bands, known.limb_count)
        if min(choice.clearance, choice.place_clearance) >= CLEAR_OF_DOUBT:
            return choice, {}
    count = max(known.level_count(name) for name in known.limb_names(known.limb_count or 2))
    splits = {
        band.centre_column: split_along(
            view, board, scale, known, board.grid.across_at(band.centre_column), count
        )
        for band in candidates.bands
    }
    weighed = [_weighed(band, splits[band.centre_column]) for band in candidates.bands]
    if known.limb_count is None:
        return choose_row(weighed, candidates.walls), splits
    return choose_limbs(weighed, known.limb_count), splits


def _weighed(band: LimbBand, split: SplitTube) -> LimbBand:
    """Weigh a candidate by the levels in it."""
    weight = tube_weight(split.tube.clean, split.steps, split.count)
    seen = split.network.places(split.tube.rows)
    chance = seen[split.count - 1].probability if len(seen) >= split.count else 0.0
    return replace(band, score=band.score * weight * (UNSEEN_SHARE + chance))
