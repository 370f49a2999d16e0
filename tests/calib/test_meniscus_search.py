"""Places that a level may have: none that could be the right one is left out."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_profile import profile_of
from limbsight.calib.meniscus_search import (
    _lowest,
    _Minimum,
    _places_first,
    find_candidates,
    likeliest_places,
)
from tests.helpers.menisci import (
    AIR,
    CASES,
    DARK,
    OIL,
    WATER,
    WETTING,
    WHITE,
    fitted,
    physics_of,
    profile_seen,
    rendered,
    view_of,
)


@pytest.mark.parametrize("name", CASES)
def test_one_candidate_is_near_the_apex(name):
    profile = profile_seen(CASES[name], 4.6)
    light = light_paths(profile.around, profile.supposed.nominal)
    shifts = [each.state.shift_px for each in find_candidates(profile, light)]
    assert min(abs(shift + 4.6) for shift in shifts) < 1.0


@pytest.mark.parametrize("angle_deg", [58, 72, 83])
def test_flat_bowl_is_among_the_likeliest_places_whatever_its_angle(angle_deg):
    case = CASES["water"]
    flat = (*case[:3], physics_of(2.7e-3, 1e-4, angle_deg, 12), case[4])
    rows, values = rendered(*flat)
    supposed = physics_of(2.7e-3, 1e-4, 72, 12)
    profile = profile_of(rows - 2.4, values, *case[:3], supposed, search_px=8.0)
    light = light_paths(profile.around, profile.supposed.nominal)
    places = likeliest_places(profile, light)
    assert len(places) <= 2
    assert min(abs(each.state.shift_px + 2.4) for each in places) < 1.0


def test_lowest_minima_come_first_ends_and_plateaus_included():
    costs = np.array([1.0, 4.0, 3.0, 3.0, 5.0, 2.0, 6.0, 0.5])
    assert _lowest(costs) == [7, 0, 5]


def minimum(cost, shift_px, start=0):
    return _Minimum(cost=cost, shift_px=shift_px, start=start)


def test_best_of_each_place_before_second_bests():
    best, again = minimum(1.0, 3.0), minimum(1.1, 4.0, 1)
    other, hopeless = minimum(2.0, -5.0), minimum(2.6, -9.0)
    assert _places_first([hopeless, other, again, best]) == [best, other, again]


@pytest.mark.parametrize("light", [(0.15, 0.0), (0.3, 0.0)])
@pytest.mark.parametrize("shift", [-12.3, 9.6])
def test_dark_liquid_is_found_however_the_board_behind_is_lit(light, shift):
    case = (view_of(bore=5.5e-3), OIL, AIR, WETTING, (DARK, WHITE))
    fit = fitted(case, shift, search=25.0, lit_through=light[0], skin=light[1])
    assert fit.ok
    assert abs(fit.position_px + shift) < 2.0 * fit.u_px
    assert abs(fit.position_px + shift) < 0.75


@pytest.mark.parametrize("angle", [0.0, 1.1])
def test_level_between_liquids_is_found_at_its_own_contact_angle(angle):
    """From above a bowl taller than supposed has minima of other angles at its place."""
    interface = physics_of(5.5e-3, 7e-4, 32, 18)
    amber, green = np.array([0.71, 0.32, 0.04]), np.array([0.03, 0.51, 0.06])
    case = (view_of(bore=5.3e-3, elevation=0.23), WATER, OIL, interface, (green, amber))
    fit = fitted(case, -9.0, search=25.0, offset=(0, 0, angle, 0, 0), lit_through=0.4, skin=0)
    assert abs(fit.position_px - 9.0) < 2.0
