"""The limbs before a board: candidates by their walls and levels, and the choice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from limbsight.calib.numbering import NamedScale
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.read_limb import Limb, noted, read_limb
from limbsight.reasons import reason, refusal
from limbsight.straighten import Scene, SplitTube, split_along, straighten_board
from limbsight.vision.level_marks import tube_weight
from limbsight.vision.limb_net import ProposedLimbs, propose_limbs
from limbsight.vision.limbs import (
    MIN_SCORE,
    NEAR_PLACE_WIDTHS,
    LimbBand,
    LimbCandidates,
    LimbChoice,
    choose_limbs,
    limb_candidates,
    near_places,
)
from limbsight.vision.meanwhile import meanwhile
from limbsight.vision.tube_row import choose_row
from limbsight.wall_seen import read_by_wall
from limbsight.width_seen import width_doubts
from limbsight.without_file import PROPOSED, SURE_LEVEL, UNPROPOSED, WIDTH_ERROR

SPARE_CANDIDATES, MAX_CANDIDATES = 5, 24
"""Bands looked at beyond the number of limbs; in all, where that is not known."""
UNSEEN_SHARE = 0.02
"""What a candidate keeps in whose place the network sees no level: a level may be hidden."""
CLEAR_OF_DOUBT = 4.0
"""Candidates that stand out less over the rest are weighed by the levels in them: true limbs
of one photo differ by a factor of 3."""
OF_WRONG_PLACES = {
    "level_hidden",
    "level_not_found",
    "level_doubted",
    "level_unlike_meniscus",
    "level_off_scale",
}
"""Doubts about a limb's levels that it would raise, too, if it were none."""


def find_limbs(
    view: View, scale: NamedScale, known: Knowledge, places: tuple[float, ...] = ()
) -> tuple[Limb, ...]:
    """Find and read the limbs; near ``places`` (across, scale units) where those are known."""
    board = straighten_board(view, scale, known)
    scene = Scene(view=view, board=board, scale=scale, known=known)
    look = partial(propose_limbs, board.picture.bgr, scene.width_columns)
    if known.from_picture:
        return _found(scene, places, look)
    # The network is asked in any case: it looks while the walls are searched.
    seen = meanwhile(look).result
    limbs = _found(scene, places, seen)
    return noted(limbs, *width_doubts(seen(), limbs, scene.width_columns))


def _found(
    scene: Scene, places: tuple[float, ...], seen: Callable[[], ProposedLimbs | None]
) -> tuple[Limb, ...]:
    """Choose and read the limbs; ``seen`` gives what the network of limbs sees there."""
    board, known, width = scene.board, scene.known, scene.width_columns
    most = known.limb_count + SPARE_CANDIDATES if known.limb_count else MAX_CANDIDATES
    candidates = limb_candidates(board.picture, width, scene.bore_columns, most)
    if places:
        columns = [board.grid.column_at(at) for at in places]
        return _read(scene, near_places(candidates.bands, columns, width), {})
    choice, splits = _choose(scene, candidates)
    proposed = None if choice.certain else _proposed(scene, seen())
    if proposed is not None and _shows_levels(proposed[1]):
        return _read(scene, *proposed)
    if len(choice.limbs) < (known.limb_count or 1):
        raise refusal("limb_not_found", found=len(choice.limbs), wanted=known.limb_count or 1)
    limbs = _read(scene, choice, splits)
    if choice.certain and any(map(_place_is_doubted, limbs)):
        return _read_again(scene, limbs, choice, splits, seen())
    return limbs


def _read_again(
    scene: Scene,
    limbs: tuple[Limb, ...],
    choice: LimbChoice,
    splits: dict[float, SplitTube],
    seen: ProposedLimbs | None,
) -> tuple[Limb, ...]:
    """Read the limbs that the network proposes instead of doubted ones.

    Where those are others each must show its levels surely.  Where they are the same, doubted
    ones are read about the axes it sees, since about an axis that is off a level is seen worse
    or not at all; with as many doubts they stay as they are.
    """
    proposed = _proposed(scene, seen)
    if proposed is None:
        return limbs
    other, its_splits = proposed
    if not _alike(choice, other):
        sure = _shows_levels(its_splits)
        return _read(scene, other, its_splits) if sure else limbs
    doubted = [_place_is_doubted(limb) for limb in limbs]
    bands = zip(choice.limbs, other.limbs, doubted, strict=True)
    mixed = replace(choice, limbs=tuple(b if doubt else a for a, b, doubt in bands))
    again = _read(scene, mixed, splits | its_splits)
    return again if sum(map(_place_is_doubted, again)) < sum(doubted) else limbs


def _place_is_doubted(limb: Limb) -> bool:
    """Whether a limb has doubts that it would have, too, if it were none."""
    return any(doubt.code in OF_WRONG_PLACES for doubt in limb.reasons)


def _alike(one: LimbChoice, other: LimbChoice) -> bool:
    """Whether two choices are of the same limbs."""
    return len(one.limbs) == len(other.limbs) and all(
        abs(a.centre_column - b.centre_column) < NEAR_PLACE_WIDTHS * a.width_columns
        for a, b in zip(one.limbs, other.limbs, strict=True)
    )


def _read(
    scene: Scene, choice: LimbChoice, splits: dict[float, SplitTube]
) -> tuple[Limb, ...]:
    """Read the limbs chosen, and say so where they may be others."""
    names = scene.known.limb_names(len(choice.limbs))
    # The network looks at one tube while the next is split; limbs are read when it has done.
    tubes = [
        _split(scene, band, name, splits)
        for band, name in zip(choice.limbs, names, strict=True)
    ]
    readers = [partial(_read_known, scene, *tube) for tube in tubes]
    limbs = read_by_wall(readers, scene.known)
    return limbs if choice.certain else noted(limbs, reason("limb_uncertain"))


def _read_known(
    scene: Scene, across: float, name: str, split: SplitTube, known: Knowledge
) -> Limb:
    """Read a limb of which something else is known."""
    return read_limb(replace(scene, known=known), across, name, split)


def _split(
    scene: Scene, band: LimbBand, name: str, before: dict[float, SplitTube]
) -> tuple[float, str, SplitTube]:
    """Where the axis of a limb is across the board, its name, and its tube split.

    ``before`` are tubes that were split already, by their columns.
    """
    across = scene.board.grid.across_at(band.centre_column)
    count = scene.known.level_count(name)
    found = before.get(band.centre_column)
    if found is None or found.count != count:
        found = split_along(scene, across, count)
    return across, name, found


def _choose(
    scene: Scene, candidates: LimbCandidates
) -> tuple[LimbChoice, dict[float, SplitTube]]:
    """Choose the limbs; and the tubes that were split for that, by their columns."""
    count = scene.known.limb_count
    if count is not None:
        choice = choose_limbs(candidates.bands, count)
        if min(choice.clearance, choice.place_clearance) >= CLEAR_OF_DOUBT:
            return choice, {}
    columns = [band.centre_column for band in candidates.bands]
    splits = _split_all(scene, columns)
    weighed = [_weighed(band, splits[band.centre_column]) for band in candidates.bands]
    if count is None:
        return choose_row(weighed, candidates.walls), splits
    return choose_limbs(weighed, count), splits


def _split_all(scene: Scene, columns: list[float]) -> dict[float, SplitTube]:
    known, grid = scene.known, scene.board.grid
    count = max(known.level_count(name) for name in known.limb_names(known.limb_count or 2))
    return {column: split_along(scene, grid.across_at(column), count) for column in columns}


def _weighed(band: LimbBand, split: SplitTube) -> LimbBand:
    """Weigh a candidate by the levels in it."""
    weight = tube_weight(split.tube.clean, split.steps, split.count)
    return replace(band, score=band.score * weight * (UNSEEN_SHARE + _chance(split)))


def _chance(split: SplitTube) -> float:
    """Return how likely the least likely of a tube's levels is, by the network."""
    seen = split.network.places(split.tube.rows)
    return seen[split.count - 1].probability if len(seen) >= split.count else 0.0


def _shows_levels(splits: dict[float, SplitTube]) -> bool:
    return min(_chance(split) for split in splits.values()) >= SURE_LEVEL


def _proposed(
    scene: Scene, seen: ProposedLimbs | None
) -> tuple[LimbChoice, dict[float, SplitTube]] | None:
    """Let the network choose the limbs, where walls and levels leave it open.

    Only where it has no doubt, neither about their number nor about their width; else None.
    """
    width, count = scene.width_columns, scene.known.limb_count
    # Where the number of limbs is known, others may look a little like one.
    least = PROPOSED if count else UNPROPOSED
    found = [limb for limb in seen.candidates if limb.probability >= least] if seen else []
    sure = all(
        limb.probability >= PROPOSED
        and 1 / WIDTH_ERROR < limb.width_columns / width < WIDTH_ERROR
        for limb in found
    )
    if not found or not sure or len(found) != (count or len(found)):
        return None
    splits = _split_all(scene, [limb.centre_column for limb in found])
    limbs = tuple(
        LimbBand(centre_column=column, width_columns=width, score=MIN_SCORE)
        for column in sorted(splits)
    )
    return LimbChoice(limbs=limbs, clearance=float("inf")), splits
