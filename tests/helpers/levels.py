"""Levels to be fitted: strips of drawn tubes on a known scale, and fits as they come back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from limbsight.calib.camera import Frame
from limbsight.calib.heights import LevelFit, fit_level
from limbsight.calib.level_strip import LevelStrip
from limbsight.calib.meniscus import ApexFit, FluidOptics, MeniscusPhysics, TubeGeometry
from limbsight.calib.rectify import Grid, make_grid
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.calib.scale_map import ScaleMap
from tests.helpers.boards import Camera, Column, expose
from tests.helpers.tubes import BLUE_WATER, GLASS, Tube

CAMERA = Camera(width=900, height=1600, focal_px=2000.0, distance=400.0, pitch=1.0, y=12.0)
COLUMN = Column(spine=-12.0, side="right")
TUBE = TubeGeometry(
    bore_radius_m=3.5e-3,
    u_bore_radius_m=0.05e-3,
    outer_radius_m=5e-3,
    axis_to_scale_m=6e-3,
    u_axis_to_scale_m=0.2e-3,
)
WATER = FluidOptics(refractive_index=1.333, u_refractive_index=0.004)
AIR = FluidOptics(refractive_index=1.0003, u_refractive_index=0.0)
WETTING = MeniscusPhysics(
    capillary_length_m=2.7e-3,
    u_capillary_length_m=1e-4,
    contact_angle_rad=0.26,
    u_contact_angle_rad=0.2,
)
STEP_MM = 0.25
MERCURY = FluidOptics(refractive_index=1.0, u_refractive_index=0.0, opaque_mirror=True)
CONVEX = MeniscusPhysics(
    capillary_length_m=1.85e-3,
    u_capillary_length_m=0.06e-3,
    contact_angle_rad=2.4,
    u_contact_angle_rad=0.12,
)


def map_of(u_focal: float = 0.025, noise_px: float = 0.1) -> ScaleMap:
    """The map that a column of graduations gives."""
    frame = Frame(
        width_px=CAMERA.width,
        height_px=CAMERA.height,
        focal_px=CAMERA.focal_px,
        focal_relative_uncertainty=u_focal,
    )
    comb = COLUMN.comb(CAMERA, noise_px=noise_px)
    return fit_scale_map((comb,), (COLUMN.values,), frame)


def level_at(
    value: float, scale_map: ScaleMap, tube: TubeGeometry = TUBE, step_mm: float = STEP_MM
) -> LevelFit:
    """Fit a drawn level; the picture is that of a plain edge, the same at every height."""
    grid = make_grid(
        scale_map.plane(),
        values=(-45.0, 45.0),
        across=(-8.0, 8.0),
        step=step_mm,
        in_front=tube.axis_to_scale_m * 1e3,
    )
    row = grid.row_at(value)
    drawn = Tube(
        fillings=(BLUE_WATER, GLASS),
        levels=(row,),
        rows=len(grid.values),
        columns=len(grid.across),
        width=10.0 / step_mm,
        bore=7.0 / step_mm,
        meniscus=0.8,
    )
    light = (expose(drawn.light(), blur_px=0.8, noise=0.5) / 255.0) ** 2.2
    return fit_level(
        light[:, :, ::-1].astype(np.float32),
        grid,
        row + 1.0,
        scale_map=scale_map,
        unit_m=1e-3,
        tube=tube,
        below=WATER,
        above=AIR,
        interface=WETTING,
    )


def level_strip(
    strip: NDArray[np.float32], grid: Grid, scale_map: ScaleMap, **changed: Any
) -> LevelStrip:
    """A level of water under gas, but for what is changed."""
    given: dict[str, Any] = {
        "unit_m": 1e-3,
        "tube": TUBE,
        "below": WATER,
        "above": AIR,
        "interface": WETTING,
        "unwetted": None,
        "line_pitch_m": 0.0,
        "apex_seen": False,
        "u_axis_m": 0.0,
        "slope": 0.0,
        "burnt": np.zeros(strip.shape[1], dtype=bool),
    }
    return LevelStrip(strip=strip, grid=grid, scale_map=scale_map, **(given | changed))


def mercury(dome_rows: int, burnt: slice = slice(0)) -> LevelStrip:
    """A streaky column under gas, its rim in row 75; the bore is 28 rows wide."""
    rng = np.random.default_rng(2)
    scale_map = map_of()
    grid = make_grid(
        scale_map.plane(), values=(-18.0, 18.0), across=(-5.0, 5.0), step=0.25, in_front=6.0
    )
    rows, columns = len(grid.values), len(grid.across)
    strip = np.full((rows, columns, 3), 0.6)
    strip[75 - dome_rows : 75] = 0.2
    strip[75:] = rng.uniform(0.1, 0.8, (columns, 3))
    strip = gaussian_filter1d(strip, 1.0, axis=0) + rng.normal(0.0, 0.01, strip.shape)
    out = np.zeros(columns, dtype=bool)
    out[burnt] = True
    return level_strip(
        strip.astype(np.float32),
        grid,
        scale_map,
        below=MERCURY,
        interface=CONVEX,
        burnt=out,
    )


def apex(position_px: float, ok: bool = True) -> ApexFit:
    """A fit, or one that sees no meniscus."""
    return ApexFit(
        position_px=position_px,
        u_statistical_px=0.1,
        u_model_px=0.2,
        u_components_px={"tone": 0.2},
        misfit=0.02,
        ok=ok,
        reason="" if ok else "meniscus_not_seen",
        blur_px=1.0,
    )


def ambiguous(position_px: float, ambiguity: float = 3.0) -> ApexFit:
    """A fit that finds other places as good."""
    return replace(
        apex(position_px, ok=False),
        reason="level_ambiguous",
        u_components_px={"tone": 0.2, "ambiguity": ambiguity},
        u_model_px=float(np.hypot(0.2, ambiguity)),
    )


def lone(position_px: float, u: float = 0.2, **changed: Any) -> ApexFit:
    """A fit without rivals and noise."""
    fit = replace(
        apex(position_px),
        u_components_px={"tone": u, "ambiguity": 0.0},
        u_model_px=u,
        u_statistical_px=0.0,
    )
    return replace(fit, **changed)
