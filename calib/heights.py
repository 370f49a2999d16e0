"""Heights of the levels on the scale, with every component of their uncertainty.

The meniscus is fitted on the tube's axis in the straightened picture
(`limbsight.calib.rectify`), whose rows are scale values at the depth of the axis; what is left
is to say how well the map, the camera's distance, the tube's depth and the fit are known.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from limbsight.calib.meniscus import (
    COVERAGE_FACTOR,
    ApexFit,
    FluidOptics,
    MeniscusPhysics,
    TubeView,
)
from limbsight.calib.meniscus_fit import fit_apex
from limbsight.calib.meniscus_outcome import AMBIGUITY_LIMIT, MISFIT_LIMIT
from limbsight.calib.meniscus_picture import is_gas
from limbsight.calib.meniscus_profile import window_m
from limbsight.calib.meniscus_rivals import BESIDE
from limbsight.calib.rectify import Grid
from limbsight.calib.rim import Rim, apex_from_rim, find_rim
from limbsight.calib.scale_map import ScaleMap
from limbsight.vision.dark_line import DarkLine, dark_line, stands_out
from limbsight.vision.picture import brightness_alone

FloatArray = NDArray[np.float64]
ROOT3 = float(np.sqrt(3.0))
Columns = NDArray[np.intp]

AXIS_COLUMNS_SHARE = 0.2
"""Half of the width averaged about the axis, in bore radii: the meniscus rises by 2 % of the
radius over it, a reflection covers less."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Where the apex is looked for [bores]: about its place above the strongest step of the
    picture, which marks the rim, the black band or the mirror's edge; or nearer about where
    the apex itself is seen."""

    apex_above_step: float
    reach: float
    reach_seen: float


SEARCH_LIQUID_UNDER_GAS = Search(apex_above_step=-0.40, reach=0.45, reach_seen=0.30)
SEARCH_LIQUID_UNDER_LIQUID = Search(apex_above_step=-0.12, reach=0.40, reach_seen=0.40)
SEARCH_MIRROR = Search(apex_above_step=0.25, reach=0.55, reach_seen=0.55)
"""Middle and reach that hold all but one in a hundred of 190 levels of sample photos and
renders (bores 3 mm to 12 mm, elevations to 20 degrees).  The level network sees the apex
nearer: of 737 levels of four sets of photos all but one in a hundred are within 0.15 bores of
its place under gas, 0.21 under a liquid, 0.28 at most; twice that, and between liquids all
that was looked at before, so that other places stay in sight."""


AMBIGUOUS = "level_ambiguous"
"""Doubt of a fit that finds other places about as good."""
NOT_SEEN = "meniscus_not_seen"
"""Doubt of a fit that explains no more than a smooth profile would."""
UNLIKE = ("meniscus_unlike_model", NOT_SEEN)
"""Doubts of one whose picture is not that of a meniscus."""
DOUBTED = 2.0
"""Uncertainty of a fit beside the axis that does not look like a meniscus, over what it states
(common practice, no source)."""
BESIDE_SHARE = 0.03
"""Of the bore, by which fits beside the axis differ from those on it (root mean square of 13
beside reflections of lamps, drawn photos)."""
SECOND_REACH = 0.5
"""Share of the first search, about what it found, when that did not look like a meniscus."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeGeometry:
    """Tube dimensions with standard uncertainties [m]."""

    bore_radius_m: float
    u_bore_radius_m: float
    outer_radius_m: float
    axis_to_scale_m: float
    u_axis_to_scale_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One part of a height's uncertainty [scale units, signed where it is shared]."""

    name: str
    standard_uncertainty: float
    shared_key: str | None
    sign: float
    kind: Literal["A", "B"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFit:
    """One level on the scale.

    Attributes
    ----------
    height
        Apex of the meniscus, upward scale units, corrected for parallax.
    x_px, y_px
        Where the straight line of sight to the apex meets the picture.
    components
        Independent of each other; equal ``shared_key`` means fully correlated.
    apex
        The fit itself.
    clear_of_glare
        Whether columns beside what is burnt out at the axis show a level too, which the
        interval then holds; None where nothing is burnt out there.  The lower edge of glare
        passes for a meniscus, but ends where the glare does.
    """

    height: float
    x_px: float
    y_px: float
    components: tuple[Component, ...]
    apex: ApexFit
    clear_of_glare: bool | None = None

    @property
    def standard_uncertainty(self) -> float:
        """Root sum of squares of the components [scale units]."""
        return float(np.sqrt(sum(c.standard_uncertainty**2 for c in self.components)))

    def uncertainty_without(self, names: tuple[str, ...]) -> float:
        """Root sum of squares of the components not named so [scale units]."""
        rest = (c.standard_uncertainty for c in self.components if c.name not in names)
        return float(np.sqrt(sum(u**2 for u in rest)))


def fit_level(
    strip: NDArray[np.float32],
    grid: Grid,
    row: float,
    *,
    apex_seen: bool = False,
    scale_map: ScaleMap,
    unit_m: float,
    tube: TubeGeometry,
    below: FluidOptics,
    above: FluidOptics,
    interface: MeniscusPhysics,
    u_axis_m: float = 0.0,
    line_pitch_m: float = 0.0,
    burnt: NDArray[np.bool_] | None = None,
    limb: str,
) -> LevelFit:
    """Fit one meniscus and carry it to the scale.

    Parameters
    ----------
    strip : ndarray, shape (R, C, 3), float32
        Linear light, RGB, sampled on ``grid``; the tube's axis in the middle column.
    row
        Rough row of the interface: of the strongest step, or of the apex.
    apex_seen
        Whether it is of the apex.
    unit_m
        Metres per scale unit.
    u_axis_m
        Standard uncertainty of the axis across the tube.
    line_pitch_m
        Distance of the graduations that are seen through the tube; 0 where there are none.
    burnt : ndarray, shape (C,), bool, optional
        Columns that are burnt out about the level.
    limb
        Names the components that are this limb's own.
    """
    here = _Surroundings(
        strip=strip,
        grid=grid,
        scale_map=scale_map,
        unit_m=unit_m,
        tube=tube,
        below=below,
        above=above,
        interface=interface,
        line_pitch_m=line_pitch_m,
        apex_seen=apex_seen,
    )
    found = _found(here, row, burnt, u_axis_m / tube.bore_radius_m)
    height = grid.value_at(found.apex_row)
    x, y = here.pixel_of(height)
    seen_by = partial(_height_seen_by, here, found)
    by_parameter, by_focal = scale_map.true_sensitivity(x, y, grid.in_front)
    components = (
        *_map_components(scale_map, by_parameter),
        _focal_component(scale_map, x, y, grid.in_front, by_focal, seen_by),
        *_centre_components(scale_map, x, y, grid.in_front, seen_by),
        _depth_component(scale_map, height, tube.u_axis_to_scale_m / unit_m, grid.in_front),
        *_apex_components(found.fit, grid.step, limb),
        _axis_component(tube, u_axis_m, unit_m),
    )
    return LevelFit(
        height=height,
        x_px=x,
        y_px=y,
        components=components,
        apex=found.fit,
        clear_of_glare=found.clear_of_glare,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """A fit, the row its position counts from, the columns it was made in, and how far fits
    in other columns have moved it."""

    row: float
    fit: ApexFit
    band: Band
    clear_of_glare: bool | None = None
    moved_px: float = 0.0

    @property
    def apex_row(self) -> float:
        return self.row - self.fit.position_px

    @property
    def own_row(self) -> float:
        """What the columns of the band say by themselves."""
        return self.apex_row + self.moved_px

    @property
    def has_place(self) -> bool:
        return bool(np.isfinite(self.fit.position_px))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Surroundings:
    """What one level is fitted in; see ``fit_level``."""

    strip: NDArray[np.float32]
    grid: Grid
    scale_map: ScaleMap
    unit_m: float
    tube: TubeGeometry
    below: FluidOptics
    above: FluidOptics
    interface: MeniscusPhysics
    line_pitch_m: float
    apex_seen: bool

    @property
    def axis(self) -> float:
        return float(0.5 * (self.strip.shape[1] - 1))

    @property
    def across(self) -> float:
        return self.grid.across_at(self.axis)

    @property
    def bore_rows(self) -> float:
        return 2 * self.tube.bore_radius_m / (self.grid.step * self.unit_m)

    @property
    def first_reach(self) -> float:
        search = _search(self.below, self.above)
        return (search.reach_seen if self.apex_seen else search.reach) * self.bore_rows

    @property
    def second_reach(self) -> float:
        return SECOND_REACH * self.first_reach

    @property
    def on_axis(self) -> Band:
        return self.beside(0.0)

    def beside(self, aside_rows: float) -> Band:
        return _band(self.axis, self.bore_rows, aside_rows)

    def view(self, row: float, scale_map: ScaleMap) -> TubeView:
        """How a camera sees the tube at a row."""
        return _view(
            scale_map,
            self.grid.value_at(row),
            self.across,
            self.unit_m,
            self.tube,
            1 / (self.grid.step * self.unit_m),
        )

    @property
    def aside_rad(self) -> float:
        """Direction of the sight against the board's normal, positive toward later columns."""
        away = self.scale_map.plane().distance - self.grid.in_front
        return math.atan2(self.across, away)

    def pixel_of(self, height: float) -> tuple[float, float]:
        """Where the axis at a height meets the picture."""
        plane = self.scale_map.plane()
        x, y = plane.to_pixel(np.array(self.across), np.array(height), self.grid.in_front)
        return float(x), float(y)

    def fit(
        self,
        middle: float,
        reach: float,
        band: Band,
        *,
        with_lines: bool = True,
        with_colours: bool = True,
        seen_by: ScaleMap | None = None,
    ) -> ApexFit:
        """Fit the apex within ``reach`` rows of a row, by one band of columns."""
        view = replace(
            self.view(middle, seen_by or self.scale_map),
            line_pitch_m=self.line_pitch_m if with_lines else 0.0,
        )
        rows = _rows_about(self.strip, middle, reach, view, self.interface)
        pixels = self.strip[np.ix_(rows, band.columns)].astype(np.float64)
        if not with_colours:
            pixels = brightness_alone(pixels)
        return fit_apex(
            middle - rows.astype(float),
            pixels.mean(axis=1),
            view,
            self.below,
            self.above,
            self.interface,
            vertical_search_px=reach,
            profile_columns=pixels,
            half_width_px=band.half_width,
            aside_px=band.aside,
            beside=self._beside(rows) if with_colours and band.off(self.axis) < 0.5 else (),
        )

    def _beside(self, rows: Columns) -> list[FloatArray]:
        """Profiles beside the axis of a level between liquids, in rows."""
        if is_gas(self.above) or self.below.opaque_mirror:
            return []
        # Inside, things seem wider by the index.
        index = 0.5 * (self.below.refractive_index + self.above.refractive_index)
        aside = BESIDE * index * 0.5 * self.bore_rows
        bands = [self.beside(way * aside).columns for way in (-1, 1)]
        return [
            self.strip[np.ix_(rows, columns)].astype(np.float64).mean(axis=1)
            for columns in bands
            if columns[0] >= 0 and columns[-1] < self.strip.shape[1]
        ]


def is_faint(fit: ApexFit) -> bool:
    """Whether a fit explains no more than a smooth profile would, but leaves little open."""
    return fit.reason == NOT_SEEN and fit.misfit <= MISFIT_LIMIT


def _found(
    here: _Surroundings, row: float, burnt: NDArray[np.bool_] | None, u_axis_share: float
) -> _Found:
    """Find the apex; of a mirror from the rim of its dome, where that is seen."""
    rim = _rim(here, row, burnt) if here.below.opaque_mirror else None
    if rim is None:
        return _compared(here, _first_fit(here, row), burnt, u_axis_share)
    glare = burnt is not None and bool(burnt.any())
    if not glare or rim.beyond_edge >= DOME_SHOWN:
        by_rim = _by_rim(here, rim, burnt, alone=glare)
        if by_rim:
            return by_rim
    found = _compared(here, _first_fit(here, row), burnt, u_axis_share)
    if found.fit.ok:
        found = _borne_out_by(here, rim, found)
    if glare and rim.beyond_edge < NO_DOME:
        found = replace(found, clear_of_glare=False)
    return found


def _rim(here: _Surroundings, row: float, burnt: NDArray[np.bool_] | None) -> Rim | None:
    """Look for the rim in columns clear of glare, and where they are too few next to it, too:
    a column of mercury that mirrors a lamp is burnt out up to its rim by nature."""
    search = partial(
        find_rim,
        here.strip,
        row,
        here.view(row, here.scale_map),
        here.interface,
        aside_rad=here.aside_rad,
    )
    rim = search(unseen=_unseen(here, burnt))
    return search(unseen=burnt) if rim is None and burnt is not None else rim


def _unseen(here: _Surroundings, burnt: NDArray[np.bool_] | None) -> NDArray[np.bool_]:
    if burnt is None:
        return np.zeros(here.strip.shape[1], dtype=bool)
    return _with_rims(burnt, here.bore_rows)


def _by_rim(
    here: _Surroundings, rim: Rim, burnt: NDArray[np.bool_] | None, *, alone: bool
) -> _Found | None:
    """Mean of what the rim says and of fits on and beside the axis, begun there.

    Lamps in the dome draw fits to places which the rim rules out.  Where no band that glare
    leaves looks like a meniscus the rim stands ``alone``, or not at all.
    """
    row, seen = apex_from_rim(rim, here.view(rim.row, here.scale_map), here.interface)
    unseen = _unseen(here, burnt)
    reach = max(COVERAGE_FACTOR * seen.u_px, LEAST_REACH_PX)
    bands = [here.beside(way * 0.5 * ASIDE * here.bore_rows) for way in (0, -1, 1)]
    clear = [band for band in bands if not unseen[band.columns].any()]
    fits = [(here.fit(row, reach, band), band) for band in clear]
    likely = [(fit, band) for fit, band in fits if fit.ok]
    if not likely:
        found = _Found(row=row, fit=seen, band=here.on_axis, clear_of_glare=True)
        return found if alone else None
    (first, band), *rest = likely
    fit = _mean_of_all([_mean_of_all([first, *(fit for fit, _ in rest)]), seen])
    return _Found(
        row=row,
        fit=fit,
        band=band,
        clear_of_glare=True,
        moved_px=fit.position_px - first.position_px,
    )


def _borne_out_by(here: _Surroundings, rim: Rim, found: _Found) -> _Found:
    """Take the mean with what the rim says."""
    row, seen = apex_from_rim(rim, here.view(rim.row, here.scale_map), here.interface)
    seen = replace(seen, position_px=found.row - row)
    fit = _mean_of_all([found.fit, seen])
    moved = found.moved_px + fit.position_px - found.fit.position_px
    return replace(found, fit=fit, moved_px=moved)


def _first_fit(here: _Surroundings, row: float) -> _Found:
    """Fit about the place seen; once more about the apex where that did not hold."""
    if not here.apex_seen:
        row -= _search(here.below, here.above).apex_above_step * here.bore_rows
    fit = here.fit(row, here.first_reach, here.on_axis)
    if not fit.ok and np.isfinite(fit.position_px):
        # The window was laid about a guess; about the apex itself the picture is clearer.
        # Rivals must stay in the search: none is disproved by not being looked at.
        row -= fit.position_px
        rivals = fit.reason == AMBIGUOUS
        fit = here.fit(row, here.first_reach if rivals else here.second_reach, here.on_axis)
    return _Found(row=row, fit=fit, band=here.on_axis)


def _compared(
    here: _Surroundings, found: _Found, burnt: NDArray[np.bool_] | None, u_axis_share: float
) -> _Found:
    """Hold the fit against what other columns, and one without lines, say."""
    aside = _clear_of_streaks(here.strip, here.axis, found.row, here.bore_rows)
    ambiguous = found.fit.reason == AMBIGUOUS
    if burnt is not None and burnt[here.on_axis.columns].any():
        found = (
            _dome_beside_burnt(here, found, burnt)
            if here.below.opaque_mirror
            else _beside_burnt(here, found, burnt, u_axis_share)
        )
    elif (found.fit.ok or ambiguous) and _mirrors_room(here, found):
        found = _beside(here, found, streak=aside > 0.0)
    elif found.fit.reason in UNLIKE and here.below.opaque_mirror:
        found = _by_both_sides(here, found)
    elif found.fit.ok and aside:
        other = here.fit(found.apex_row, here.first_reach, here.beside(aside))
        found = replace(found, fit=_with_reflection(found.fit, other))
    elif ambiguous:
        sides = _side_fits(here, found, here.second_reach)
        found = replace(found, fit=_settled(found.fit, sides))
    if here.line_pitch_m and found.has_place:
        plain = here.fit(found.own_row, here.first_reach, found.band, with_lines=False)
        found = replace(found, fit=_widened(found.fit, "lines behind", plain.position_px))
    if here.bore_rows < COARSE_COLOURS_BORE_PX and found.has_place:
        grey = here.fit(found.own_row, COLOURS_REACH_PX, found.band, with_colours=False)
        found = replace(found, fit=_widened(found.fit, "colours", grey.position_px))
    return found


def _side_fits(here: _Surroundings, found: _Found, reach: float) -> list[ApexFit]:
    sides = [here.beside(way * 0.5 * ASIDE * here.bore_rows) for way in (-1, 1)]
    return [here.fit(found.apex_row, reach, side) for side in sides]


def _with_rims(burnt: NDArray[np.bool_], bore_rows: float) -> NDArray[np.bool_]:
    """Take the columns next to burnt ones with them."""
    rim = max(round(GLARE_RIM * bore_rows), LEAST_RIM_PX)
    return np.asarray(binary_dilation(burnt, iterations=rim))


def _beside_burnt(
    here: _Surroundings, found: _Found, burnt: NDArray[np.bool_], u_axis_share: float
) -> _Found:
    """Let columns beside what is burnt out bear the level out, or show it in its stead."""
    rimmed = _with_rims(burnt, here.bore_rows)
    beside = _clear_band(rimmed, here.axis, here.bore_rows, TRACED_SHARE)
    # Few columns see what the rim of a spot leaves: they bear a fit out, no more.
    if beside is not None and found.has_place and (found.fit.ok or _is_whole(here, beside)):
        other = here.fit(found.apex_row, here.first_reach, beside)
        if found.fit.ok:
            borne_out = _borne_out(here, found, other)
            if borne_out.clear_of_glare:
                return borne_out
        elif other.ok:
            seen = _Found(row=found.apex_row, fit=other, band=beside)
            in_its_stead = _in_its_stead(here, seen, u_axis_share)
            if in_its_stead is not None:
                return in_its_stead
    return _next_to_burnt(here, found, burnt)


def _next_to_burnt(here: _Surroundings, found: _Found, burnt: NDArray[np.bool_]) -> _Found:
    """Let columns next to what is burnt out bear a level under gas out by its dark line.

    What is added there rises and falls as the rim of a spot does, and may pass for a meniscus;
    but light that is added makes nothing darker than what is above and below it.
    """
    next_to = _clear_band(burnt, here.axis, here.bore_rows, TRACED_SHARE)
    bore, row = here.bore_rows, found.apex_row

    def line_at(bores: float) -> DarkLine | None:
        return dark_line(here.strip, row + bores * bore, bore, burnt=burnt)

    seen = found.fit.ok and is_gas(here.above) and stands_out(line_at)
    if next_to is None or not seen:
        return replace(found, clear_of_glare=False)
    other = here.fit(row, here.first_reach, next_to)
    return _borne_out(here, found, replace(other, ok=other.ok or is_faint(other)))


def _dome_beside_burnt(here: _Surroundings, found: _Found, burnt: NDArray[np.bool_]) -> _Found:
    """Let columns beside what is burnt out bear the level of a mirror out.

    A column of mercury mirrors lamps up to its level, which burns it out by nature: columns
    next to that see the level as well, unless those farther off see another.  What a dome
    shows beside its axis is another part of the room: alone it is no witness.
    """
    bands = [
        _clear_band(out, here.axis, here.bore_rows, SEEN_SHARE)
        for out in (burnt, _with_rims(burnt, here.bore_rows))
    ]
    whole = [band for band in bands if band is not None and _is_whole(here, band)]
    if not whole or not found.fit.ok:
        return replace(found, clear_of_glare=False)
    others = [here.fit(found.apex_row, here.first_reach, band) for band in whole]
    borne_out = [_borne_out(here, found, other) for other in others]
    clear = borne_out[0].clear_of_glare and all(
        one.clear_of_glare or not other.ok
        for one, other in zip(borne_out, others, strict=True)
    )
    return replace(borne_out[0], clear_of_glare=clear)


def _borne_out(here: _Surroundings, found: _Found, other: ApexFit) -> _Found:
    """Widen a fit by what one beside glare differs, and say whether that is the same level."""
    return replace(
        found,
        fit=_widened(found.fit, "reflection", other.position_px),
        clear_of_glare=_same_level(found.fit, other, BESIDE_SHARE * here.bore_rows),
    )


def _is_whole(here: _Surroundings, band: Band) -> bool:
    """Whether a band has as many columns as the one on the axis."""
    return len(band.columns) >= len(here.on_axis.columns)


def _in_its_stead(here: _Surroundings, beside: _Found, u_axis_share: float) -> _Found | None:
    """Take the level that columns beside glare show, where the axis shows none.

    They were searched about where the axis had something else, and the window may have cut
    the meniscus: about the level itself they must show it again.
    """
    again = here.fit(beside.apex_row, here.first_reach, beside.band)
    u_beside = BESIDE_SHARE * here.bore_rows
    if not (again.ok and _same_level(beside.fit, again, u_beside)):
        return None
    off = u_axis_share * beside.band.off(here.axis)
    return replace(
        beside,
        row=beside.apex_row,
        fit=_beside_glare(again, off, u_beside),
        clear_of_glare=True,
    )


def _height_seen_by(here: _Surroundings, found: _Found, other: ScaleMap) -> float:
    """Height of the level if the camera were that of another map."""
    again = here.fit(found.own_row, here.second_reach, found.band, seen_by=other)
    shift = again.position_px if again.ok else 0.0
    at = here.pixel_of(here.grid.value_at(found.apex_row - shift))
    # The print is seen where it is, whatever the camera.
    seen = float(here.scale_map.value_at(*at))
    pose = other.pose()
    rest = 1.0 - here.grid.in_front / pose.distance
    return pose.opposite_value + (seen - pose.opposite_value) * rest


def _rows_about(
    strip: NDArray[np.float32],
    row: float,
    reach: float,
    view: TubeView,
    interface: MeniscusPhysics,
) -> Columns:
    """Rows that the fit of a level about ``row`` asks for, bottom to top."""
    low, high = window_m(view, interface)
    first = max(int(np.ceil(row - high * view.px_per_m - reach - 2)), 0)
    last = min(int(np.floor(row + low * view.px_per_m + reach + 2)), len(strip) - 1)
    return np.arange(last, first - 1, -1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """Columns that are averaged for a fit.

    Attributes
    ----------
    columns : ndarray, shape (N,)
    half_width
        Half the width of a band about its middle that is as far from there (root mean square).
    aside
        Distance of the middle from the axis, of columns on one side.
    """

    columns: Columns
    half_width: float
    aside: float = 0.0

    def off(self, axis: float) -> float:
        """Return how far the middle of the columns lies from the axis."""
        return abs(float(np.mean(self.columns - axis)))


def _band(axis: float, bore_rows: float, aside: float = 0.0) -> Band:
    half = max(AXIS_COLUMNS_SHARE * 0.5 * bore_rows, 0.5)
    return Band(columns=_columns(axis + aside, half), half_width=half, aside=abs(aside))


def _columns(middle: float, half: float) -> Columns:
    first = int(np.ceil(middle - half - 0.5))
    return np.arange(first, int(np.floor(middle + half + 0.5)) + 1)


def _clear_band(
    burnt: NDArray[np.bool_], axis: float, bore_rows: float, share: float
) -> Band | None:
    """Find columns nearest to the axis that are not burnt out, half a band's at least, within
    a share of the bore."""
    aside = np.abs(np.arange(len(burnt)) - axis)
    clear = np.flatnonzero(~burnt & (aside <= 0.5 * share * bore_rows))
    count = len(_band(axis, bore_rows).columns)
    if 2 * len(clear) < count:
        return None
    nearest = np.sort(clear[np.argsort(aside[clear], kind="stable")][:count])
    half_width = ROOT3 * np.sqrt(np.mean(np.square(nearest - axis)))
    return Band(columns=nearest, half_width=float(half_width))


def _same_level(fit: ApexFit, other: ApexFit, u_beside_px: float) -> bool:
    """Whether one beside a fit, begun there, finds the same level.

    One that finds another place as good must have come to this one; one that sees nothing
    like a meniscus may have stayed where it began.
    """
    if not (other.ok or other.reason == AMBIGUOUS):
        return False
    rest = _u_without_rivals(other)
    return abs(other.position_px) < COVERAGE_FACTOR * math.hypot(fit.u_px, rest, u_beside_px)


def _beside_glare(other: ApexFit, u_axis_px: float, u_beside_px: float) -> ApexFit:
    """Take over a fit of columns beside glare, where nothing was seen through it.

    Where they lie on one side, a doubt about the axis moves them up or down the meniscus,
    which is at most as steep as a sphere as wide as the bore.
    """
    fit = _widened(other, "axis beside glare", u_axis_px * ROOT3)
    return _widened(fit, "beside glare", u_beside_px * ROOT3)


def _clear_of_streaks(
    strip: NDArray[np.float32], axis: float, row: float, bore_rows: float
) -> float:
    """How far from the axis there is no reflection of a lamp [columns]; 0 if there is none
    at the axis, or one everywhere.

    A streak is brighter than most of the bore, over most of the rows above or below.
    """
    radius, middle = 0.5 * bore_rows, round(row)
    half = max(AXIS_COLUMNS_SHARE * radius, 0.5)
    cut = strip[max(middle - round(bore_rows), 0) : middle + round(bore_rows)]
    if len(cut) < bore_rows:
        return 0.0
    most = np.median(cut[:, _columns(axis, SEEN_SHARE * radius)], axis=1)
    level = max(float(np.median(most)), 1e-6)

    def streak(aside: float) -> float:
        over = np.median(cut[:, _columns(axis + aside, half)], axis=1) - most
        parts = np.array_split(over.min(axis=1), 2)
        return max(float(np.median(part)) for part in parts) / level

    places = ASIDE * radius * np.array([0.0, -1.0, 1.0])
    found = np.array([streak(float(place)) for place in places])
    if found[0] < STREAK or found.min() > 0.5 * found[0]:
        return 0.0
    return float(places[found.argmin()])


def _with_reflection(fit: ApexFit, other: ApexFit) -> ApexFit:
    """Widen a fit through a reflection by how far one beside it, begun there, differs.

    Which of them is right is not known: rectangular, the difference its half width.  Beside
    the axis the picture is traced less exactly, so its position is not taken over.  Where
    nothing like a meniscus is seen beside it, the reflection may have been fitted.
    """
    if not other.ok:
        return replace(fit, ok=False, reason=other.reason)
    return _widened(fit, "reflection", other.position_px)


def _beside(here: _Surroundings, found: _Found, *, streak: bool) -> _Found:
    """Let fits left and right of the axis have their say, where a level mirrors the room.

    Beside the axis a dome shows the room in other directions, and lamps and windows that can
    be taken for its crown or hide it lie elsewhere or not at all.  Those fits must be free to
    find what the axis has missed.
    """
    sides = _side_fits(here, found, here.first_reach)
    if streak and not any(side.ok for side in sides):
        # The reflection may have been fitted.
        return replace(found, fit=replace(found.fit, ok=False, reason=sides[0].reason))
    return _averaged(found, [side for side in sides if np.isfinite(side.position_px)])


def _by_both_sides(here: _Surroundings, found: _Found) -> _Found:
    """Let fits left and right of the axis show the level of a mirror that the axis hides.

    There mercury shows the room behind the camera, which may be as bright as the board, or a
    lamp; aside, other parts of the room.
    """
    sides = _side_fits(here, found, here.first_reach)
    return _averaged(found, sides) if _agree(*sides) else found


def _averaged(found: _Found, sides: list[ApexFit]) -> _Found:
    """Take the mean with fits begun there, and keep what the columns say by themselves."""
    fit = _mean_of(found.fit, sides)
    return replace(found, fit=fit, moved_px=fit.position_px - found.fit.position_px)


def _agree(left: ApexFit, right: ApexFit) -> bool:
    """Whether both look like a meniscus, at one height."""
    reach = COVERAGE_FACTOR * math.hypot(left.u_px, right.u_px)
    return left.ok and right.ok and abs(left.position_px - right.position_px) <= reach


def _mirrors_room(here: _Surroundings, found: _Found) -> bool:
    return here.below.opaque_mirror or _shows_lamp(here, found)


def _shows_lamp(here: _Surroundings, found: _Found) -> bool:
    """Whether a level between liquids is brighter, in some colour, than both of them are.

    They only take light from the board: what is added is a lamp's, thrown back where the
    lower liquid bends light less than the upper one.
    """
    if is_gas(here.above) or not found.has_place:
        return False
    bore, row = here.bore_rows, found.apex_row
    across = np.median(here.strip[:, here.on_axis.columns], axis=1)

    def rows(first: float, last: float) -> NDArray[np.float32]:
        low, high = (max(round(row + bores * bore), 0) for bores in (first, last))
        return across[low : high + 1]

    above, level, below = rows(-1.2, -0.7), rows(-0.6, 0.4), rows(0.5, 1.0)
    count = max(round(LAMP_HEIGHT * bore), 2)
    if min(len(above), len(level) - count, len(below)) < 1:
        return False
    liquids = np.maximum(np.median(above, axis=0), np.median(below, axis=0))
    shown = np.sort(level, axis=0)[-count]
    return bool(np.max(shown - liquids) > STREAK * liquids.max())


def _mean_of(fit: ApexFit, others: list[ApexFit]) -> ApexFit:
    """Weighted mean of a fit and others begun there.

    What is known only roughly is common to all, so uncertainties average as they stand; what
    the fits differ by adds the standard deviation of their mean.  One that does not look like
    a meniscus counts as twice as uncertain.
    """
    fits = [replace(fit, position_px=0.0), *others]
    likely = [one.ok or one.reason == AMBIGUOUS for one in fits]
    u = np.array([one.u_px for one in fits]) * np.where(likely, 1.0, DOUBTED)
    weight = u**-2.0 / np.sum(u**-2.0)
    position = np.array([one.position_px for one in fits])
    mean = float(weight @ position)
    components = {
        name: float(weight @ [one.u_components_px.get(name, 0.0) for one in fits])
        for name in fit.u_components_px
    }
    rivals = components["ambiguity"]
    statistical = float(weight @ [one.u_statistical_px for one in fits])
    apart = weight @ np.square(position - mean) / max(len(others), 1)
    components["room"] = float(np.hypot(components.get("room", 0.0), np.sqrt(apart)))
    u_model = float(np.sqrt(sum(u * u for u in components.values())))
    sure = float(np.sqrt(max(u_model**2 - rivals**2, 0.0) + statistical**2))
    ambiguous = not fit.ok and rivals > AMBIGUITY_LIMIT * sure
    return replace(
        fit,
        position_px=fit.position_px + mean,
        u_statistical_px=statistical,
        u_components_px=components,
        u_model_px=u_model,
        ok=not ambiguous,
        reason=AMBIGUOUS if ambiguous else "",
    )


def _mean_of_all(fits: list[ApexFit]) -> ApexFit:
    """Weighted mean of fits with positions counted from one row."""
    first, *others = fits
    if not others:
        return first
    return _mean_of(
        first,
        [replace(one, position_px=one.position_px - first.position_px) for one in others],
    )


def _widened(fit: ApexFit, name: str, half_width_px: float) -> ApexFit:
    """Add what another fit, begun there, differs by, as the half width of a rectangle.

    For lines behind the tube that fit leaves them out of the model: where a line beside the
    meniscus can be taken for part of it, the two part.
    """
    components = {**fit.u_components_px, name: float(abs(half_width_px) / np.sqrt(3.0))}
    return replace(
        fit,
        u_components_px=components,
        u_model_px=float(np.sqrt(sum(u * u for u in components.values()))),
    )


def _u_without_rivals(fit: ApexFit) -> float:
    """Standard uncertainty of one of the places of a fit that finds several [px]."""
    ambiguity = fit.u_components_px.get("ambiguity", 0.0)
    return math.sqrt(max(fit.u_px**2 - ambiguity**2, 0.0))


def _settled(fit: ApexFit, others: list[ApexFit]) -> ApexFit:
    """Drop the rivals of a fit that those left and right of the axis, begun there, confirm.

    Rims and the limit of total reflection, which may be taken for each other, rise away from
    the axis, each by its own law; the apex stays where it is.  A fit that has rivals of its
    own confirms nothing (two levels of one photo of 108 were 1 mm off at u 0.3).
    """
    farthest = max(abs(other.position_px) for other in others)
    if not all(
        other.reason != AMBIGUOUS
        and abs(other.position_px) < np.hypot(_u_without_rivals(fit), _u_without_rivals(other))
        for other in others
    ):
        return fit
    components = {**fit.u_components_px, "ambiguity": farthest}
    u_model = float(np.sqrt(sum(u * u for u in components.values())))
    return replace(fit, u_components_px=components, u_model_px=u_model, ok=True, reason="")


SEEN_SHARE = 0.7
"""Part of the bore that is compared with a band of columns, rims left out."""
TRACED_SHARE = 0.9
"""Part of the bore in which a level can be fitted: of 58 levels under gas, seen in columns at
0.85 of the bore's radius, 56 look like a meniscus, 0.07 bores off the axis' fit at most."""
GLARE_RIM, LEAST_RIM_PX = 0.05, 2
"""Beside what is burnt out a column is next to it for so many bores, and pixels, by which a
photo is blurred. Rims of spots that fade over a tenth of their width, not burnt out
themselves, were taken for levels in six of 450 photos with spots and streaks drawn beside
levels."""
DOME_SHOWN, NO_DOME = 1.5, 1.0
"""Beside glare a column may be a sleeve of metal, whose end is no more than an edge.  Of 85
ends of sleeves and tape drawn over levels of mercury 79 differ from one by less than 1.5 times
the scatter, 48 by less than the scatter; of 120 levels 26 and four, all of them in small bores
or seen from below."""
COARSE_COLOURS_BORE_PX, COLOURS_REACH_PX = 24.0, 3.0
"""A JPEG keeps colours of every second pixel.  In bores of fewer pixels the apex is fitted in
brightness alone, too, as far as colours may have moved it.  Of 154 levels of sample photos
made smaller 93 % were in their interval, 98 % with what the two differ by; of 125 in larger
bores all were."""
LEAST_REACH_PX = 2.0
"""How far a fit may come from where a rim says the apex is."""
ASIDE = 0.4
"""Where to look beside a reflection, in bore radii: twice half the width of a band."""
LAMP_HEIGHT = 0.05
"""Bores over which a level is brighter than its liquids where it mirrors a lamp: a fifth of
its own height, more than the halo of a sharpened edge."""
STREAK = 0.1
"""Brighter than most of the bore by so much of its brightness, in all colours: three times
what the model may miss."""


def _search(below: FluidOptics, above: FluidOptics) -> Search:
    if below.opaque_mirror:
        return SEARCH_MIRROR
    return SEARCH_LIQUID_UNDER_GAS if is_gas(above) else SEARCH_LIQUID_UNDER_LIQUID


def _view(
    scale_map: ScaleMap,
    height: float,
    across: float,
    unit_m: float,
    tube: TubeGeometry,
    px_per_m: float,
) -> TubeView:
    plane = scale_map.plane()
    away = float(np.hypot(plane.distance - tube.axis_to_scale_m / unit_m, across))
    rise = plane.opposite_value - height
    elevation = float(np.arctan2(rise, away))
    # The focal length scales the distance; tilt of the plane moves the camera's height.
    relative = scale_map.frame.focal_relative_uncertainty
    u_elevation = float(np.hypot(0.5 * np.sin(2 * elevation) * relative, U_TILT_RAD))
    return TubeView(
        bore_radius_m=tube.bore_radius_m,
        outer_radius_m=tube.outer_radius_m,
        u_bore_radius_m=tube.u_bore_radius_m,
        axis_to_board_m=max(tube.axis_to_scale_m, tube.outer_radius_m + BOARD_GAP_M),
        elevation_rad=elevation,
        u_elevation_rad=u_elevation,
        distance_m=float(np.hypot(away, rise)) * unit_m,
        px_per_m=px_per_m,
    )


U_TILT_RAD = 0.005
"""Standard uncertainty of the camera's elevation from the map itself: camera heights found on
the sample photos are within 0.5 % of the distance."""
BOARD_GAP_M = 1e-3
"""Least distance of the tube's wall from the board behind (common practice, no source)."""


def _map_components(scale_map: ScaleMap, by_parameter: FloatArray) -> tuple[Component, ...]:
    variance, vectors = np.linalg.eigh(scale_map.covariance)
    signed = (by_parameter @ vectors) * np.sqrt(np.maximum(variance, 0.0))
    return tuple(
        _shared("scale map", f"scale_map_{k}", float(s), "A") for k, s in enumerate(signed)
    )


def _focal_component(
    scale_map: ScaleMap,
    x: float,
    y: float,
    in_front: float,
    by_focal: float,
    height_seen_by: Callable[[ScaleMap], float],
) -> Component:
    """What the focal length moves a height by.

    One from EXIF moves it along a straight line. A guessed one is off by parts of itself, and
    moves the camera, by its square where the camera looks up or down, and the meniscus seen
    from there: then both ends of the standard uncertainty, which is that of 1 / f, are fitted
    again, and the farther counts.
    """
    relative = scale_map.frame.focal_relative_uncertainty
    signed = by_focal * relative
    if relative >= GUESSED_FOCAL:
        middle = scale_map.true_value_at(x, y, in_front)
        shorter, longer = (
            height_seen_by(scale_map.with_focal(1 / (1 + side * relative))) - middle
            for side in (1.0, -1.0)
        )
        signed = _farther(longer, shorter)
    return _shared("focal length", "focal_length", signed, "B")


def _centre_components(
    scale_map: ScaleMap,
    x: float,
    y: float,
    in_front: float,
    height_seen_by: Callable[[ScaleMap], float],
) -> tuple[Component, ...]:
    """What the principal point moves a height by, in a picture cut out of another.

    The camera then stands elsewhere; the distortion stays about the middle.
    """
    u = scale_map.frame.u_offset_px
    if u == 0.0:
        return ()
    middle = scale_map.true_value_at(x, y, in_front)
    parts = []
    for key, direction in (("centre_x", (u, 0.0)), ("centre_y", (0.0, u))):
        up, down = (
            height_seen_by(scale_map.with_centre(side * direction[0], side * direction[1]))
            - middle
            for side in (1.0, -1.0)
        )
        signed = _farther(up, down)
        parts.append(_shared("focal length", f"scale_map_{key}", signed, "B"))
    return tuple(parts)


def _farther(up: float, down: float) -> float:
    """Size of the greater of two movements, with the sign of going from ``down`` to ``up``."""
    return math.copysign(max(abs(up), abs(down)), up - down)


GUESSED_FOCAL = 0.2
"""Relative uncertainty from which a focal length is a guess and not from EXIF: between 2.5 %
and 40 % (limbsight.calib.scale_map)."""


def _depth_component(
    scale_map: ScaleMap, height: float, u_depth: float, in_front: float
) -> Component:
    pose = scale_map.pose()
    gain = -(height - pose.opposite_value) / (pose.distance - in_front)
    return _shared("axis to scale", "axis_to_scale", gain * u_depth, "B")


def _axis_component(tube: TubeGeometry, u_axis_m: float, unit_m: float) -> Component:
    """Rise of a meniscus that far off its apex: of a sphere as wide as the bore, at most."""
    off = min(u_axis_m, tube.bore_radius_m)
    rise = tube.bore_radius_m - float(np.sqrt(tube.bore_radius_m**2 - off**2))
    return Component(
        name="tube axis",
        standard_uncertainty=rise / unit_m,
        shared_key=None,
        sign=1.0,
        kind="B",
    )


def _apex_components(fit: ApexFit, step: float, limb: str) -> tuple[Component, ...]:
    parts = [
        Component(
            name="meniscus fit",
            standard_uncertainty=fit.u_statistical_px * step,
            shared_key=None,
            sign=1.0,
            kind="A",
        )
    ]
    parts += [
        Component(
            name=f"meniscus {name.replace('_', ' ')}",
            standard_uncertainty=size * step,
            shared_key=None,
            sign=1.0,
            kind="B",
        )
        for name, size in fit.u_components_px.items()
    ]
    return tuple(parts)


def _shared(name: str, key: str, signed: float, kind: Literal["A", "B"]) -> Component:
    return Component(
        name=name,
        standard_uncertainty=abs(signed),
        shared_key=key,
        sign=1.0 if signed >= 0 else -1.0,
        kind=kind,
    )
