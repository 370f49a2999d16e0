"""Rays through tube and meniscus: laws that hold whatever the numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.calib.meniscus_optics import (
    _DS,
    _DY,
    _SIDE,
    _WEIGHT,
    BACK,
    COLUMN,
    MIRROR_REFLECTANCE,
    TRAPPED,
    Scene,
    Tubes,
    _at_surface,
    trace,
    trace_back,
)
from limbsight.calib.meniscus_shape import meniscus_surface

WATER = Scene(
    surface=meniscus_surface(5e-3, 2.7e-3, math.radians(15)),
    outer_radius=1.26,
    distance=80.0,
    lateral=0.0,
    elevation_rad=0.0,
    glass_index=1.473,
    below_index=1.333,
    above_index=1.0003,
    below_is_mirror=False,
)
MERCURY = replace(
    WATER,
    surface=meniscus_surface(3e-3, 1.9e-3, math.radians(138)),
    below_index=1.0,
    below_is_mirror=True,
)


def traced(scene, heights):
    heights = np.asarray(heights, dtype=float)
    return trace(Tubes([scene]), np.zeros(len(heights), dtype=np.int64), heights)


@given(elevation=st.floats(-0.4, 0.4), height=st.floats(-3.0, -1.5))
@settings(max_examples=40, deadline=None)
def test_far_below_the_meniscus_a_ray_goes_straight_through(elevation, height):
    scene = replace(WATER, elevation_rad=elevation)
    paths = traced(scene, [height])
    assert paths.end.tolist() == [BACK]
    rise = (height - 80 * math.sin(elevation)) / (80 * math.cos(elevation))
    sine = rise / math.hypot(1.0, rise)
    assert paths.exit_sine[0] == pytest.approx(sine, abs=1e-9)
    assert paths.below[0] == pytest.approx(2 / math.sqrt(1 - (sine / 1.333) ** 2), rel=1e-9)
    assert paths.above[0] == 0.0
    assert paths.below_walls[0] == 1.0


@given(
    elevation=st.floats(-0.35, 0.35),
    below=st.floats(1.3, 1.5),
    above=st.sampled_from([1.0003, 1.33, 1.46]),
)
@settings(max_examples=40, deadline=None)
def test_no_light_is_made_and_little_is_dropped(elevation, below, above):
    scene = replace(WATER, elevation_rad=elevation, below_index=below, above_index=above)
    heights = np.linspace(-0.6, 1.2, 60)
    paths = traced(scene, heights)
    total = np.bincount(paths.ray, paths.weight, minlength=60)
    assert (total < 1.0 + 1e-9).all()
    assert (total > 0.85).all()


def test_total_reflection_starts_where_twice_the_slope_says():
    """A level ray that the surface of slope phi reflects goes down at 2 phi; it is caught
    by the wall from sin(2 phi) = 1/n on."""
    scene = replace(WATER, distance=1e6)
    caught = 0.5 * math.asin(1.0 / 1.333)
    surface = scene.surface
    w = np.linspace(0.0, 1.0, len(surface.slope_rad))
    at = float(np.interp(-caught, -surface.slope_rad, w))
    height = float(np.interp(at, w, surface.height_m)) / surface.bore_radius_m
    paths = traced(scene, [height - 0.004, height + 0.004])
    ends = [paths.end[paths.ray == k].tolist() for k in (0, 1)]
    assert TRAPPED not in ends[0]
    assert ends[1] == [TRAPPED]


@pytest.mark.parametrize("up", [0.0, 0.1, -0.2])
@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_ray_beside_the_axis_is_bent_by_the_whole_slope(up, way):
    """Snell's law in vectors, in three dimensions (M. Born and E. Wolf, *Principles of
    Optics*, section 3.2.2), on a surface that also leans out of the plane of the rays."""
    slope, in_plane, ratio = -0.6 * way, 0.55, 1.333 / 1.41
    ray = np.zeros((12, 1))
    ray[_DY], ray[_DS], ray[_SIDE], ray[_WEIGHT] = up, way * math.sqrt(1 - up**2), -1.0, 1.0
    _, split = _at_surface(np.array([ratio]), ray, np.array([slope]), np.array([in_plane]))
    sideways = math.sin(slope) * math.sqrt(1 - in_plane**2)
    normal = np.array([-math.cos(slope), math.sin(slope) * in_plane, sideways])
    before = np.array([up, way * math.sqrt(1 - up**2), 0.0])
    cosine = -before @ normal
    after = (
        ratio * before + (ratio * cosine - math.sqrt(1 - ratio**2 * (1 - cosine**2))) * normal
    )
    assert split[_DY, -1] == pytest.approx(after[0])
    assert np.hypot(split[_DY, -1], split[_DS, -1]) == pytest.approx(1.0)


def test_band_lies_above_the_apex_and_below_the_rim():
    heights = np.linspace(-0.5, 1.0, 301)
    paths = traced(WATER, heights)
    dark = np.bincount(paths.ray, paths.weight * (paths.end == TRAPPED), minlength=301) > 0.9
    rim = WATER.surface.wall_height_m / WATER.surface.bore_radius_m
    assert 0.05 < heights[dark].min() < heights[dark].max() < rim


def test_opaque_column_ends_rays_below_its_rim():
    rim = MERCURY.surface.wall_height_m / MERCURY.surface.bore_radius_m
    paths = traced(MERCURY, [rim - 0.2, rim + 0.02, -0.02, 0.05])
    first = {k: int(paths.end[paths.ray == k][0]) for k in range(4)}
    assert first[0] == COLUMN
    assert not (paths.end[paths.ray > 0] == COLUMN).any()
    assert paths.mirrored[paths.ray == 2].all()
    assert not paths.mirrored[paths.ray == 3].any()
    assert paths.weight[paths.ray == 1].sum() == pytest.approx(MIRROR_REFLECTANCE, rel=1e-6)


def test_flat_mirror_turns_the_inclination_round():
    flat = replace(
        MERCURY,
        surface=meniscus_surface(3e-3, 1.9e-3, 0.5 * math.pi + 1e-4),
        elevation_rad=0.3,
        distance=1e6,
    )
    paths = traced(flat, [0.0])
    assert paths.exit_sine[0] == pytest.approx(math.sin(0.3), abs=1e-3)


def test_board_far_above_and_below_gets_light_straight_through():
    paths = trace_back(WATER, 1.6, np.array([-4.0, 6.0]), np.zeros(2))
    assert paths.end.tolist() == [BACK, BACK]
    assert paths.below.tolist() == pytest.approx([2.0, 0.0])
    assert paths.above.tolist() == pytest.approx([0.0, 2.0])


def test_scenes_traced_together_are_as_traced_alone():
    other = replace(WATER, elevation_rad=0.2, below_index=1.45)
    heights = np.linspace(-0.5, 1.0, 40)
    both = trace(Tubes([WATER, other]), np.repeat([0, 1], 40), np.tile(heights, 2))
    alone = traced(other, heights)
    mine = both.ray >= 40
    for name in ("weight", "below", "above", "exit_sine"):
        together = np.bincount(both.ray[mine] - 40, getattr(both, name)[mine], minlength=40)
        np.testing.assert_allclose(
            together, np.bincount(alone.ray, getattr(alone, name), minlength=40), atol=1e-9
        )
