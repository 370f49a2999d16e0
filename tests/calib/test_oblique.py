"""Levels of tubes that lie: found where they meet the axis, with what the slant costs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from limbsight.calib.camera import Frame
from limbsight.calib.heights import fit_level
from limbsight.calib.meniscus import TubeGeometry
from limbsight.calib.oblique import Lie, _lying, fit_oblique_level
from limbsight.calib.rectify import make_grid
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.liquid_optics import fluid_optics, interface_physics
from limbsight.vision.light import to_linear
from tests.helpers.boards import Camera, Column
from tests.helpers.tubes import Tube

BORE_M, PX_PER_MM = 4e-3, 6.0
OBLIQUE = ("meniscus shape", "meniscus slant", "axis of the tube")


def fitted(
    tilt: float, *, incline_deg: float = 20.0, u_axis_m: float = 0.05e-3, lie: bool = True
):
    """A drawn tube whose level crosses the axis at row 210.3, in a map without distortion."""
    tube = Tube(bore=BORE_M * 1e3 * PX_PER_MM, width=36.0, columns=109, tilt=tilt)
    camera = Camera(width=360, height=640, focal_px=PX_PER_MM * 300.0)
    column = Column()
    scale_map = fit_scale_map(
        (column.comb(camera),),
        (column.values,),
        Frame(
            width_px=360, height_px=640, focal_px=camera.focal_px, focal_relative_uncertainty=0
        ),
    )
    grid = make_grid(
        scale_map.plane(),
        values=(-33.0, 33.5),
        across=(-54 / PX_PER_MM, 54 / PX_PER_MM),
        step=1 / PX_PER_MM,
        in_front=0.0,
    )
    picture = to_linear(tube.strip().bgr)[:, :, ::-1]
    names = ("water", "air")
    given: dict[str, Any] = {
        "scale_map": scale_map,
        "unit_m": 1e-3,
        "tube": TubeGeometry(
            bore_radius_m=BORE_M / 2,
            u_bore_radius_m=0.05e-3,
            outer_radius_m=3e-3,
            axis_to_scale_m=0.0,
            u_axis_to_scale_m=0.1e-3,
        ),
        "below": fluid_optics(names[0]),
        "above": fluid_optics(names[1]),
        "interface": interface_physics(
            *names, density_below_kg_m3=998.2, density_above_kg_m3=None
        ),
    }
    strip = np.ascontiguousarray(picture[: len(grid.values), : len(grid.across)])
    if not lie:
        return fit_level(strip, grid, 210.0, **given)
    how = Lie(incline_rad=np.radians(incline_deg), u_axis_m=u_axis_m)
    return fit_oblique_level(strip, grid, 210.0, lie=how, **given)


def parts_of(fit):
    return {part.name: part.standard_uncertainty for part in fit.components}


@pytest.mark.parametrize("tilt", [-0.7, 0.4])
def test_a_slanting_level_is_where_a_level_one_is_on_the_axis(tilt):
    level, slanting = fitted(0.0), fitted(tilt)
    assert slanting.height == pytest.approx(level.height, abs=2 * level.standard_uncertainty)


def test_the_slant_costs_what_the_axis_and_the_rise_may_hide():
    level, slanting = parts_of(fitted(0.0)), parts_of(fitted(0.6, u_axis_m=0.5e-3))
    assert set(OBLIQUE) <= set(level)
    assert level["meniscus slant"] < 0.01
    assert level["axis of the tube"] < 0.01
    # 0.6 rows a column over half a millimetre; half of hypot(1, 0.6) - 1 of a rise below a
    # radius, rectangular.
    assert slanting["axis of the tube"] == pytest.approx(0.3, abs=0.05)
    assert 0.015 < slanting["meniscus slant"] < 0.09 * BORE_M / 2 * 1e3 / np.sqrt(3.0)


def test_a_tube_that_stands_is_as_without():
    """At 90 degrees all of gravity acts along the tube."""
    standing, plain = fitted(0.0, incline_deg=90.0), fitted(0.0, lie=False)
    assert standing.height == pytest.approx(plain.height, abs=1e-3)
    assert parts_of(standing)["meniscus shape"] == pytest.approx(0.0, abs=1e-9)


def test_gravity_along_the_tube_sets_the_capillary_length():
    physics = interface_physics(
        "water", "air", density_below_kg_m3=998.2, density_above_kg_m3=None
    )
    # sin 30 deg = 1/2: by sqrt 2.
    square = _lying(physics, np.radians(30.0), 0.0)
    assert square.capillary_length_m == pytest.approx(
        np.sqrt(2.0) * physics.capillary_length_m, rel=1e-12
    )


@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_a_surface_that_is_level_feels_all_of_gravity(way):
    physics = interface_physics(
        "water", "air", density_below_kg_m3=998.2, density_above_kg_m3=None
    )
    level = _lying(physics, np.radians(30.0), way / np.tan(np.radians(30.0)))
    assert level.capillary_length_m == pytest.approx(physics.capillary_length_m, rel=1e-12)
