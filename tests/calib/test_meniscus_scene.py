"""Tube, surface and camera as rays meet them; where a line of sight meets the board."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.calib.meniscus import GLASS_REFRACTIVE_INDEX
from limbsight.calib.meniscus_optics import BACK, Tubes, trace
from limbsight.calib.meniscus_scene import height_on_board, scene_of, scene_on_axis
from tests.helpers.menisci import CASES
from tests.helpers.menisci import physics_supposed as supposed
from tests.helpers.menisci import surroundings as around

WATER = CASES["water"]
VIEW = WATER[0]
BORE_M = VIEW.bore_radius_m


def seen(case, height, **changed):
    """Path of one line of sight and where it meets the board, in bore radii."""
    place = around(case, **changed)
    scene = scene_of(place, supposed(case, elevation_rad=place.view.elevation_rad))
    paths = trace(Tubes([scene]), np.zeros(1, dtype=np.int64), np.array([height]))
    of_path = np.zeros(len(paths.ray), dtype=np.int64)
    return paths, height_on_board(place, [scene], of_path, paths)


class TestScene:
    def test_lengths_on_the_axis_are_bore_radii(self):
        scene = scene_on_axis(supposed(WATER), VIEW, 0.3, mirror=False)
        assert scene.outer_radius == pytest.approx(1.3)
        assert scene.distance * BORE_M == pytest.approx(0.4)
        assert scene.surface.bore_radius_m == BORE_M
        assert scene.off_axis == 0.0

    def test_a_bore_that_may_be_wider_than_its_tube_keeps_some_wall(self):
        wide = supposed(WATER, bore_radius_m=1.4 * BORE_M)
        assert scene_on_axis(wide, VIEW, 0.0, mirror=False).outer_radius > 1.0

    @settings(deadline=None)
    @given(st.floats(0.0, 0.5))
    def test_columns_about_the_axis_stand_for_their_root_mean_square(self, half):
        scene = scene_on_axis(supposed(WATER), VIEW, half, mirror=False)
        places = np.linspace(-half, half, 2001)
        assert scene.lateral == pytest.approx(np.sqrt(np.mean(places**2)), rel=1e-3)

    @settings(deadline=None)
    @given(st.floats(0.05, 0.9))
    def test_beside_it_they_are_half_widths_of_the_section(self, aside):
        """Chords of two circles, as far off their common middle."""
        scene = scene_of(around(WATER, aside=aside), supposed(WATER))
        half = BORE_M * math.sqrt(1 - aside**2)
        assert scene.surface.bore_radius_m == pytest.approx(half)
        assert scene.off_axis * half == pytest.approx(aside * BORE_M)
        assert math.hypot(scene.outer_radius, scene.off_axis) * half == pytest.approx(
            VIEW.outer_radius_m
        )
        assert scene.distance * half == pytest.approx(VIEW.distance_m)

    def test_the_contact_line_is_one_height_all_round(self):
        on_axis = scene_of(around(WATER), supposed(WATER)).surface
        beside = scene_of(around(WATER, aside=0.6), supposed(WATER)).surface
        assert beside.wall_height_m == pytest.approx(on_axis.wall_height_m)
        assert beside.height_m[-1] > on_axis.height_m[-1] == 0.0


def shift(sine):
    """How much lower glass of a bore radius puts a ray than the air it stands for."""
    return math.tan(math.asin(sine)) - math.tan(math.asin(sine / GLASS_REFRACTIVE_INDEX))


class TestOnTheBoard:
    @settings(max_examples=25, deadline=None)
    @given(st.floats(-0.35, 0.35), st.floats(2.5, 3.0), st.floats(1.4, 4.0))
    def test_through_gas_it_is_the_line_of_sight_less_what_two_walls_shift(
        self, elevation, height, board
    ):
        view = replace(VIEW, elevation_rad=elevation, axis_to_board_m=board * BORE_M)
        paths, found = seen(WATER, height, view=view)
        assert paths.end.tolist() == [BACK]
        sine = paths.exit_sine[0]
        straight = height + board * math.tan(math.asin(sine))
        # the continued line crosses the axis where the unrefracted one would
        walls = 2 * 0.3 * shift(sine)
        assert found[0] == pytest.approx(straight - walls, abs=2e-3)

    @settings(max_examples=25, deadline=None)
    @given(st.floats(-0.35, 0.35))
    def test_a_liquid_shifts_it_by_the_bore_as_well(self, elevation):
        """Parallel plates of a fluid and of glass between flat faces (Snell)."""
        view = replace(VIEW, elevation_rad=elevation)
        paths, found = seen(WATER, -2.4, view=view)
        assert paths.end.tolist() == [BACK]
        sine = paths.exit_sine[0]
        straight = -2.4 + 1.7 * math.tan(math.asin(sine))
        in_water = math.tan(math.asin(sine)) - math.tan(math.asin(sine / 1.333))
        wanted = straight - 2 * 0.3 * shift(sine) - 2 * in_water
        assert found[0] == pytest.approx(wanted, abs=2e-3)

    def test_beside_the_axis_it_is_in_bore_radii_all_the_same(self):
        """Level lines of sight meet the board as high as they are, whatever the section."""
        view = replace(VIEW, elevation_rad=0.0, distance_m=1e4)
        _, found = seen(WATER, 3.0, view=view, aside=0.6)
        assert found[0] == pytest.approx(3.0 * 0.8, abs=1e-3)

    def test_a_board_against_the_tube_has_no_gap_before_it(self):
        near = replace(VIEW, elevation_rad=0.2, axis_to_board_m=VIEW.outer_radius_m)
        nearer = replace(near, axis_to_board_m=0.5 * VIEW.outer_radius_m)
        assert seen(WATER, 2.6, view=near)[1] == pytest.approx(
            seen(WATER, 2.6, view=nearer)[1]
        )
