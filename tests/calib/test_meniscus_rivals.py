"""Rival places: which is taken, and what the others cost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_profile import profile_of
from limbsight.calib.meniscus_rivals import (
    BESIDE,
    Explained,
    _rival_px,
    choose,
    compared,
    left_unexplained,
)
from limbsight.calib.meniscus_search import find_candidates
from tests.helpers.menisci import (
    BLUE,
    CASES,
    OIL,
    WATER,
    fitted,
    physics_of,
    profile_seen,
    rendered,
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


@pytest.fixture(scope="module")
def flat_bowl():
    """A flat bowl, explained as a deep one and as what it is, without columns beside it."""
    wetted = CASES["water"]
    flat = (*wetted[:3], physics_of(2.7e-3, 1e-4, 70, 12), wetted[4])
    rows, values = rendered(*flat)

    def explained(interface):
        profile = profile_of(rows, values, *wetted[:3], interface, search_px=8.0)
        best = choose(profile, candidates_of(profile))
        return Explained(profile=profile, candidate=best.candidate, sides=[])

    return explained(wetted[3]), explained(flat[3])


def seen_beside(flat_bowl, aside_of):
    """The same with two profiles beside the axis of another case each."""
    deep, flat = flat_bowl
    rows = deep.profile.rows_px

    def with_sides(one, interface):
        sides = [
            profile_of(
                rows,
                np.stack([np.interp(rows, *pair) for pair in aside_of(way)], axis=1),
                *CASES["water"][:3],
                interface,
                search_px=8.0,
                aside=BESIDE,
            )
            for way in (-1, 1)
        ]
        return replace(one, sides=sides)

    return with_sides(deep, CASES["water"][3]), with_sides(flat, FLAT)


def beside_of(interface):
    """Profiles beside the axis of a bowl, as pairs of rows and brightness for each channel."""
    case = (*CASES["water"][:3], interface, CASES["water"][4])
    rows, values = rendered(*case, aside=BESIDE)
    return [(rows, values[:, channel]) for channel in range(3)]


FLAT = physics_of(2.7e-3, 1e-4, 70, 12)


def test_the_right_supposition_explains_more_whichever_comes_first(flat_bowl):
    deep, flat = flat_bowl
    assert compared(flat, deep) > 8.0
    assert compared(deep, flat) == pytest.approx(-compared(flat, deep))


def test_columns_beside_the_axis_bear_out_a_doubt_or_take_it_away(flat_bowl):
    on_axis = compared(*flat_bowl)
    borne_out = compared(*seen_beside(flat_bowl, lambda _: beside_of(FLAT)))
    assert on_axis <= borne_out < -4.0
    taken_away = compared(*seen_beside(flat_bowl, lambda _: beside_of(CASES["water"][3])))
    assert taken_away == 0.0


def test_both_sides_must_bear_it_out(flat_bowl):
    one_side = compared(
        *seen_beside(
            flat_bowl,
            lambda way: beside_of(FLAT if way < 0 else CASES["water"][3]),
        )
    )
    assert one_side == 0.0


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
