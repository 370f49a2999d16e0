"""One limb: its axis, its levels fitted and carried to the scale, and the doubts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from limbsight.as_seen import SeenApex, held_against_seen
from limbsight.calib.heights import LevelFit, fit_level
from limbsight.calib.indexing import heights_of, value_of_height
from limbsight.calib.level_glare import (
    GLARE_HEIGHT,
    GLARE_MIDDLE,
    GLARE_REACH,
    burnt_columns,
)
from limbsight.calib.meniscus import AMBIGUOUS, AS_SEEN, COVERAGE_FACTOR, NOT_SEEN
from limbsight.calib.meniscus_outcome import MISFIT_LIMIT, SPOILT
from limbsight.calib.mirror import is_mirror
from limbsight.calib.numbering import NamedScale
from limbsight.calib.oblique import Lie, fit_oblique_level
from limbsight.calib.rectify import Grid
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.level_kinds import PLAIN_KIND, LevelKind, shares_of_kinds, stated_kind
from limbsight.reasons import reason
from limbsight.records import Reason
from limbsight.standing import MOST_TILT_RAD
from limbsight.straighten import Scene, SplitTube, StraightTube, in_working, split_along
from limbsight.unknown_liquids import FitLevel, explained, widened
from limbsight.vision.axis import REACH_WIDTHS, Axis, find_axis
from limbsight.vision.clipping import burnt_rows
from limbsight.vision.dark_line import (
    MIDDLE_BORES,
    DarkLine,
    dark_line,
    line_in_strip,
    stands_out,
)
from limbsight.vision.layers import Interface, Layers
from limbsight.vision.level_choice import LIKELY, at_cover_seen_before, is_in_doubt
from limbsight.vision.level_net import TubeView
from limbsight.vision.strip import sample_linear
from limbsight.vision.working import WorkingImage, full_size
from limbsight.walls import GLASS

NEAR_LEVEL_BORES, SLANTED_BORES = 3.0, 6.0
"""Window, search and slack of the meniscus fit stay within this distance of the level; in a
tube that lies the level itself reaches along it by up to the cotangent of the incline."""
EXTRAPOLATED_SHARE = 0.1
"""A map is trusted this share of its own length beyond the graduations that it rests on."""
MIN_BORE_PX = 24.0
"""Pixels across the bore from which on the meniscus model, not the sampling, limits."""
MIN_SHIFT_COLUMNS = 0.5
"""A smaller correction of the axis changes nothing that can be seen."""
FAR_WIDTHS, MOST_MOVES = 0.1, 4
"""A tube farther from the axis of its strip than this, in outside diameters, had little of
itself within the search: about the new axis it is looked at once more.  Of 407 limbs of drawn
and traced photos 46 lay so far off, and five of them a tenth of a diameter off once more; two
of those were read 0.3 and 0.8 mm wrong for it."""
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
COVER_APART = 1.0
"""Covers within so many bores of a level are no excuse for glare: a flash that spills over the
board passes for one. Nine drawn over menisci had a level taken 0.5 bores from their end."""
UNSEEN_GEOMETRY = ("axis to scale", "focal length")
"""Components of a height that are in the interval but give no reason to look."""
LEAST_LINE = 0.125
LEAST_LINE_BLACK, NEARLY_BLACK = 0.08, 0.125
"""A level under gas has a line darker than both of its sides by this share of the darker one's
light: by 0.14 and more at all but one (0.08) of 1130 true levels of 430 photos, and by 0.096
where the liquid has less than ``NEARLY_BLACK`` of the gas's light (at most 0.11 of it where
the line was fainter than 0.14). Three in four of 107 levels under a liquid have less, and nine
in ten ends of labels and sleeves drawn over levels, 1.0 to 1.3 tube widths wide, less than
0.08; one beside a shadow had 0.108 and passed for a level 15 mm from the hidden one."""
LEAST_LINE_BESIDE_GLARE = 0.25
"""Where the axis is burnt out and columns beside it bear the level out: by 0.31 and more at
125 such levels of five sets of photos; a shining sleeve over a level, whose end both networks
and those columns took for one 38 mm off, had 0.14."""
FITTED_BORES = 0.1
"""So near to where a level was fitted the networks are asked whether one is there."""
BORNE_OUT = 0.97
"""Where both witnesses give a level of its kind so much, neither glare about it nor a missing
dark line leaves a doubt. On 784 photos with glare, covers and dirt drawn over levels 340 of
906 levels doubted for either have so much: one of them is more than 0.3 bores off, ten are
outside their intervals. Of 437 that have less than 0.3, 397 are more than 0.3 bores off. Ends
of two sleeves got 0.96 and 0.97 by both together, 0.88 and 0.95 by one."""
STRAYED_BORES = 0.75
"""From where a level was seen to where it is fitted: 0.48 bores at most in 422 levels of 200
photos that are right to a millimetre; one fitted to a clip instead was 2 bores off."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Limb:
    """One limb as found."""

    name: str
    tube: StraightTube
    network: TubeView
    """What it sees in the tube."""
    layers: Layers
    levels: tuple[LevelFit, ...]
    reasons: tuple[Reason, ...]
    wall: str | None
    """What its tube was taken to be made of; None where nothing was told."""

    @property
    def grid(self) -> Grid:
        """Where the tube was straightened."""
        return self.tube.grid

    @property
    def axis_column(self) -> float:
        """Of the grid."""
        return 0.5 * (len(self.grid.across) - 1)


def noted(limbs: Sequence[Limb], *reasons: Reason) -> tuple[Limb, ...]:
    """Limbs, the first of which bears reasons that hold for all."""
    first, *others = limbs
    return (replace(first, reasons=(*first.reasons, *reasons)), *others)


def read_limb(scene: Scene, across: float, name: str, split: SplitTube) -> Limb:
    """Read the limb whose axis is ``across`` the board, in scale units.

    ``split`` is the tube there.
    """
    view, scale, known = scene.view, scene.scale, scene.known
    across, split, layers, axis = _about_axis(scene, across, split)
    layers = _doubted_as_mercury(layers, split, known, name)
    grid, strip = split.tube.grid, split.tube.clean
    levels: tuple[LevelFit, ...] = ()
    reasons: tuple[Reason, ...] = ()
    if layers.interfaces:
        split.call_witness()
        bore_px = 2 * known.tube.bore_radius_m / known.unit_m * scene.board.density
        # A bore of many pixels is measured as well in the reduced picture, and faster.
        fine = bore_px / view.reduced.factor < MIN_BORE_PX
        source = full_size(view.picture.bgr) if fine else view.reduced
        u_axis_m = axis.u_columns * grid.step * known.unit_m
        lie = _lie(view, known, axis, u_axis_m)
        reach = NEAR_LEVEL_BORES if lie is None else SLANTED_BORES
        covers = [(grid.value_at(last), grid.value_at(first)) for first, last in layers.hidden]
        near = [
            _near_level(scene, source, across, _seen_at(split, i), reach, covers)
            for i in layers.interfaces
        ]
        fit = partial(
            _fit_one, scale=scale, u_axis_m=u_axis_m, name=name, lie=lie, lined=strip.lined
        )
        guesses = _guesses(known, near[0], name)
        fits = [
            tuple(fit(guess, at=at, k=k) for k, at in enumerate(near)) for guess in guesses
        ]
        levels, sure = _likeliest(fits)
        guess = next(g for g, fitted in zip(guesses, fits, strict=True) if fitted is levels)
        if known.fillings_seen:
            # What the wall is was asked by now.
            settled = known if known.wall_told else known.of_wall(GLASS)
            levels = tuple(
                _with_unknowns(level, settled, name, k, partial(fit, at=at, k=k))
                for k, (level, at) in enumerate(zip(levels, near, strict=True))
            )
        if not is_in_doubt(layers, split.count):
            held = partial(_held_against_seen, scale=scale, tube=split.tube, lie=lie)
            levels = tuple(
                held(level, at, k, known=guess, limb=name)
                for k, (level, at) in enumerate(zip(levels, near, strict=True))
            )
        if not sure:
            reasons += (reason("liquid_uncertain", limb=name),)
        reasons += _level_reasons(levels, scale, known, name)
        reasons += _meniscus_reasons(near, levels, guess, name, lie, split)
        reasons += _glare_reasons(near, levels, known, name, split)
    strayed = any(
        abs(grid.row_at(level.height) - seen.row) > STRAYED_BORES * strip.bore_columns
        or split.is_denied(*_fitted_at(level, split.tube))
        for seen, level in zip(layers.interfaces, levels, strict=False)
    )
    reasons = _layer_reasons(layers, known, name, strayed=strayed) + reasons
    return Limb(
        name=name,
        tube=split.tube,
        network=split.network,
        layers=layers,
        levels=levels,
        reasons=reasons,
        wall=known.instrument.tube.material,
    )


def _doubted_as_mercury(
    layers: Layers, split: SplitTube, known: Knowledge, limb: str
) -> Layers:
    """Doubt levels of mercury that the network takes for others, and levels under gas that it
    takes for mercury.

    Of 206 levels of mercury it gives that a share of 0.8 or more in the probability of a
    level, 0.28 at most to 364 of 366 others; those two are boundaries of liquids, which may
    look like mercury (path-traced photos of two renderers). The ends of three of four sleeves
    over mercury that passed for its level, 12 to 16 mm off, looked like a liquid under gas.

    Where no file states it both networks are asked: a dark oil, at whose level no dark line
    shows, was read as mercury, 3.9 mm off, with 0.92 by the first and 0.82 by both, to which
    its faint line added the rest. To three of 260 levels of mercury both give less than 0.95.
    """
    if len(known.manometric_guesses()) > 1:
        return layers
    told = not known.fillings_seen
    network, least = (split.network, LIKELY) if told else (split.seen_by_both, PLAIN_KIND)
    for k, seen in enumerate(layers.interfaces):
        if seen.apex_row is None:
            continue
        stated = stated_kind(known, limb, k)
        share = shares_of_kinds(network, seen.apex_row)[LevelKind.MERCURY - 1]
        is_unlike = {
            LevelKind.MERCURY: share < least,
            LevelKind.UNDER_GAS: share >= LIKELY,
            LevelKind.UNDER_LIQUID: False,
        }
        if is_unlike[stated]:
            return replace(layers, doubted=True)
    return layers


def _about_axis(
    scene: Scene, across: float, split: SplitTube
) -> tuple[float, SplitTube, Layers, Axis]:
    """Straighten a tube about its own axis, which is near the one that ``split`` is about.

    Returns
    -------
    across, split, layers, axis
        The new axis, the tube about it, its fillings, and how surely it is the axis.
    """
    layers = split.layers
    for _ in range(MOST_MOVES):
        strip = split.tube.clean
        axis = find_axis(strip, layers.interfaces)
        if abs(axis.shift_columns) <= MIN_SHIFT_COLUMNS:
            break
        across += axis.shift_columns * split.tube.grid.step
        split = split_along(scene, across, split.count)
        layers = at_cover_seen_before(split.layers, layers, split.network, strip.bore_columns)
        if abs(axis.shift_columns) <= FAR_WIDTHS * strip.width_columns:
            break
    return across, split, layers, axis


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
    apex_row
        Where its apex was, by the level network; None where it was not.
    chance
        Probability of a level there, by the network.
    covered : ndarray, shape (R,), bool
        Rows of clips and the like away from the level, which may be bright, but are no glare.
    """

    grid: Grid
    linear: NDArray[np.float32]
    row: float
    apex_row: float | None
    chance: float
    covered: NDArray[np.bool_]

    @property
    def uncovered(self) -> NDArray[np.float32]:
        """The picture with covers black."""
        return np.where(self.covered[:, None, None], np.float32(0.0), self.linear)

    def bore_rows(self, known: Knowledge) -> float:
        """Return the bore in rows."""
        return 2 * known.tube.bore_radius_m / (known.unit_m * self.grid.step)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Heights at which a level, and by the network its apex, are seen; how likely it is."""

    height: float
    apex_height: float | None
    chance: float


def _seen_at(split: SplitTube, seen: Interface) -> _Seen:
    grid, apex_row = split.tube.grid, seen.apex_row
    if apex_row is None:
        return _Seen(height=grid.value_at(seen.row), apex_height=None, chance=0.0)
    return _Seen(
        height=grid.value_at(seen.row),
        apex_height=grid.value_at(apex_row),
        chance=split.network.at(apex_row),
    )


def _near_level(
    scene: Scene,
    source: WorkingImage,
    across: float,
    seen: _Seen,
    reach_bores: float,
    covers: list[tuple[float, float]],
) -> NearLevel:
    known = scene.known
    bore = 2 * known.tube.bore_radius_m / known.unit_m
    reach = reach_bores * bore
    grid = scene.view.grid(
        scene.scale.map.plane(),
        values=(seen.height - reach, seen.height + reach),
        across=(across - 0.7 * bore, across + 0.7 * bore),
        step=source.factor / scene.board.density,
        in_front=known.tube.axis_to_scale_m / known.unit_m,
    )
    linear = sample_linear(source.bgr, *in_working(grid, source))
    row, apex = grid.row_at(seen.height), seen.apex_height
    covers = [(grid.row_at(high), grid.row_at(low)) for low, high in covers]
    covered = _covered_away_from(row, COVER_APART * bore / grid.step, covers, len(linear))
    return NearLevel(
        grid=grid,
        linear=linear,
        row=row,
        apex_row=None if apex is None else grid.row_at(apex),
        chance=seen.chance,
        covered=covered,
    )


def _covered_away_from(
    row: float, apart: float, covers: list[tuple[float, float]], count: int
) -> NDArray[np.bool_]:
    """Mark the rows of covers, but of those that end within ``apart`` rows of a level.

    Such a one may be a flash that hides the level, and its end what was taken for one.
    """
    covered = np.zeros(count, dtype=bool)
    for first, last in covers:
        if last < row - apart or first > row + apart:
            covered[max(round(first), 0) : max(round(last) + 1, 0)] = True
    return covered


def _fit_one(
    known: Knowledge,
    *,
    at: NearLevel,
    k: int,
    scale: NamedScale,
    u_axis_m: float,
    name: str,
    lie: Lie | None,
    lined: bool,
) -> LevelFit:
    """Fit the k-th level of a limb from the bottom."""
    pitch_m = known.instrument.scale.division * known.unit_m if lined else 0.0
    unwetted = known.if_unwetted(name, k)
    fit = (
        partial(fit_level, u_axis_m=u_axis_m, line_pitch_m=pitch_m, unwetted=unwetted)
        if lie is None
        else partial(fit_oblique_level, lie=lie)
    )
    # A lamp in a dome of mercury looks like its apex.
    apex = None if known.optics(name, k).opaque_mirror else at.apex_row
    return fit(
        at.linear,
        at.grid,
        at.row if apex is None else apex,
        apex_seen=apex is not None,
        scale_map=scale.map,
        unit_m=known.unit_m,
        tube=known.tube,
        below=known.optics(name, k),
        above=known.optics(name, k + 1),
        interface=known.interface(name, k),
        burnt=_burnt_columns(at, known),
    )


def _with_unknowns(
    level: LevelFit, known: Knowledge, name: str, k: int, fit: FitLevel
) -> LevelFit:
    """Weigh what no file states: liquids, and a bore known from the picture."""
    between_liquids = known.is_between_liquids(name, k)
    if _is_unlike(level) and not between_liquids:
        return explained(level, known, fit)
    return widened(level, known, fit, between_liquids=between_liquids)


def _is_unlike(level: LevelFit) -> bool:
    return not (level.apex.is_likely or level.apex.reason == AS_SEEN)


def incline_of(view: View, known: Knowledge) -> float | None:
    """Angle above the horizontal of tubes that lie; None where they stand, give or take the
    camera's tilt."""
    if known.incline_rad is not None:
        return known.incline_rad
    incline = float(np.arcsin(abs(np.cos(view.turn.angle_rad))))
    return None if incline > np.pi / 2 - MOST_TILT_RAD else incline


def _lie(view: View, known: Knowledge, axis: Axis, u_axis_m: float) -> Lie | None:
    """How the tube lies; None where it stands."""
    incline = incline_of(view, known)
    if incline is None:
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


def _layer_reasons(
    layers: Layers, known: Knowledge, limb: str, *, strayed: bool
) -> tuple[Reason, ...]:
    """Name what speaks against the levels seen; ``strayed``: one was fitted far from there."""
    found: list[Reason] = []
    if layers.hidden_change is not None:
        found.append(reason("level_hidden", limb=limb))
    elif len(layers.interfaces) < known.level_count(limb):
        found.append(reason("level_not_found", limb=limb))
    if layers.rival is not None:
        found.append(reason("level_competes", limb=limb))
    if layers.doubted or strayed:
        found.append(reason("level_doubted", limb=limb))
    return tuple(found)


def _held_against_seen(
    level: LevelFit,
    at: NearLevel,
    k: int,
    *,
    scale: NamedScale,
    tube: StraightTube,
    known: Knowledge,
    limb: str,
    lie: Lie | None,
) -> LevelFit:
    """Hold the fit of the k-th level against where the network sees it, if it does."""
    if at.apex_row is None:
        return level
    kind = stated_kind(known, limb, k)
    seen = SeenApex(
        grid=at.grid, row=at.apex_row, bore_rows=at.bore_rows(known), chance=at.chance
    )
    has_line = kind is LevelKind.UNDER_GAS
    return held_against_seen(
        level,
        seen,
        scale.map,
        between_liquids=kind is LevelKind.UNDER_LIQUID,
        lies=lie is not None,
        line_stands_out=has_line and _line_stands_out(at, level, known, lie, tube),
    )


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
        two_places = level.apex.reason == AMBIGUOUS
        # What is unknown of the instrument's depth no look at the picture tells.
        width = COVERAGE_FACTOR * level.uncertainty_without(UNSEEN_GEOMETRY)
        meniscus = MENISCUS_HEIGHT_BORES * 2 * known.tube.bore_radius_m / known.unit_m
        # Two places that fit alike may be two answers, unless a division holds them both.
        bearable = spec.division if two_places else max(spec.division, meniscus)
        if width > bearable:
            found.append(reason("level_uncertain", limb=limb, width=width, unit=spec.unit))
    return tuple(found)


def _burnt_columns(at: NearLevel, known: Knowledge) -> NDArray[np.bool_]:
    """Which columns are burnt out about the level, as high as a meniscus or more."""
    bore = at.bore_rows(known)
    rows = (at.row - GLARE_REACH * bore, at.row + GLARE_REACH * bore)
    return burnt_columns(at.uncovered, rows, bore)


def _meniscus_reasons(
    near: list[NearLevel],
    levels: tuple[LevelFit, ...],
    known: Knowledge,
    limb: str,
    lie: Lie | None,
    split: SplitTube,
) -> tuple[Reason, ...]:
    """Name levels that do not look like a meniscus.

    Under gas a liquid shows a dark line: ends of what covers the tube have none, boundaries of
    two liquids that pass for levels under gas hardly one; and a line that stands out is a
    meniscus, though the profile on the axis be lost in the board's lines.  Mercury shows its
    dome instead.
    """
    found: list[Reason] = []
    for k, (at, level) in enumerate(zip(near, levels, strict=True)):
        unlike = _is_unlike(level)
        if stated_kind(known, limb, k) is LevelKind.UNDER_GAS:
            line = _lines_about(at, level, known, lie)(0.0)
            if unlike and _line_stands_out(at, level, known, lie, split.tube):
                unlike = False
            elif not unlike and _lacks_line(line, level):
                unlike = not _is_borne_out(level, LevelKind.UNDER_GAS, split)
        if unlike:
            found.append(reason("level_unlike_meniscus", limb=limb))
        elif level.apex.reason == AS_SEEN:
            found.append(reason("level_as_seen", limb=limb))
    return tuple(found)


def _lacks_line(line: DarkLine | None, level: LevelFit) -> bool:
    if line is None:
        return level.apex.reason == AS_SEEN
    return _is_missing(line, glare=level.clear_of_glare is True)


def _is_borne_out(level: LevelFit, kind: LevelKind, split: SplitTube) -> bool:
    """Whether both witnesses see a level of its kind where it was fitted."""
    return split.witnessed(kind, *_fitted_at(level, split.tube)) >= BORNE_OUT


def _fitted_at(level: LevelFit, tube: StraightTube) -> tuple[float, float]:
    """Row of a level, and how many rows about it are asked for one."""
    return tube.grid.row_at(level.height), FITTED_BORES * tube.clean.bore_columns


def _line_stands_out(
    at: NearLevel, level: LevelFit, known: Knowledge, lie: Lie | None, tube: StraightTube
) -> bool:
    """Whether a level whose profile is spoilt shows by its dark line all the same."""
    spoilt = level.apex.reason == NOT_SEEN and level.clear_of_glare is None
    if not spoilt or level.apex.misfit > SPOILT * MISFIT_LIMIT:
        return False
    return stands_out(_lines_about(at, level, known, lie)) or _stands_out_between(level, tube)


def _stands_out_between(level: LevelFit, tube: StraightTube) -> bool:
    """Whether a level's dark line stands out once the board's lines behind the tube, which may
    be as dark, are taken out."""
    strip, row = tube.clean, tube.grid.row_at(level.height)
    return strip.lined and stands_out(
        lambda bores: line_in_strip(strip, row + bores * strip.bore_columns)
    )


def _lines_about(
    at: NearLevel, level: LevelFit, known: Knowledge, lie: Lie | None
) -> Callable[[float], DarkLine | None]:
    """What compares the dark line at a place so many bores below a level with its sides."""
    bore, row = at.bore_rows(known), at.grid.row_at(level.height)
    slanted_rows = 0.0 if lie is None else MIDDLE_BORES * bore / np.tan(lie.incline_rad)
    burnt = _burnt_columns(at, known)
    return lambda bores: dark_line(
        at.linear, row + bores * bore, bore, slanted_rows=slanted_rows, burnt=burnt
    )


def _is_missing(line: DarkLine, *, glare: bool) -> bool:
    least = LEAST_LINE_BLACK if line.shine < NEARLY_BLACK else LEAST_LINE
    return line.darkness < (LEAST_LINE_BESIDE_GLARE if glare else least)


def _glare_reasons(
    near: list[NearLevel],
    levels: tuple[LevelFit, ...],
    known: Knowledge,
    limb: str,
    split: SplitTube,
) -> tuple[Reason, ...]:
    """Name glare about a level: its lower edge may pass for a meniscus, its own for none.

    Columns beside the glare that show a level too take the doubt away, and so does a level
    of its kind that both witnesses see.
    """
    found: list[Reason] = []
    for k, (at, level) in enumerate(zip(near, levels, strict=True)):
        bore = at.bore_rows(known)
        axis = 0.5 * (len(at.grid.across) - 1)
        middle = (axis - GLARE_MIDDLE * bore / 2, axis + GLARE_MIDDLE * bore / 2)
        row, reach = at.grid.row_at(level.height), GLARE_REACH * bore
        high = burnt_rows(at.uncovered, (row - reach, row + reach), middle) / bore
        clear = level.clear_of_glare
        doubtful = clear is False or (high >= GLARE_HEIGHT and clear is None)
        if doubtful and not _is_borne_out(level, stated_kind(known, limb, k), split):
            found.append(reason("glare_on_level", limb=limb))
    return tuple(found)
