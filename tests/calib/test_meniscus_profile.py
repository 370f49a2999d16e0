"""The profile that is fitted: its reach, what spoils it, its noise."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_profile import rows_within, window_m, without_reflections
from limbsight.calib.meniscus_shape import meniscus_surface
from tests.helpers.menisci import CASES, CONVEX, WETTING, profile_seen, view_of


@pytest.mark.parametrize("interface", [WETTING, CONVEX])
def test_window_holds_the_contact_line_and_plateaus(interface):
    view = view_of()
    low, high = window_m(view, interface)
    wall = meniscus_surface(
        view.bore_radius_m, interface.capillary_length_m, interface.contact_angle_rad
    ).wall_height_m
    half = 0.5 * view.bore_radius_m
    assert low > max(0.0, -wall) + half
    assert high > max(0.0, wall) + half


def test_rows_reach_the_window_wherever_the_apex_is():
    view, rows = view_of(), np.arange(-300.0, 301.0)
    kept = rows[rows_within(rows, view, WETTING, search_px=20.0)]
    low, high = window_m(view, WETTING)
    assert kept[0] == pytest.approx(-low * view.px_per_m - 20.0, abs=2.0)
    assert kept[-1] == pytest.approx(high * view.px_per_m + 20.0, abs=2.0)


def test_median_stands_in_only_where_a_reflection_is():
    columns = 0.5 + 0.004 * np.random.default_rng(1).standard_normal((80, 9, 3))
    clean = columns.mean(axis=1)
    assert without_reflections(clean, columns) == pytest.approx(clean, abs=0.01)
    columns[20:40, 4:6] += 0.8
    mean = columns.mean(axis=1)
    mended = without_reflections(mean, columns)
    assert mended[20:40] == pytest.approx(0.5, abs=0.01)
    assert (mended[40:] == mean[40:]).mean() > 0.9


def test_noise_is_that_of_the_rows():
    profile = profile_seen(CASES["water"], noise=0.01)
    assert profile.noise == pytest.approx(0.01, rel=0.3)
    assert profile.sigma == pytest.approx(np.hypot(profile.noise, profile.model_error))


def test_plateaus_give_the_colours():
    profile = profile_seen(CASES["water"])
    below, above = CASES["water"][-1]
    assert profile.around.below_colour == pytest.approx(below, abs=0.1)
    assert profile.around.above_colour == pytest.approx(above, abs=0.1)
