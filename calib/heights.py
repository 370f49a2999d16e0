"""Heights of the levels on the scale, with every component of their uncertainty.

The meniscus is fitted on the tube's axis in the straightened picture
(`limbsight.calib.rectify`), whose rows are scale values at the depth of the axis; what is left
is to say how well the map, the camera's distance, the tube's depth and the fit are known.  The
parts are in modules of their own:

``level_strip``, ``level_columns``
    What a level is fitted in and with, and the columns that are averaged for it.
``level_fits``
    Fits of one apex held against each other: mean, difference, rivals.
``level_reflections``, ``level_glare``, ``level_rim``
    What columns beside the axis and the rim of mercury say where light misleads.
``level_apex``
    Which of these are asked, and what follows for the fit on the axis.
``height_components``
    From the found apex to the components of its height's uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.height_components import Component, components_of
from limbsight.calib.level_apex import find_apex
from limbsight.calib.level_strip import LevelStrip
from limbsight.calib.meniscus import ApexFit, FluidOptics, MeniscusPhysics, TubeGeometry
from limbsight.calib.rectify import Grid
from limbsight.calib.scale_map import ScaleMap


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
    for_wetting
        As of the fit; None, too, where it was not asked about.
    """

    height: float
    x_px: float
    y_px: float
    components: tuple[Component, ...]
    apex: ApexFit
    clear_of_glare: bool | None = None
    for_wetting: float | None = None

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
    unwetted: MeniscusPhysics | None = None,
    u_axis_m: float = 0.0,
    line_pitch_m: float = 0.0,
    slope: float = 0.0,
    burnt: NDArray[np.bool_] | None = None,
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
    unwetted
        The interface in a tube that the liquid does not wet, if that is to be told.
    u_axis_m
        Standard uncertainty of the axis across the tube.
    line_pitch_m
        Distance of the graduations that are seen through the tube; 0 where there are none.
    slope
        Rows a column by which the level fell to the right before its columns were shifted.
    burnt : ndarray, shape (C,), bool, optional
        Columns that are burnt out about the level.
    """
    here = LevelStrip(
        strip=strip,
        grid=grid,
        scale_map=scale_map,
        unit_m=unit_m,
        tube=tube,
        below=below,
        above=above,
        interface=interface,
        unwetted=unwetted,
        line_pitch_m=line_pitch_m,
        apex_seen=apex_seen,
        u_axis_m=u_axis_m,
        slope=slope,
        burnt=np.zeros(strip.shape[1], dtype=bool) if burnt is None else burnt,
    )
    found = find_apex(here, row)
    height = grid.value_at(found.apex_row)
    x, y = here.pixel_of(height)
    return LevelFit(
        height=height,
        x_px=x,
        y_px=y,
        components=components_of(here, found),
        apex=found.fit,
        clear_of_glare=found.clear_of_glare,
        for_wetting=found.for_wetting,
    )
