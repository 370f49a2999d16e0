"""Where lines of sight are laid, and how what they bring is put together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.calib.meniscus_light import light_paths, shading_of
from limbsight.calib.meniscus_rays import rays_of, summed_over_paths
from limbsight.calib.meniscus_scene import scene_of
from tests.helpers.menisci import CASES, view_of
from tests.helpers.menisci import physics_supposed as supposed
from tests.helpers.menisci import surroundings as around


def laid(case, others=(), **changed):
    place = around(case, **changed)
    base = supposed(case)
    shade = shading_of(place, [base], light_paths(place, base))
    scenes = [scene_of(place, replace(base, **other)) for other in ({}, *others)]
    return rays_of(place, base, scenes, shade)


@given(
    st.lists(st.integers(1, 4), min_size=1, max_size=12),
    st.integers(1, 3),
    st.integers(0, 1000),
)
def test_paths_of_a_ray_are_added(counts, width, seed):
    ray = np.repeat(np.arange(len(counts)), counts)
    value = np.random.default_rng(seed).normal(size=(len(ray), width))
    wanted = np.zeros((len(counts), width))
    np.add.at(wanted, ray, value)
    assert summed_over_paths(ray, value) == pytest.approx(wanted)


@pytest.mark.parametrize("name", CASES)
class TestBundle:
    def test_in_order_without_gaps(self, name):
        moved = ({"contact_angle_rad": supposed(CASES[name]).contact_angle_rad + 0.05},)
        rays = laid(CASES[name], moved)
        assert rays.bounds[0] == 0
        assert rays.bounds[-1] == len(rays.height)
        for first, last in zip(rays.bounds[:-1], rays.bounds[1:], strict=True):
            assert (np.diff(rays.height[first:last]) > 0.0).all()
        assert np.array_equal(np.unique(rays.paths.ray), np.arange(len(rays.height)))
        assert (np.diff(rays.paths.ray) >= 0).all()

    def test_no_ray_brings_more_than_itself(self, name):
        rays = laid(CASES[name])
        total = summed_over_paths(rays.paths.ray, rays.paths.weight)
        assert (total <= 1.0 + 1e-9).all()
        # mercury keeps three quarters each time: two reflections, and faint branches dropped
        assert (total > 0.5).all()

    def test_it_reaches_as_far_as_asked(self, name):
        rays = laid(CASES[name], reach=(-2.7, 3.1))
        assert rays.height[0] <= -2.7
        assert rays.height[-1] >= 3.1

    def test_the_level_itself_is_never_left_out(self, name):
        """Asked for less than the rims need they are laid all the same."""
        rays = laid(CASES[name], reach=(-0.01, 0.01))
        rim = abs(math.tan(CASES[name][0].elevation_rad))
        assert rays.height[0] < -rim
        assert rays.height[-1] > rim


def test_rays_lie_closer_where_neighbours_differ():
    """At the limit of total reflection, some half bore above the apex, light ends at once."""
    rays = laid(CASES["water"])
    gaps = np.diff(rays.height)
    middle = 0.5 * (rays.height[1:] + rays.height[:-1])
    assert gaps[(middle > 0.0) & (middle < 0.8)].min() < 0.2 * gaps[np.abs(middle) > 2.0].min()


def test_each_wave_behind_the_tube_is_met_five_times():
    view = replace(view_of(), line_pitch_m=2e-3)
    rays = laid((view, *CASES["water"][1:]))
    period = 2e-3 / 3 / view.bore_radius_m
    assert np.diff(rays.height).max() <= 1.5 * period / 5


def test_other_scenes_get_rays_of_their_own():
    """A bore a fifth wider has its rims elsewhere; what is finer there is finer in its own."""
    case = CASES["water"]
    rays = laid(case, ({"bore_radius_m": 1.2 * supposed(case).bore_radius_m},))
    one, other = (
        set(rays.height[first:last])
        for first, last in zip(rays.bounds[:-1], rays.bounds[1:], strict=True)
    )
    assert len(one & other) >= 90  # the coarse ones
    assert one - other
    assert other - one


def test_beside_the_axis_they_reach_as_far():
    """Heights are in half widths there: more of them to the same bore radii."""
    rays = laid(CASES["water"], aside=0.6)
    assert rays.height[0] * 0.8 <= -2.5
    assert rays.height[-1] * 0.8 >= 3.0
