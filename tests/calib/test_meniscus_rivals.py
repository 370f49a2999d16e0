"""Rival places: which is taken, and what the others cost."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_rivals import BESIDE, _rival_px, choose, left_unexplained
from limbsight.calib.meniscus_search import find_candidates
from tests.helpers.menisci import (
    BLUE,
    CASES,
    OIL,
    WATER,
    fitted,
    physics_of,
    profile_seen,
    view_of,
)


def candidates_of(profile):
    return find_candidates(profile, light_paths(profile.around, profile.supposed.nominal))


def test_likeliest_place_is_taken_in_whatever_order_they_come():
    profile = profile_seen(CASES["water"], 3.0)
    candidates = candidates_of(profile)
    one, other = choose(profile, candidates), choose(profile, candidates[::-1])
    assert len(candidates) > 1
    assert one.candidate is other.candidate
    assert abs(one.candidate.state.shift_px + 3.0) < 0.5


def test_lone_place_has_no_rival():
    profile = profile_seen(CASES["water"])
    assert choose(profile, candidates_of(profile)[:1]).rival_px == 0.0


def test_rival_costs_its_distance_by_how_likely_it_is():
    away = np.array([0.0, 6.0])
    hopeless = _rival_px(away, np.array([0.0, 100.0]), 2.0)
    alike = _rival_px(away, np.array([0.0, 0.0]), 2.0)
    assert hopeless < 1e-3
    assert alike == pytest.approx(6.0 / np.sqrt(2.0))
    # Still a tenth: half of its distance, so that two standard uncertainties reach it.
    assert _rival_px(away, np.array([0.0, 4.0 * np.log(9.0)]), 2.0) == pytest.approx(3.0)


def test_profile_beside_the_axis_explains_the_right_place_best():
    case = CASES["water"]
    profile = profile_seen(case, 3.0)
    beside = profile_seen(case, 3.0, aside=BESIDE)
    right = choose(profile, candidates_of(profile)).candidate.state
    wrong = right.stepped(np.eye(len(right.to_mean()))[0] * 5.0)
    assert left_unexplained(beside, right)[0] < left_unexplained(beside, wrong)[0]


@pytest.mark.parametrize("elevation", [-0.1, 0.05, 0.12, 0.23])
def test_columns_beside_the_axis_settle_rival_places_between_liquids(elevation):
    interface = physics_of(5.5e-3, 7e-4, 20, 18)
    amber = np.array([0.6, 0.35, 0.08])
    case = (view_of(bore=5.3e-3, elevation=elevation), WATER, OIL, interface, (BLUE, amber))
    alone, told = (
        fitted(case, -5.0, search=20.0, noise=0.02, lit_through=0.4, skin=0, sides=sides)
        for sides in (0, 2)
    )
    assert alone.u_components_px["ambiguity"] > 0.9
    assert told.u_components_px["ambiguity"] < 0.3
    assert abs(told.position_px - 5.0) < told.u_px
