"""The strip of a tube about one level, and all that its meniscus is fitted with.

How the camera sees the tube follows from the map; where the apex is looked for, from what is
above and below the level. ``LevelStrip.fit`` fits it in any band of columns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.level_columns import ASIDE, Band, Columns, band_at
from limbsight.calib.meniscus import (
    ApexFit,
    FluidOptics,
    MeniscusPhysics,
    TubeGeometry,
    TubeView,
)
from limbsight.calib.meniscus_fit import fit_apex
from limbsight.calib.meniscus_profile import window_m
from limbsight.calib.meniscus_rivals import BESIDE
from limbsight.calib.meniscus_surroundings import is_gas
from limbsight.calib.rectify import Grid
from limbsight.calib.scale_map import ScaleMap
from limbsight.vision.light import brightness_alone

FloatArray = NDArray[np.float64]

U_TILT_RAD = 0.005
"""Standard uncertainty of the camera's elevation from the map itself: camera heights found on
the sample photos are within 0.5 % of the distance."""
BOARD_GAP_M = 1e-3
"""Least distance of the tube's wall from the board behind (common practice, no source)."""


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
SECOND_REACH = 0.5
"""Share of the first search, about what it found, when that did not look like a meniscus."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelStrip:
    """What one level is fitted in and with; see ``limbsight.calib.heights.fit_level``.

    ``unwetted`` is the interface in a tube that the liquid does not wet, where that is to be
    told.  ``slope`` is that of a slanting level whose columns were shifted until it lay level:
    rows a column by which it falls to the right.
    """

    strip: NDArray[np.float32]
    grid: Grid
    scale_map: ScaleMap
    unit_m: float
    tube: TubeGeometry
    below: FluidOptics
    above: FluidOptics
    interface: MeniscusPhysics
    unwetted: MeniscusPhysics | None
    line_pitch_m: float
    apex_seen: bool
    u_axis_m: float
    slope: float
    burnt: NDArray[np.bool_]

    @property
    def axis(self) -> float:
        """Column of the tube's axis."""
        return float(0.5 * (self.strip.shape[1] - 1))

    @property
    def across(self) -> float:
        """Distance of the axis from the foot of the camera's perpendicular [scale units]."""
        return self.grid.across_at(self.axis)

    @property
    def bore_rows(self) -> float:
        return 2 * self.tube.bore_radius_m / (self.grid.step * self.unit_m)

    @property
    def longer(self) -> float:
        """Length of a slanting surface over its extent across the tube."""
        return math.hypot(1.0, self.slope)

    @property
    def search(self) -> Search:
        """Where the apex is looked for, by what meets at the level."""
        if self.below.opaque_mirror:
            return SEARCH_MIRROR
        return SEARCH_LIQUID_UNDER_GAS if is_gas(self.above) else SEARCH_LIQUID_UNDER_LIQUID

    @property
    def first_reach(self) -> float:
        """Rows up and down within which the apex is looked for."""
        reach = self.search.reach_seen if self.apex_seen else self.search.reach
        return reach * self.bore_rows

    @property
    def second_reach(self) -> float:
        """Rows up and down within which it is looked for once more, about what was found."""
        return SECOND_REACH * self.first_reach

    @property
    def on_axis(self) -> Band:
        """Columns about the axis."""
        return self.beside(0.0)

    def beside(self, aside_rows: float) -> Band:
        """Columns so far from the axis, as many as about it."""
        return band_at(self.axis, self.bore_rows, aside_rows)

    def side(self, way: int) -> Band:
        """Columns left (-1) or right (1) of the axis, clear of a reflection there."""
        return self.beside(way * 0.5 * ASIDE * self.bore_rows)

    def view(self, row: float, seen_by: ScaleMap | None = None) -> TubeView:
        """How the camera, or that of another map, sees the tube at a row.

        About the axis a slanting surface is one that lies level, turned about the direction
        from the front of the tube to its back.  So it is seen in the plane square to it:
        heights are those along the tube by the cosine of its slant, and so are rows; and who
        looks at the tube from the side looks at the surface from above or below.
        """
        scale_map = seen_by or self.scale_map
        tube, plane = self.tube, scale_map.plane()
        ahead = plane.distance - tube.axis_to_scale_m / self.unit_m
        away = float(np.hypot(ahead, self.across))
        rise = plane.opposite_value - self.grid.value_at(row)
        elevation = float(np.arctan2(rise, away))
        aslant = math.tan(elevation) - self.slope * self.across / ahead
        # The focal length scales the distance; tilt of the plane and, in a picture cut out of
        # another, the principal point move the camera's height.
        frame = scale_map.frame
        u_elevation = math.hypot(
            0.5 * math.sin(2 * elevation) * frame.focal_relative_uncertainty,
            frame.u_offset_px / frame.focal_px,
            U_TILT_RAD,
        )
        return TubeView(
            bore_radius_m=tube.bore_radius_m,
            outer_radius_m=tube.outer_radius_m,
            u_bore_radius_m=tube.u_bore_radius_m,
            axis_to_board_m=max(tube.axis_to_scale_m, tube.outer_radius_m + BOARD_GAP_M),
            elevation_rad=math.atan(aslant / self.longer),
            u_elevation_rad=u_elevation,
            distance_m=float(np.hypot(away, rise)) * self.unit_m,
            px_per_m=self.longer / (self.grid.step * self.unit_m),
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
        unwetted: MeniscusPhysics | None = None,
    ) -> ApexFit:
        """Fit the apex within ``reach`` rows of a row, by one band of columns."""
        view = replace(
            self.view(middle),
            line_pitch_m=self.line_pitch_m if with_lines else 0.0,
        )
        rows = self._rows_about(middle, reach, view)
        pixels = self.strip[np.ix_(rows, band.columns)].astype(np.float64)
        if not with_colours:
            pixels = brightness_alone(pixels)
        on_axis = band.off(self.axis) < 0.5
        asked = unwetted is not None or self._is_between_liquids
        return fit_apex(
            middle - rows.astype(float),
            pixels.mean(axis=1),
            view,
            self.below,
            self.above,
            self.interface,
            vertical_search_px=reach,
            profile_columns=pixels,
            # Across, too, the surface is longer than the tube is wide.
            half_width_px=band.half_width * self.longer**2,
            aside_px=band.aside * self.longer**2,
            beside=self._beside(rows) if asked and with_colours and on_axis else (),
            unwetted=unwetted,
        )

    def side_fits(self, row: float, reach: float) -> list[ApexFit]:
        """Fits left and right of the axis, within ``reach`` rows of a row."""
        return [self.fit(row, reach, self.side(way)) for way in (-1, 1)]

    def _rows_about(self, row: float, reach: float, view: TubeView) -> Columns:
        """Rows that the fit of a level about ``row`` asks for, bottom to top."""
        low, high = window_m(view, self.interface)
        first = max(int(np.ceil(row - high * view.px_per_m - reach - 2)), 0)
        last = int(np.floor(row + low * view.px_per_m + reach + 2))
        return np.arange(min(last, len(self.strip) - 1), first - 1, -1)

    @property
    def _is_between_liquids(self) -> bool:
        return not (is_gas(self.above) or self.below.opaque_mirror)

    def _beside(self, rows: Columns) -> list[FloatArray]:
        """Profiles beside the axis, in rows."""
        # Inside, things seem wider by the index.
        index = 0.5 * (self.below.refractive_index + self.above.refractive_index)
        aside = BESIDE * index * 0.5 * self.bore_rows
        bands = [self.beside(way * aside).columns for way in (-1, 1)]
        return [
            self.strip[np.ix_(rows, columns)].astype(np.float64).mean(axis=1)
            for columns in bands
            if columns[0] >= 0 and columns[-1] < self.strip.shape[1]
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundApex:
    """A fit, the row its position counts from, the columns it was made in, how far fits in
    other columns have moved it, and what the first one said about wetting."""

    row: float
    fit: ApexFit
    band: Band
    clear_of_glare: bool | None = None
    moved_px: float = 0.0
    for_wetting: float | None = None

    @property
    def apex_row(self) -> float:
        """Where the apex is."""
        return self.row - self.fit.position_px

    @property
    def own_row(self) -> float:
        """What the columns of the band say by themselves."""
        return self.apex_row + self.moved_px

    @property
    def has_place(self) -> bool:
        """Whether the fit came to any place."""
        return bool(np.isfinite(self.fit.position_px))
