"""The scale of a photo: found upright or in a turned picture, numbered and mapped."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any, Protocol, TypeVar

import numpy as np

from limbsight.calib.boards import SAME_BOARD_M, Boards, choose_board
from limbsight.calib.camera import Frame, Square
from limbsight.calib.coarse_scale import name_longer_lines
from limbsight.calib.graduated_plane import Plane
from limbsight.calib.indexing import MISSED_RATE, graduation_count, heights_of
from limbsight.calib.instrument import ScaleSpec
from limbsight.calib.numbering import NamedScale, lines_say_otherwise, name_graduations
from limbsight.calib.rectify import Grid, make_grid
from limbsight.calib.unknown_scale import ScaleFromPicture, read_scale
from limbsight.errors import NotMeasurable
from limbsight.knowledge import Knowledge
from limbsight.reasons import refusal
from limbsight.records import PointPx
from limbsight.standing import Stand, stands
from limbsight.vision.comb import Comb
from limbsight.vision.picture import Picture
from limbsight.vision.turning import Turn, turned_copy
from limbsight.vision.working import (
    RED,
    WorkingImage,
    are_every_other,
    find_lines,
    find_scales,
    full_size,
    long_between,
    reduced,
)

MIN_PITCH_PX = 2.5
"""Least pixels of a division: below, neighbouring lines merge under an ordinary blur of one
pixel (contrast of a line pattern of period P under blur b: exp(-2 (pi b / P)^2), 4 % here)."""
MOST_LONG_BETWEEN = 0.05
"""Share of gaps with a long line from which on lines were missed: every other line missed
gives 0.1 and more, none missed 0 (`limbsight.vision.working.long_between`)."""
SURELY_FOUND_PX = 4.0
"""Lines this far apart in the picture searched are not missed one by one: at 2.8 px none was,
at 2 px every other one (photos of another renderer, reduced). Under the blur that hides lines
at 4 px, those at 8 px have half of their contrast left."""

COARSER = (2, 3)
"""Times that the picture searched is reduced further: divisions of MIN_PITCH_PX to twice as
much merge then, and every fifth or tenth line is 4 px and more from the next."""
MORE_LINES = 1.1
"""Lines that the picture at its own size must show more for being read instead: as many as
are missed by chance (`limbsight.calib.indexing.MISSED_RATE`)."""
FEW_LINES = 4
"""Of a ruler whose fine lines merged the halves between numbers are left. So few lines to a
number are rare on a whole scale, and then found again in the picture at its own size."""
FEW_APART = 2
"""Divisions that such lines are apart, at least."""

NOT_THIS_BOARD = (
    "scale_differs_from_file",
    "scale_ambiguous",
    "scale_uneven",
    "too_few_pixels",
)
NOT_THESE_COLUMNS = ("scale_not_found", "scale_unnumbered", "scale_ambiguous")
LEAST_OF_FILE = 0.5
"""Share of the file's graduations that a smaller board must show to be looked at. A column of
pieces of numerals, 0.4 of a file's length, bore single figures out by chance (sample photo
read with another's file)."""
WHOLE = 0.02
"""Of itself, by which a multiple may be off a whole one: perspective from one column to
another. Sixteenths, tenths and eighths of an inch are 1.59, 2.54 and 3.18 mm."""
MOST_UNSEEN = 0.25
"""Share of a file's graduations that may be hidden at the ends of a scale, or too faint: of
157 photos, 40 of them of another renderer, one lacked 0.17, all others less than 0.04."""
IN_STEP = 0.05
"""Divisions by which pieces of lines may lie off the graduations that they are, bent by the
lens: 0.01 on the outer ends of lines that run behind a bank (judgement)."""
AMONG = 0.5
"""Share of the narrower of two groups of columns from which on they stand among each other
(judgement)."""
MOST_OTHER_BOARDS = 3
"""Boards besides the largest in which the file's scale is looked for: a fifth of a second
each, at most."""


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
    square
        On the board, in pixels of the picture as taken.
    """

    picture: Picture
    reduced: WorkingImage
    upright: WorkingImage
    turn: Turn
    square: Square | None = None

    @property
    def frame(self) -> Frame:
        """The camera, as the turned picture shows it."""
        picture = self.picture
        frame = Frame.of_picture(*picture.size_px, picture.focal_35mm, whole=picture.whole)
        if not self.turn.is_none:
            frame = frame.turned(*self.turn.canvas_px)
        if self.square is None:
            return frame
        corners = np.stack(self.turn.from_picture(*self.square.corners_px.T), axis=1)
        return replace(frame, square=replace(self.square, corners_px=corners))

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
    @property
    def apart(self) -> int: ...
    @property
    def second_choice(self) -> bool: ...
    @property
    def combs(self) -> tuple[Comb, ...]: ...


Found = TypeVar("Found", bound=_FoundScale)


def upright(
    picture: Picture,
    working: WorkingImage,
    known: Knowledge | None,
    find: Callable[[View], Found],
    square: Square | None = None,
) -> tuple[View, Found]:
    """Find the scale, in the picture as taken or turned; ``square`` is on its board.

    ``working`` is the picture at the size of the search.

    Raises
    ------
    NotMeasurable
        As the likeliest turn does, that of a scale found before that of none.
    """
    first: NotMeasurable | None = None
    longer: tuple[View, Found] | None = None
    for source, stand in _tries(picture, working, known):
        upright = turned_copy(source, stand.turn)
        view = View(
            picture=picture, reduced=source, upright=upright, turn=stand.turn, square=square
        )
        try:
            found = find(view)
            if longer is None and source.factor > 1.0 and _lacks_lines(found, source.factor):
                # The short lines may be found in the picture at its own size.
                longer = view, found
                continue
            if longer is not None and _lines_in(found) < MORE_LINES * _lines_in(longer[1]):
                # Averages of pixels show the same lines with less noise.
                break
            if stand.up_certain or found.numbers_read:
                return view, found
            raise NotMeasurable("", code="scale_ambiguous")
        except NotMeasurable as stop:
            if stop.code == "picture_mirrored":
                # So it is however it is turned; on their head some figures look the same.
                raise
            if first is None or first.code == "scale_not_found":
                first = stop
        if longer is not None:
            break
    if longer is not None:
        return longer
    raise first or NotMeasurable("", code="scale_not_found")


def _lacks_lines(found: _FoundScale, factor: float) -> bool:
    """Whether a scale found in a reduced picture may have more lines in the whole one."""
    if found.apart > 1:
        return True
    fine = min(comb.pitch_px for comb in found.combs) / factor < SURELY_FOUND_PX
    sparse = max(comb.filling for comb in found.combs) < 1.0 - MISSED_RATE
    return fine and (sparse or found.second_choice)


def _lines_in(found: _FoundScale) -> int:
    return max(len(comb.index) for comb in found.combs)


def _tries(
    picture: Picture, working: WorkingImage, known: Knowledge | None
) -> Iterator[tuple[WorkingImage, Stand]]:
    """Give what to search in, and turned how: reduced, not reduced, in red, then other turns.

    Lines that merge in the reduced picture may stand apart in the one that was taken: of a
    scale in a third of a large picture only every fifth line is left, which is no scale, or
    another one than the file's.  Brown ink on wood, and green ink, show better in red light.
    """
    for k, stand in enumerate(
        stands(working, incline_rad=known.incline_rad if known else None)
    ):
        yield working, stand
        if k == 0:
            sizes = [working]
            if working.factor > 1.0:
                sizes.append(full_size(picture.bgr))
                yield sizes[-1], stand
            for size in sizes:
                yield replace(size, channel=RED), stand


def find_scale(view: View, known: Knowledge) -> NamedScale:
    """Find, number and map the scale that the instrument file states.

    Raises
    ------
    NotMeasurable
        ``scale_not_found``, ``too_few_pixels``, and what ``name_graduations`` raises.
    """
    spec = known.instrument.scale
    groups = _groups(view)
    if not groups:
        return _of_doubtful_lines(view, spec, (), NotMeasurable("", code="scale_not_found"))
    boards = _boards_of_file(groups, known)
    try:
        named = _named(view, boards.chosen, spec)
    except NotMeasurable as stop:
        named = _of_another_board(view, boards, spec, stop)
        if _is_contradicted(view, named, spec, boards.chosen):
            raise
        return replace(named, second_choice=True)
    return replace(named, rivals=_out_of_step(boards.rivals, named, spec))


def is_contradicted_by_file(view: View, named: NamedScale, known: Knowledge) -> bool:
    """Whether the long lines of what looks most like the file's scale say that this one, found
    without the file, is numbered wrongly."""
    groups = _groups(view)
    if not groups:
        return False
    chosen = _boards_of_file(groups, known).chosen
    return _is_contradicted(view, named, known.instrument.scale, chosen)


def _boards_of_file(groups: tuple[tuple[Comb, ...], ...], known: Knowledge) -> Boards:
    instrument = known.instrument
    bank = instrument.arrangement == "bank"
    return choose_board(groups, instrument.scale, known.unit_m, bank=bank)


def _is_contradicted(
    view: View, named: NamedScale, spec: ScaleSpec, board: tuple[Comb, ...]
) -> bool:
    """Whether long lines of a board that was not understood say that a scale found otherwise
    on it is numbered wrongly.

    Fewer lines of it, or others, leave less of that to be seen, and then the figures alone
    tell: what was in doubt before is no more settled by them.
    """
    comb, (left, right), (own_left, own_right) = board[0], _ends(named.combs), _ends(board)
    if own_left >= right or own_right <= left:
        return False
    height = named.map.plane().from_pixel(comb.lines.x, comb.lines.y)[1]
    number = (height - spec.lowest) / spec.division
    shift = round(float(np.median(number - comb.index)))
    grey, factor = view.upright.searched, view.upright.factor
    return lines_say_otherwise(grey, factor, board, spec, shift)


def _out_of_step(
    boards: Sequence[tuple[Comb, ...]], named: NamedScale, spec: ScaleSpec
) -> int:
    """How many boards have lines other than pieces of a scale's own graduations.

    Of lines that run over a whole board pieces are seen between its outer tubes and its edges.
    Another instrument of the kind may keep step, but stands beside.
    """
    plane, (left, right) = named.map.plane(), _ends(named.combs)

    def are_pieces(comb: Comb) -> bool:
        height = plane.from_pixel(comb.lines.x, comb.lines.y)[1]
        number = (height - spec.lowest) / spec.division
        off = number - np.rint(number)
        in_step = max(abs(float(np.median(off))), float(np.std(off))) <= IN_STEP
        own_left, own_right = _ends((comb,))
        return in_step and own_left < right and left < own_right

    return sum(not all(map(are_pieces, board)) for board in boards)


def unseen_share(view: View, named: NamedScale, spec: ScaleSpec) -> float:
    """Share of the stated graduations beyond those found that would be in the picture."""
    count = graduation_count(spec)
    found = [
        comb.index[[0, -1]] + shift
        for comb, shift in zip(named.combs, named.shifts, strict=True)
    ]
    number = np.arange(count)
    beyond = number[(number < np.min(found)) | (number > np.max(found))]
    plane, lines = named.map.plane(), named.combs[0].lines
    across = float(np.median(plane.from_pixel(lines.x, lines.y)[0]))
    x, y = plane.to_pixel(np.full(len(beyond), across), heights_of(beyond, 0, spec))
    width, height = view.upright.full_size_px
    return float(np.sum((x >= 0) & (x < width) & (y >= 0) & (y < height))) / count


def _named(
    view: View, board: tuple[Comb, ...], spec: ScaleSpec, *, by_numbers: bool = False
) -> NamedScale:
    _check_pitch(board)
    grey, factor = view.upright.searched, view.upright.factor
    return name_graduations(grey, factor, board, spec, view.frame, by_numbers=by_numbers)


def _check_pitch(board: tuple[Comb, ...]) -> None:
    """Refuse a scale whose divisions merge."""
    pitch = board[0].pitch_px
    if pitch < MIN_PITCH_PX:
        raise refusal("too_few_pixels", most="", pitch=pitch, needed=MIN_PITCH_PX)


def _of_another_board(
    view: View, boards: Boards, spec: ScaleSpec, stop: NotMeasurable
) -> NamedScale:
    """Look for the file's scale on a smaller board, where the largest does not bear it.

    Its printed numbers must be the file's. Where they rule the largest board out that is a
    rival only if it stands apart, as another instrument does; where that one was only not
    understood, it may still be the one that is meant.
    """
    if stop.code == "picture_turned":
        # Two figures or three may look turned where the longer lines bear all of them.
        return _of_doubtful_lines(view, spec, (boards.chosen,), stop)
    if stop.code not in NOT_THIS_BOARD:
        raise stop
    least = LEAST_OF_FILE * graduation_count(spec)
    others = boards.others + _columns_before(view, boards.chosen)
    full = [board for board in others if max(len(comb.index) for comb in board) >= least]
    for board in full[:MOST_OTHER_BOARDS]:
        try:
            named = _named(view, board, spec)
        except NotMeasurable:
            continue
        if named.numbers_read:
            if stop.code == "scale_differs_from_file":
                return replace(named, rivals=len(boards.rivals))
            return replace(named, rivals=_rivals((boards.chosen,), named.combs, spec))
    return _of_doubtful_lines(view, spec, (boards.chosen, *others), stop)


def _of_doubtful_lines(
    view: View, spec: ScaleSpec, boards: tuple[tuple[Comb, ...], ...], stop: NotMeasurable
) -> NamedScale:
    """Look for the file's scale among lines that may be gaps, and among the longer lines.

    Figures beside them must be the file's, and of their ink.
    """
    doubtful = _of_other_ink(view, boards[0] if boards else ())
    for board in doubtful[:MOST_OTHER_BOARDS]:
        try:
            named = _named(view, board, spec, by_numbers=True)
        except NotMeasurable:
            continue
        if named.ink_read:
            return replace(named, rivals=_rivals(boards, named.combs, spec))
    grey, factor = view.upright.searched, view.upright.factor
    for board in chain((*boards, *doubtful)[: 2 * MOST_OTHER_BOARDS], _of_coarser(view)):
        try:
            named = name_longer_lines(grey, factor, board, spec, view.frame)
        except NotMeasurable:
            continue
        return replace(named, rivals=_rivals(boards, named.combs, spec))
    raise stop


def _of_coarser(view: View) -> Iterator[tuple[Comb, ...]]:
    """Columns of lines in the picture reduced until short ones that half merge are gone.

    They break the longer ones up: of graph paper with 3 px a division no line was found whole.
    """
    for times in COARSER:
        if min(view.upright.bgr.shape[:2]) < times:
            return
        yield from find_scales(reduced(view.upright, times))[:MOST_OTHER_BOARDS]


def _of_other_ink(view: View, board: tuple[Comb, ...]) -> tuple[tuple[Comb, ...], ...]:
    """Lines darker than the board where lighter ones were chosen, or the reverse."""
    inks = (not board[0].dark,) if board else (True, False)
    return tuple(group for dark in inks for group in find_lines(view.upright, dark=dark))


def _rivals(
    boards: tuple[tuple[Comb, ...], ...],
    board: tuple[Comb, ...],
    spec: ScaleSpec,
    *,
    stated: bool = True,
) -> int:
    """Whether the first board, which was not understood, is another one than this.

    Without a file tubes are looked for about the columns that were read: where those cover
    a part of the board only, some might be missed.
    """
    if not boards:
        return 0
    near_px = SAME_BOARD_M / (spec.division * (spec.unit_m or 1e-3)) * board[0].pitch_px
    left, right = _ends(boards[0])
    own_left, own_right = _ends(board)
    covers = own_left - near_px <= left and right <= own_right + near_px
    # Instruments stand beside each other: columns among those are of the same board.
    shared = min(right, own_right) - max(left, own_left) + near_px
    among = shared >= AMONG * min(right - left, own_right - own_left)
    return 0 if covers or (among and stated) else 1


def _ends(board: tuple[Comb, ...]) -> tuple[float, float]:
    """From where to where the lines of all columns reach [px]."""
    return (
        min(float(np.median(comb.lines.left)) for comb in board),
        max(float(np.median(comb.lines.right)) for comb in board),
    )


def find_unknown_scale(view: View) -> ScaleFromPicture:
    """Find, number and map the scale with most graduations, by its printed numbers.

    Raises
    ------
    NotMeasurable
        ``scale_not_found``, ``too_few_pixels``, and what ``read_scale`` raises.
    """
    groups = _groups(view)
    if not groups:
        stop = NotMeasurable("", code="scale_not_found")
        return _of_other_columns(view, (), stop)
    try:
        found = _read(view, groups[0])
    except NotMeasurable as stop:
        found = _of_other_columns(view, groups, stop)
        if _is_contradicted(view, found.named, found.spec, groups[0]):
            raise
        return _noting(found, second_choice=True)
    # How far apart the columns stand is known once the numbers are.
    spec = found.spec
    boards = choose_board(groups, spec, spec.unit_m or 1e-3, bank=False, stated=False)
    if len(boards.chosen) < len(groups[0]):
        found = _read(view, boards.chosen)
    return _noting(found, rivals=_out_of_step(boards.rivals, found.named, found.spec))


def _read(view: View, board: tuple[Comb, ...]) -> ScaleFromPicture:
    found = read_scale(view.upright.searched, view.upright.factor, board, view.frame)
    # Wood grain and other texture is fine, too: only what bears numbers is too fine a scale.
    _check_pitch(board)
    _check_all_seen(view, found)
    if view.upright.factor > 1.0 and _lines_a_number(found) <= FEW_LINES:
        if not found.named.place_read:
            raise NotMeasurable("", code="scale_ambiguous")
        # More lines may be found in the picture at its own size.
        return _noting(found, apart=FEW_APART)
    return found


def _noting(found: ScaleFromPicture, **noted: Any) -> ScaleFromPicture:
    """Change what is noted about how a scale got its numbers."""
    return replace(found, named=replace(found.named, **noted))


def _lines_a_number(found: ScaleFromPicture) -> int:
    return round(found.spec.numbered_every / found.spec.division)


def _check_all_seen(view: View, found: ScaleFromPicture) -> None:
    """Refuse a scale of which only every other line was found."""
    columns = tuple(comb for comb in found.named.combs if not comb.parts)
    pitch = 0.5 * min((comb.pitch_px for comb in columns), default=np.inf)
    if pitch / view.upright.factor >= SURELY_FOUND_PX:
        if are_every_other(view.upright, columns):
            raise NotMeasurable("", code="scale_ambiguous")
        return
    every = _lines_a_number(found)
    if long_between(view.upright, columns, every, found.figures_px) <= MOST_LONG_BETWEEN:
        return
    if pitch < MIN_PITCH_PX:
        raise refusal("too_few_pixels", most="", pitch=pitch, needed=MIN_PITCH_PX)
    raise NotMeasurable("", code="scale_ambiguous")


def _of_other_columns(
    view: View, groups: tuple[tuple[Comb, ...], ...], stop: NotMeasurable
) -> ScaleFromPicture:
    """Read the numbers of other columns where the largest leave them in doubt.

    Columns of one division that do not keep step with the largest are of another instrument,
    or bent by glass: they are read only where those have no numbers, and those stay a rival.
    """
    if stop.code not in NOT_THESE_COLUMNS:
        raise stop
    largest = groups[0] if groups else ()
    beside = groups[1:] + _columns_before(view, largest)
    alike = [group for group in beside if not _are_longer(group, largest)]
    if stop.code != "scale_unnumbered":
        beside = tuple(group for group in beside if group not in alike)
    others = (beside + _of_other_ink(view, largest))[:MOST_OTHER_BOARDS]
    for group in chain(others, _of_coarser(view)):
        try:
            found = _read(view, group)
        except NotMeasurable:
            continue
        if group in alike:
            return _noting(found, rivals=1)
        if found.named.ink_read:
            rivals = _rivals(groups, found.named.combs, found.spec, stated=False)
            found = _noting(found, rivals=rivals)
            if group in others:
                return found
            return _noting(found, apart=max(found.named.apart, FEW_APART))
    raise stop


def _are_longer(group: tuple[Comb, ...], largest: tuple[Comb, ...]) -> bool:
    """Whether these may be the longer lines of the largest columns: every second or fifth.

    Divisions of two units are no whole multiples of each other.
    """
    comb, fine = group[0], largest[0]
    upward = np.argsort(fine.lines.y)
    y = fine.lines.y[upward]
    common = (comb.lines.y >= y[0]) & (comb.lines.y <= y[-1])
    if common.sum() < 2:
        return False
    index = np.interp(comb.lines.y[common], y, fine.index[upward])
    apart = float(np.ptp(index) / np.ptp(comb.index[common]))
    return round(apart) > 1 and abs(apart - round(apart)) < WHOLE * apart


def _columns_before(view: View, board: tuple[Comb, ...]) -> tuple[tuple[Comb, ...], ...]:
    """Columns of lines where the board was taken for a pattern of lines behind them."""
    if not board or not board[0].parts:
        return ()
    return find_scales(view.upright, boards=False, local_noise=True)


def _groups(view: View) -> tuple[tuple[Comb, ...], ...]:
    return find_scales(view.upright) or find_scales(view.upright, local_noise=True)
