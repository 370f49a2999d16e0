"""The road from photo to pressure, on one screen.

photo --vision--> graduations --calib--> scale map --vision--> limbs, interfaces
      --calib--> heights --reduce--> pressure
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from limbsight import __version__
from limbsight.calib.boards import choose_board
from limbsight.calib.heights import LevelFit, fit_level
from limbsight.calib.indexing import (
    graduation_count,
    heights_of,
    is_numbered,
    value_of_height,
)
from limbsight.calib.mirror import is_mirror
from limbsight.calib.numbering import NamedScale, name_graduations
from limbsight.calib.oblique import Lie, fit_oblique_level
from limbsight.calib.rectify import Grid, combs_across, make_grid, print_columns, px_per_unit
from limbsight.calib.scale_map import Frame, Plane
from limbsight.calib.unknown_scale import ScaleFromPicture, read_scale
from limbsight.diagnosis import cause_of
from limbsight.errors import InputError, LimbsightError, NotMeasurable
from limbsight.knowledge import (
    DEFAULT_BORE_SHARE,
    Knowledge,
    knowledge_from_picture,
    knowledge_of,
    with_limbs,
)
from limbsight.reasons import reason, status_of
from limbsight.records import (
    GraduationMark,
    LevelReading,
    LimbReading,
    PointPx,
    PressureReading,
    Reading,
    Reason,
    ZeroUsed,
)
from limbsight.standing import MOST_TILT_RAD, stands
from limbsight.vision.axis import REACH_WIDTHS, Axis, find_axis
from limbsight.vision.clipping import burnt_rows
from limbsight.vision.level_choice import settle
from limbsight.vision.level_marks import tube_weight
from limbsight.vision.level_net import look
from limbsight.vision.levels import Layers, TubeStrip, find_layers
from limbsight.vision.limb_net import ProposedLimbs, propose_limbs
from limbsight.vision.limbs import (
    BoardPicture,
    LimbBand,
    LimbCandidates,
    LimbChoice,
    choose_limbs,
    limb_candidates,
    near_places,
)
from limbsight.vision.lines_behind import without_lines
from limbsight.vision.picture import Picture, load_picture
from limbsight.vision.strip import sample, sample_linear
from limbsight.vision.tube_row import choose_row
from limbsight.vision.turning import Turn, turned_copy
from limbsight.vision.working import (
    WorkingImage,
    find_scales,
    full_size,
    reduced,
    working_image,
)
from limbsight.without_file import (
    LookedAt,
    choose_tubes,
    fillings_text,
    looked_at,
    with_fillings,
    with_unit,
)
from limbsight.zero_photo import ZeroPhoto, camera_of, check_zero

if TYPE_CHECKING:
    from limbsight.calib.instrument import Instrument, ScaleSpec
    from limbsight.pressure import LevelHeight

MIN_PITCH_PX = 2.5
"""Least pixels of a division: below, neighbouring lines merge under an ordinary blur of one
pixel (contrast of a line pattern of period P under blur b: exp(-2 (pi b / P)^2), 4 % here)."""
NEAR_WIDTHS, NEAR_M = 3.5, 25e-3
"""How far from the graduations the axis of a limb is looked for: this many outside diameters
or this distance, whichever is more. Numerals between scale and tube take 20 mm at most on the
sample photos; farther off are planks, tiles and other instruments."""
LONG_LINE_WIDTHS = 3.0
"""Graduations longer than this many tube widths run across the board behind the tubes."""
STRIP_WIDTHS = 1.5
"""Half the width of a tube's strip, in outside diameters: the tube and a clip beside it."""
SEARCH_COLUMNS = 28.0
"""Columns across a tube where limbs and layers are looked for: a wall of a tenth of the width
takes three."""
SPARE_CANDIDATES, MAX_CANDIDATES = 5, 24
"""Bands looked at beyond the number of limbs; in all, where that is not known."""
UNSEEN_SHARE = 0.02
"""What a candidate keeps in whose place the network sees no level: a level may be hidden."""
CLEAR_OF_DOUBT = 4.0
"""Candidates that stand out less over the rest are weighed by the levels in them: true limbs
of one photo differ by a factor of 3."""
NEAR_LEVEL_BORES, SLANTED_BORES = 3.0, 6.0
"""Window, search and slack of the meniscus fit stay within this distance of the level; in a
tube that lies the level itself reaches along it by up to the cotangent of the incline."""
BOARD_MARGIN_WIDTHS = 1.2
"""How far beyond the ends of the scale limbs are looked for: a level at an end needs a
window."""
SCALE_MARGIN = 0.15
"""How far beyond the scale's ends tubes are sampled, as a share of its length."""
EXTRAPOLATED_SHARE = 0.1
"""A map is trusted this share of its own length beyond the graduations that it rests on."""
MIN_BORE_PX = 24.0
"""Pixels across the bore from which on the meniscus model, not the sampling, limits."""
USUAL_WIDTH_M, UNUSUAL = 9e-3, 1.5
"""Outside diameter of usual tubing (common practice, no source); tubes that are wider or
narrower by more are looked at once more at the size they have."""
LEAST_BANK = 3
WALLED_CANDIDATES = 8
"""Bands with walls that are looked at beside what the network proposes."""
MIN_SHIFT_COLUMNS = 0.5
"""A smaller correction of the axis changes nothing that can be seen."""
DOUBT_PENALTY, CLEAR_MISFIT_RATIO = 2.0, 1.5
"""Which liquid a meniscus is of: one that does not pass its own test counts twice its misfit,
and the best must beat the other by half (levels of 24 sample photos, both ways)."""
CLEAR_COLOUR = 100.0
"""Grey levels, summed over three colours, by which a level must change a tube that lies for it
to show the axis; otherwise the axis may be off by the reach of its search either way, and the
slant of the level turns that into height (14 photos of inclined tubes)."""
LEAST_INCLINE_RAD = float(np.radians(1.0))
"""Below, a tube lies flat, and a level in it says nothing."""
OFF_SCALE_DIVISIONS = 0.5
MENISCUS_HEIGHT_BORES = 0.3
"""Height of a wetting meniscus in a narrow tube, in bores (Young-Laplace, contact angle 30
degrees). An interval that reaches farther than that, and farther than a division, says only
that there is a level, not where in its meniscus: a person should look."""
GLARE_REACH, GLARE_MIDDLE, GLARE_HEIGHT = 1.5, 1 / 3, 0.2
"""Glare within this many bores of a level, across this part of the bore, and together this
many bores high, may stand where the meniscus is: the meniscus is about as high. Of 120 photos
none that was read had so much; burnt spots drawn over menisci did (all but thin streaks)."""
UNSEEN_GEOMETRY = ("axis to scale", "focal length")
"""Components of a height that are in the interval but give no reason to look."""
COVERAGE_FACTOR = 2.0
ZERO_CODES = ("bad_zero", "not_a_zero")
"""Errors of a zero, from `limbsight.reduce.zero`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Limb:
    """One limb as found."""

    name: str
    grid: Grid
    axis_column: float
    layers: Layers
    levels: tuple[LevelFit, ...]
    reasons: tuple[Reason, ...]


def read_photo(
    path: str | Path,
    *,
    instrument: Instrument | None = None,
    zero: str | Path | ZeroPhoto | None = None,
) -> Reading:
    """Read one photo.

    Parameters
    ----------
    path
        A photo in any common format.
    instrument
        What is known about the manometer; without it the photo is read as far as it allows.
    zero
        A photo of the same instrument with both ends open to the air, or what
        :func:`read_zero` made of one; what it shows is taken off the pressure.

    Returns
    -------
    Reading
        With status ``read``, ``check`` or ``refused`` and reasons; never an exception for a
        photo that can't be read.

    Raises
    ------
    InputError
        The file is not a photo that can be decoded, or the zero can't serve as one.
    """
    if zero is not None and not isinstance(zero, ZeroPhoto):
        zero = read_zero(zero, instrument=instrument)
    walked = _walk(path, instrument)
    known, limbs, reasons = walked.known, walked.limbs, walked.reasons
    pressures: dict[str | None, PressureReading] = {}
    if known is not None and not known.from_picture and status_of(reasons) != "refused":
        pressures, trouble = _pressures(walked.picture, limbs, known, zero)
        reasons += trouble
    return _result(
        path,
        walked,
        reasons=reasons,
        pressures=pressures,
        zero=zero.used if zero is not None and pressures else None,
    )


def read_zero(path: str | Path, *, instrument: Instrument | None) -> ZeroPhoto:
    """Read the photo of an instrument with both ends open to the air, to be subtracted.

    Raises
    ------
    InputError
        The file is no photo (``bad_file``), or its levels can't be read, are not those of
        this instrument, or differ by more than a zero can (``bad_zero``, ``not_a_zero``).
    InstrumentError
        The instrument file lacks something the pressure needs.
    """
    if instrument is None:
        raise InputError(
            f"{path}: a zero photo is subtracted from a pressure, which needs an instrument "
            "file; give --instrument",
            code="bad_zero",
        )
    walked = _walk(path, instrument)
    if walked.known is None or status_of(walked.reasons) == "refused":
        why = "; ".join(f"{r.text} [{r.code}]" for r in walked.reasons)
        raise InputError(f"{path}: can't be read as a zero photo: {why}", code="bad_zero")
    known = walked.known
    levels = tuple(
        tuple(_level_height(level, known) for level in limb.levels) for limb in walked.limbs
    )
    check_zero(instrument, levels, str(path))
    return ZeroPhoto(
        used=ZeroUsed(
            photo=str(path), sha256=walked.picture.sha256, taken_at=walked.picture.taken_at
        ),
        levels=levels,
        camera=camera_of(walked.picture),
        doubts=walked.reasons,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walked:
    """How far the road went with one photo, from the picture to the levels."""

    picture: Picture
    known: Knowledge | None
    view: View | None = None
    scale: NamedScale | None = None
    limbs: tuple[Limb, ...] = ()
    reasons: tuple[Reason, ...] = ()


def _walk(path: str | Path, instrument: Instrument | None) -> Walked:
    """Go from the photo to the levels, as far as they can be found."""
    picture = load_picture(path)
    known = knowledge_of(instrument) if instrument is not None else None
    notes: tuple[Reason, ...] = ()
    places: tuple[float, ...] = ()
    try:
        if known is not None:
            view, scale = _upright(picture, known, partial(_find_scale, known=known))
            if scale.rivals:
                notes = (reason("several_scales", count=1 + scale.rivals),)
        else:
            view, found = _upright(picture, None, _find_unknown_scale)
            scale = found.named
            told = _know_from_picture(view, found)
            known, places, notes = told.known, told.places, told.reasons
        limbs = _find_limbs(view, scale, known, places)
    except NotMeasurable as stop:
        why = cause_of(stop, working_image(picture.bgr), known, MIN_PITCH_PX)
        return Walked(picture=picture, known=known, reasons=(_reason_of(why),))
    return Walked(
        picture=picture,
        known=known,
        view=view,
        scale=scale,
        limbs=limbs,
        reasons=(*(r for limb in limbs for r in limb.reasons), *notes),
    )


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


def _upright(
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


def _find_scale(view: View, known: Knowledge) -> NamedScale:
    spec = known.instrument.scale
    groups = find_scales(view.upright)
    if not groups:
        raise NotMeasurable("", code="scale_not_found")
    bank = known.instrument.arrangement == "bank"
    boards = choose_board(groups, spec, known.unit_m, bank=bank)
    pitch = boards.chosen[0].pitch_px
    if pitch < MIN_PITCH_PX:
        raise _stop("too_few_pixels", most="", pitch=pitch, needed=MIN_PITCH_PX)
    grey = np.ascontiguousarray(view.upright.bgr[:, :, 1])
    named = name_graduations(grey, view.upright.factor, boards.chosen, spec, view.frame)
    return replace(named, rivals=boards.rivals)


def _find_unknown_scale(view: View) -> ScaleFromPicture:
    groups = find_scales(view.upright)
    if not groups:
        raise NotMeasurable("", code="scale_not_found")
    grey = np.ascontiguousarray(view.upright.bgr[:, :, 1])
    return read_scale(grey, view.upright.factor, groups[0], view.frame)


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFromPicture:
    """What the picture alone tells, where the limbs are (across, scale units), the doubts."""

    known: Knowledge
    places: tuple[float, ...]
    reasons: tuple[Reason, ...]


def _know_from_picture(view: View, found: ScaleFromPicture) -> KnownFromPicture:
    """State what an instrument file would: limbs, width, unit, fillings; and the doubts."""
    known, scale = knowledge_from_picture(found.spec), found.named
    board = _straighten_board(view, scale, known)
    proposed = _propose(board, known)
    if proposed is None:
        raise _stop("limb_not_found", found=0, wanted=1)
    width = proposed.width_columns * board.grid.step
    known, unit_from = with_unit(known, width, found.unit_printed)
    known = with_limbs(known, 2, width * known.unit_m)
    tubes, certain = _tubes_on(view, board, scale, known, proposed)
    if len(tubes) >= LEAST_BANK:
        # A bank may go on beyond the surroundings of its graduations.
        known = with_limbs(known, len(tubes), width * known.unit_m)
        board = _straighten_board(view, scale, known)
        again = propose_limbs(board.picture.bgr, width / board.grid.step) or proposed
        tubes, certain = _tubes_on(view, board, scale, known, again)
    if not tubes:
        raise _stop("limb_not_found", found=0, wanted=1)
    known = with_limbs(known, len(tubes), width * known.unit_m)
    names = known.limb_names(len(tubes))
    known, agreed = with_fillings(known, names, [tube.levels for tube in tubes])
    doubts: tuple[Reason, ...] = ()
    if not certain:
        doubts += (reason("limb_uncertain"),)
    if unit_from is None:
        doubts += (reason("unit_uncertain"),)
    if not agreed:
        doubts += (reason("fillings_uncertain"),)
    return KnownFromPicture(
        known=known,
        places=tuple(board.grid.across_at(tube.column) for tube in tubes),
        reasons=(*doubts, _assumptions(known, unit_from)),
    )


def _tubes_on(
    view: View, board: Board, scale: NamedScale, known: Knowledge, proposed: ProposedLimbs
) -> tuple[tuple[LookedAt, ...], bool]:
    """Choose the tubes among what the network proposes and what has walls."""
    width = 2 * known.tube.outer_radius_m / known.unit_m / board.grid.step
    bore = DEFAULT_BORE_SHARE * width
    walled = limb_candidates(board.picture, width, bore, WALLED_CANDIDATES)
    columns = [limb.centre_column for limb in proposed.candidates]
    columns += [band.centre_column for band in walled.bands]
    looked = [_looked_at(view, board, scale, known, column) for column in columns]
    return choose_tubes(looked, width)


def _propose(board: Board, known: Knowledge) -> ProposedLimbs | None:
    """Ask the network for the tubes; again at their own size, where that is unusual."""
    usual = USUAL_WIDTH_M / (known.unit_m * board.grid.step)
    first = propose_limbs(board.picture.bgr, usual)
    if first is None or 1 / UNUSUAL < first.width_columns / usual < UNUSUAL:
        return first
    return propose_limbs(board.picture.bgr, first.width_columns) or first


def _looked_at(
    view: View, board: Board, scale: NamedScale, known: Knowledge, column: float
) -> LookedAt:
    tube = _tube_along(view, board, scale, known, board.grid.across_at(column))
    return looked_at(look(tube.seen), tube.rows, column)


def _assumptions(known: Knowledge, unit_from: str | None) -> Reason:
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
    )


def _find_limbs(
    view: View, scale: NamedScale, known: Knowledge, places: tuple[float, ...] = ()
) -> tuple[Limb, ...]:
    """Find and read the limbs; near ``places`` (across, scale units) where those are known."""
    board = _straighten_board(view, scale, known)
    width = 2 * known.tube.outer_radius_m / known.unit_m / board.grid.step
    bore = 2 * known.tube.bore_radius_m / known.unit_m / board.grid.step
    most = known.limb_count + SPARE_CANDIDATES if known.limb_count else MAX_CANDIDATES
    candidates = limb_candidates(board.picture, width, bore, most)
    if places:
        columns = [(at - board.grid.across[0]) / board.grid.step for at in places]
        choice = near_places(candidates.bands, columns, width)
    else:
        choice = _choose(candidates, view, board, scale, known)
    wanted = known.limb_count or 1
    if len(choice.limbs) < wanted:
        raise _stop("limb_not_found", found=len(choice.limbs), wanted=wanted)
    names = known.limb_names(len(choice.limbs))
    limbs = tuple(
        _read_limb(
            view,
            board,
            scale,
            known,
            board.grid.across_at(band.centre_column),
            name,
        )
        for band, name in zip(choice.limbs, names, strict=True)
    )
    if not choice.certain:
        doubted = replace(limbs[0], reasons=(*limbs[0].reasons, reason("limb_uncertain")))
        limbs = (doubted, *limbs[1:])
    return limbs


def _choose(
    candidates: LimbCandidates, view: View, board: Board, scale: NamedScale, known: Knowledge
) -> LimbChoice:
    if known.limb_count is not None:
        choice = choose_limbs(candidates.bands, known.limb_count)
        if min(choice.clearance, choice.place_clearance) >= CLEAR_OF_DOUBT:
            return choice
    weighed = [_weighed(band, view, board, scale, known) for band in candidates.bands]
    if known.limb_count is None:
        return choose_row(weighed, candidates.walls)
    return choose_limbs(weighed, known.limb_count)


def _weighed(
    band: LimbBand, view: View, board: Board, scale: NamedScale, known: Knowledge
) -> LimbBand:
    """Weigh a candidate by the levels in it."""
    across = board.grid.across_at(band.centre_column)
    names = known.limb_names(known.limb_count or 2)
    count = max(known.level_count(name) for name in names)
    tube = _tube_along(view, board, scale, known, across)
    layers = find_layers(tube.clean, count, tube.rows)
    weight = tube_weight(tube.clean, layers, count)
    seen = look(tube.seen).places(tube.rows)
    chance = seen[count - 1].probability if len(seen) >= count else 0.0
    return replace(band, score=band.score * weight * (UNSEEN_SHARE + chance))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Board:
    """The straightened surroundings of the scale, where limbs are looked for."""

    source: WorkingImage
    grid: Grid
    picture: BoardPicture
    density: float
    """Pixels of the full picture per scale unit in the middle of the scale."""


def _straighten_board(view: View, scale: NamedScale, known: Knowledge) -> Board:
    spec, unit_m = known.instrument.scale, known.unit_m
    working = view.reduced
    plane = scale.map.plane()
    depth = known.tube.axis_to_scale_m / unit_m
    width = 2 * known.tube.outer_radius_m / unit_m
    left, right = combs_across(plane, scale.combs, depth)
    middle = 0.5 * (spec.lowest + spec.highest)
    density = px_per_unit(plane, 0.5 * (left + right), middle, depth)
    near = max(NEAR_WIDTHS * width, NEAR_M / unit_m) + width
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
        bgr=sample(coarse.bgr, *_in_working(grid, coarse)),
        print_columns=print_columns(grid, plane, scale.combs, widest=LONG_LINE_WIDTHS * width),
        block_rows=max(8, round(spec.numbered_every / grid.step)),
        line_rows=spec.division / grid.step,
    )
    return Board(source=coarse, grid=grid, picture=picture, density=density)


def _picture_across(plane: Plane, view: View, in_front: float) -> tuple[float, float]:
    """Return the left and right border of the picture at half its height [scale units]."""
    width, height = view.upright.full_size_px
    ends, _ = plane.from_pixel(
        np.array([0.0, width - 1.0]), np.full(2, 0.5 * (height - 1)), in_front
    )
    return float(ends.min()), float(ends.max())


def _in_working(
    grid: Grid, working: WorkingImage
) -> tuple[
    np.ndarray[tuple[int, ...], np.dtype[np.float32]],
    np.ndarray[tuple[int, ...], np.dtype[np.float32]],
]:
    factor = np.float32(working.factor)
    half = np.float32(0.5)
    return (grid.x_px + half) / factor - half, (grid.y_px + half) / factor - half


def _read_limb(
    view: View,
    board: Board,
    scale: NamedScale,
    known: Knowledge,
    across: float,
    name: str,
) -> Limb:
    count = known.level_count(name)
    grid, strip, layers = _look_along(view, board, scale, known, across, count)
    axis = find_axis(strip, layers.interfaces)
    if abs(axis.shift_columns) > MIN_SHIFT_COLUMNS:
        across += axis.shift_columns * grid.step
        grid, strip, layers = _look_along(view, board, scale, known, across, count)
    reasons = _layer_reasons(layers, known, name)
    levels: tuple[LevelFit, ...] = ()
    if layers.interfaces:
        bore_px = 2 * known.tube.bore_radius_m / known.unit_m * board.density
        # A bore of many pixels is measured as well in the reduced picture, and faster.
        fine = bore_px / view.reduced.factor < MIN_BORE_PX
        source = full_size(view.picture.bgr) if fine else view.reduced
        u_axis_m = axis.u_columns * grid.step * known.unit_m
        lie = _lie(view, known, axis, u_axis_m)
        reach = NEAR_LEVEL_BORES if lie is None else SLANTED_BORES
        near = [
            _near_level(view, source, board, scale, known, across, grid.value_at(i.row), reach)
            for i in layers.interfaces
        ]
        fits = [
            _fit_levels(near, scale, guess, u_axis_m, name, lie)
            for guess in _guesses(known, near[0], name)
        ]
        levels, sure = _likeliest(fits)
        if not sure:
            reasons += (reason("liquid_uncertain", limb=name),)
        reasons += _level_reasons(levels, scale, known, name)
        if layers.hidden_change is None:  # a bright cover is no glare
            reasons += _glare_reasons(near, levels, known, name)
    return Limb(
        name=name,
        grid=grid,
        axis_column=0.5 * (len(grid.across) - 1),
        layers=layers,
        levels=levels,
        reasons=reasons,
    )


def _guesses(known: Knowledge, lowest: NearLevel, name: str) -> tuple[Knowledge, ...]:
    """The liquids worth fitting: mercury, others, or both where the bore does not tell."""
    guesses = known.manometric_guesses()
    if len(guesses) == 1:
        return guesses
    bore_rows = 2 * known.tube.bore_radius_m / (known.unit_m * lowest.grid.step)
    mirror = is_mirror(lowest.linear, lowest.row, bore_rows)
    return tuple(g for g in guesses if mirror in (None, g.optics(name, 0).opaque_mirror))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NearLevel:
    """The picture about one level, for the fit.

    Attributes
    ----------
    linear : ndarray, shape (R, C, 3), float32
        Linear light, RGB, on ``grid``; the axis in the middle column.
    row
        Where the level was seen.
    """

    grid: Grid
    linear: NDArray[np.float32]
    row: float


def _near_level(
    view: View,
    source: WorkingImage,
    board: Board,
    scale: NamedScale,
    known: Knowledge,
    across: float,
    value: float,
    reach_bores: float,
) -> NearLevel:
    bore = 2 * known.tube.bore_radius_m / known.unit_m
    reach = reach_bores * bore
    grid = view.grid(
        scale.map.plane(),
        values=(value - reach, value + reach),
        across=(across - 0.7 * bore, across + 0.7 * bore),
        step=source.factor / board.density,
        in_front=known.tube.axis_to_scale_m / known.unit_m,
    )
    linear = sample_linear(source.bgr, *_in_working(grid, source))
    return NearLevel(grid=grid, linear=linear, row=grid.row_at(value))


def _fit_levels(
    near: list[NearLevel],
    scale: NamedScale,
    known: Knowledge,
    u_axis_m: float,
    name: str,
    lie: Lie | None,
) -> tuple[LevelFit, ...]:
    fit = (
        partial(fit_level, u_axis_m=u_axis_m)
        if lie is None
        else partial(fit_oblique_level, lie=lie)
    )
    return tuple(
        fit(
            at.linear,
            at.grid,
            at.row,
            scale_map=scale.map,
            unit_m=known.unit_m,
            tube=known.tube,
            below=known.optics(name, k),
            above=known.optics(name, k + 1),
            interface=known.interface(name, k),
            limb=name,
        )
        for k, at in enumerate(near)
    )


def _lie(view: View, known: Knowledge, axis: Axis, u_axis_m: float) -> Lie | None:
    """How the tube lies; None where it stands, give or take the camera's tilt."""
    incline = known.incline_rad
    if incline is None:
        incline = float(np.arcsin(abs(np.cos(view.turn.angle_rad))))
        if incline > np.pi / 2 - MOST_TILT_RAD:
            return None
    if axis.contrast < CLEAR_COLOUR:
        u_axis_m = max(u_axis_m, REACH_WIDTHS * 2 * known.tube.outer_radius_m / np.sqrt(3.0))
    return Lie(incline_rad=max(incline, LEAST_INCLINE_RAD), u_axis_m=u_axis_m)


def _likeliest(fits: list[tuple[LevelFit, ...]]) -> tuple[tuple[LevelFit, ...], bool]:
    """Choose among fits with different liquids: the best looking, and whether that is sure."""
    if len(fits) == 1:
        return fits[0], True

    def misfit(levels: tuple[LevelFit, ...]) -> float:
        doubt = any(not level.apex.ok for level in levels)
        worst = max(level.apex.misfit for level in levels)
        return float(worst * (DOUBT_PENALTY if doubt else 1.0))

    ranked = sorted(fits, key=misfit)
    first, second = ranked[0], ranked[1]
    agree = all(
        abs(a.height - b.height) < a.standard_uncertainty + b.standard_uncertainty
        for a, b in zip(first, second, strict=True)
    )
    return first, agree or misfit(second) > CLEAR_MISFIT_RATIO * misfit(first)


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


def _look_along(
    view: View, board: Board, scale: NamedScale, known: Knowledge, across: float, count: int
) -> tuple[Grid, TubeStrip, Layers]:
    """Split one tube into its fillings, by both opinions."""
    tube = _tube_along(view, board, scale, known, across)
    layers = find_layers(tube.clean, count, tube.rows)
    layers = settle(layers, look(tube.seen), tube.clean.width_columns, count, tube.rows)
    return tube.grid, tube.clean, layers


def _tube_along(
    view: View, board: Board, scale: NamedScale, known: Knowledge, across: float
) -> StraightTube:
    """Straighten the picture about one axis."""
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
        bgr=sample(board.source.bgr, *_in_working(grid, board.source)),
        bore_columns=2 * known.tube.bore_radius_m / unit_m / step,
        width_columns=width / step,
        inside_picture=np.asarray(inside[:, len(grid.across) // 2]),
    )
    ends = grid.row_at(spec.highest), grid.row_at(spec.lowest)
    clean = without_lines(
        strip.bgr,
        *_rows_of_graduations(grid, scale, spec, across),
        graduation_count(spec),
        strip.width_columns,
        strip.bore_columns,
    )
    slack = strip.bore_columns if clean is None else 0.0
    return StraightTube(
        grid=grid,
        seen=strip,
        clean=strip if clean is None else replace(strip, bgr=clean),
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


def _layer_reasons(layers: Layers, known: Knowledge, limb: str) -> tuple[Reason, ...]:
    found: list[Reason] = []
    if layers.hidden_change is not None:
        found.append(reason("level_hidden", limb=limb))
    elif len(layers.interfaces) < known.level_count(limb):
        found.append(reason("level_not_found", limb=limb))
    if layers.rival is not None:
        found.append(reason("level_competes", limb=limb))
    if layers.doubted:
        found.append(reason("level_doubted", limb=limb))
    return tuple(found)


def _level_reasons(
    levels: tuple[LevelFit, ...], scale: NamedScale, known: Knowledge, limb: str
) -> tuple[Reason, ...]:
    spec = known.instrument.scale
    found_heights = np.concatenate(
        [heights_of(c.index, k, spec) for c, k in zip(scale.combs, scale.shifts, strict=True)]
    )
    carried = EXTRAPOLATED_SHARE * float(np.ptp(found_heights))
    slack = OFF_SCALE_DIVISIONS * spec.division
    found: list[Reason] = []
    for level in levels:
        if not spec.lowest - slack <= level.height <= spec.highest + slack:
            value = value_of_height(level.height, spec)
            found.append(reason("level_off_scale", limb=limb, value=value, unit=spec.unit))
        elif not (
            found_heights.min() - carried <= level.height <= found_heights.max() + carried
        ):
            found.append(reason("level_beyond_graduations", limb=limb))
        two_places = level.apex.reason == "level_ambiguous"
        if not (level.apex.ok or two_places):
            found.append(reason("level_unlike_meniscus", limb=limb))
        # What is unknown of the instrument's depth no look at the picture tells.
        width = COVERAGE_FACTOR * level.uncertainty_without(UNSEEN_GEOMETRY)
        meniscus = MENISCUS_HEIGHT_BORES * 2 * known.tube.bore_radius_m / known.unit_m
        # Two places that fit alike may be two answers, unless a division holds them both.
        bearable = spec.division if two_places else max(spec.division, meniscus)
        if width > bearable:
            found.append(reason("level_uncertain", limb=limb, width=width, unit=spec.unit))
    return tuple(found)


def _glare_reasons(
    near: list[NearLevel], levels: tuple[LevelFit, ...], known: Knowledge, limb: str
) -> tuple[Reason, ...]:
    """Name glare about a level: its lower edge may pass for a meniscus, its own for none."""
    found: list[Reason] = []
    for at, level in zip(near, levels, strict=True):
        bore = 2 * known.tube.bore_radius_m / known.unit_m / at.grid.step
        axis = 0.5 * (len(at.grid.across) - 1)
        middle = (axis - GLARE_MIDDLE * bore / 2, axis + GLARE_MIDDLE * bore / 2)
        row, reach = at.grid.row_at(level.height), GLARE_REACH * bore
        high = burnt_rows(at.linear, (row - reach, row + reach), middle) / bore
        if high >= GLARE_HEIGHT:
            found.append(reason("glare_on_level", limb=limb))
    return tuple(found)


def _limb_reading(limb: Limb, view: View, scale: NamedScale, known: Knowledge) -> LimbReading:
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


def _marks(view: View, scale: NamedScale, known: Knowledge) -> tuple[GraduationMark, ...]:
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


def _pressures(
    picture: Picture, limbs: tuple[Limb, ...], known: Knowledge, zero: ZeroPhoto | None
) -> tuple[dict[str | None, PressureReading], tuple[Reason, ...]]:
    """Return the pressure, under None; or those of a bank, under the names of its limbs."""
    from limbsight.pressure import bank_pressures, pressure_from_levels

    heights = [[_level_height(level, known) for level in limb.levels] for limb in limbs]
    off = None if zero is None else zero.levels_beside(picture)
    instrument = known.instrument
    pressures: dict[str | None, PressureReading] = {}
    try:
        if instrument.arrangement == "bank" and instrument.tapped_limb is None:
            found = bank_pressures(instrument, heights, zero=off)
            pressures |= {name.removeprefix("limb "): p for name, p in found.items()}
        else:
            pressures[None] = pressure_from_levels(instrument, heights, zero=off)
    except LimbsightError as error:
        if error.code in ZERO_CODES:
            return {}, (reason("zero_unfit", detail=str(error)),)
        return {}, (reason("pressure_not_computed", detail=str(error)),)
    if zero is None or not zero.doubts:
        return pressures, ()
    codes = ", ".join(dict.fromkeys(r.code for r in zero.doubts))
    return pressures, (reason("zero_doubtful", photo=zero.used.photo, codes=codes),)


def _level_height(level: LevelFit, known: Knowledge) -> LevelHeight:
    from limbsight.pressure import HeightComponent, LevelHeight

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


def _stop(code: str, **places: object) -> NotMeasurable:
    return NotMeasurable(reason(code, limb=None, **places).text, code=code)


def _reason_of(stop: NotMeasurable) -> Reason:
    text = str(stop)
    return Reason(code=stop.code, text=text) if text else reason(stop.code)


def _result(
    path: str | Path,
    walked: Walked,
    *,
    reasons: tuple[Reason, ...],
    pressures: dict[str | None, PressureReading],
    zero: ZeroUsed | None,
) -> Reading:
    picture, known = walked.picture, walked.known
    view, scale = walked.view, walked.scale
    limbs: tuple[LimbReading, ...] = ()
    graduations: tuple[GraduationMark, ...] = ()
    if known is not None and view is not None and scale is not None:
        limbs = tuple(_limb_reading(limb, view, scale, known) for limb in walked.limbs)
        graduations = _marks(view, scale, known)
    return Reading(
        photo=str(path),
        sha256=picture.sha256,
        taken_at=picture.taken_at,
        status=status_of(reasons),
        reasons=reasons,
        limbs=limbs,
        graduations=graduations,
        pressure=pressures.get(None),
        pressures=tuple((limb, p) for limb, p in pressures.items() if limb is not None),
        instrument=known.instrument.name if known and not known.from_picture else None,
        program=f"limbsight {__version__}",
        size_px=picture.size_px,
        zero=zero,
    )
