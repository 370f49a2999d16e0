"""The rim of a dome: where it is seen, that lamps do not move it, and what it says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from limbsight.calib.meniscus import GLASS_REFRACTIVE_INDEX, MeniscusPhysics, TubeView
from limbsight.calib.meniscus_optics import COLUMN, Scene, Tubes, trace
from limbsight.calib.meniscus_outcome import MISFIT_LIMIT
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.rim import apex_from_rim, find_rim, rim_drop

MERCURY = MeniscusPhysics(
    capillary_length_m=1.85e-3,
    u_capillary_length_m=0.06e-3,
    contact_angle_rad=math.radians(137.0),
    u_contact_angle_rad=math.radians(7.0),
)
VIEW = TubeView(
    bore_radius_m=2.5e-3,
    outer_radius_m=3.8e-3,
    u_bore_radius_m=0.02e-3,
    axis_to_board_m=6e-3,
    elevation_rad=math.radians(12.0),
    u_elevation_rad=0.005,
    distance_m=0.5,
    px_per_m=6e3,
)
BORE = 2 * VIEW.bore_radius_m * VIEW.px_per_m
ROWS, COLUMNS, RIM = 180, 45, 92.3
DOME = 6


def picture(
    view: TubeView = VIEW, rim: float = RIM, seed: int = 1, dome: float = DOME
) -> np.ndarray:
    """A streaky column, a dome of two lights, and gas; noise of a hundredth."""
    rng = np.random.default_rng(seed)
    column = gaussian_filter1d(rng.uniform(0.1, 0.8, (COLUMNS, 3)), 1.0, axis=0)
    fine = np.arange(ROWS * 10) / 10 - 0.45
    drop = rim_drop(np.arange(COLUMNS, dtype=float) - 0.5 * (COLUMNS - 1), view)
    out = np.empty((ROWS, COLUMNS, 3))
    for c in range(COLUMNS):
        above = rim + drop[c] - fine
        lit = np.where(
            (above < 0)[:, None], column[c], np.where((above < dome)[:, None], 0.25, 0.6)
        )
        out[:, c] = gaussian_filter1d(lit, 10.0, axis=0).reshape(ROWS, 10, 3).mean(axis=1)
    return (out + rng.normal(0.0, 0.01, out.shape)).astype(np.float32)


def found(strip, view: TubeView = VIEW, step: float = RIM + 2, unseen=None, aside_rad=0.0):
    unseen = np.zeros(COLUMNS, dtype=bool) if unseen is None else unseen
    return find_rim(strip, step, view, MERCURY, aside_rad=aside_rad, unseen=unseen)


@pytest.mark.parametrize("degrees", [-20.0, -5.0, 0.0, 12.0, 25.0])
def test_on_the_axis_it_is_where_rays_begin_to_meet_the_column(degrees):
    view = replace(VIEW, elevation_rad=math.radians(degrees))
    bore = view.bore_radius_m
    surface = meniscus_surface(bore, MERCURY.capillary_length_m, MERCURY.contact_angle_rad)
    scene = Scene(
        surface=surface,
        outer_radius=view.outer_radius_m / bore,
        distance=1e4,
        lateral=0.0,
        elevation_rad=view.elevation_rad,
        glass_index=GLASS_REFRACTIVE_INDEX,
        below_index=1.0,
        above_index=1.0003,
        below_is_mirror=True,
    )
    heights = np.linspace(-2.0, 1.0, 3001)
    paths = trace(Tubes([scene]), np.zeros(len(heights), dtype=np.int64), heights)
    seen = heights[paths.ray[paths.end == COLUMN]].max()
    drop = rim_drop(np.zeros(1), view)[0] / (0.5 * BORE)
    assert seen == pytest.approx(surface.wall_height_m / bore - drop, abs=3e-3)


def test_aside_a_level_line_is_seen_higher_from_above():
    drop = rim_drop(np.array([-10.0, 0.0, 10.0]), VIEW)
    assert drop[0] == pytest.approx(drop[2])
    assert drop[0] < drop[1]


@pytest.mark.parametrize("degrees", [-15.0, 0.0, 12.0])
@pytest.mark.parametrize("rim", [88.0, 92.3, 95.7])
def test_it_is_found_where_it_is_drawn(degrees, rim):
    view = replace(VIEW, elevation_rad=math.radians(degrees))
    step = rim + rim_drop(np.zeros(1), view)[0]
    assert found(picture(view, rim), view, step).row == pytest.approx(rim, abs=0.25)


def test_from_far_below_no_dome_is_compared():
    view = replace(VIEW, elevation_rad=math.radians(-30.0))
    rim = found(picture(view), view, RIM + rim_drop(np.zeros(1), view)[0])
    assert rim.row == pytest.approx(RIM, abs=0.25)
    assert math.isnan(rim.beyond_edge)


def test_lamps_in_column_and_dome_leave_it_where_it_is():
    strip = picture()
    strip[:80, 12:26] += 0.5
    strip[97:130, 20:24] += 0.4
    assert found(strip).row == pytest.approx(RIM, abs=0.4)


def test_burnt_columns_are_left_out():
    strip, burnt = picture(), np.zeros(COLUMNS, dtype=bool)
    strip[:115, 14:28] = 1.0
    burnt[12:30] = True
    assert found(strip, unseen=burnt).row == pytest.approx(RIM, abs=0.3)
    assert found(strip, unseen=np.ones(COLUMNS, dtype=bool)) is None


def test_a_round_end_is_none():
    strip = picture()
    reach = np.arange(COLUMNS) - 0.5 * (COLUMNS - 1)
    for c, lower in enumerate(np.round(22 * (reach / reach[-1]) ** 2).astype(int)):
        strip[:, c] = np.roll(strip[:, c], lower, axis=0)
    assert found(strip) is None


def test_a_column_without_an_end_has_none():
    strip = picture()
    strip[:] = strip[-1]
    assert found(strip) is None


def test_the_apex_is_a_dome_above_it():
    rim = found(picture())
    row, fit = apex_from_rim(rim, VIEW, MERCURY)
    surface = meniscus_surface(
        VIEW.bore_radius_m, MERCURY.capillary_length_m, MERCURY.contact_angle_rad
    )
    assert rim.row - row == pytest.approx(-surface.wall_height_m * VIEW.px_per_m)
    assert fit.ok
    assert fit.position_px == 0.0
    assert fit.misfit == MISFIT_LIMIT
    assert fit.u_components_px["contact_angle"] > fit.u_components_px["capillary_length"] > 0
    of_parts = math.hypot(*fit.u_components_px.values())
    assert fit.u_model_px == pytest.approx(of_parts)


def test_a_better_known_angle_makes_it_surer():
    rim = found(picture())
    sure = replace(MERCURY, u_contact_angle_rad=math.radians(1.0))
    assert apex_from_rim(rim, VIEW, sure)[1].u_px < apex_from_rim(rim, VIEW, MERCURY)[1].u_px


def test_a_dome_is_more_than_an_edge_and_the_end_of_a_sleeve_is_not():
    assert found(picture()).beyond_edge > 2.0
    assert found(picture(dome=0.0)).beyond_edge < 1.0
