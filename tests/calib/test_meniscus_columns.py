"""Brightness along rays as a sum of columns: what must come out whatever the picture."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.calib.meniscus_columns import _WHITE, _hats
from limbsight.calib.meniscus_factors import BANDS, KNOTS, factor_priors
from limbsight.calib.meniscus_picture import pictures
from tests.helpers.menisci import (
    AIR,
    CASES,
    MERCURY,
    OIL,
    STEEL,
    WATER,
    WETTING,
    WHITE,
    view_of,
)
from tests.helpers.menisci import physics_supposed as supposed
from tests.helpers.menisci import surroundings as around

HAZY = np.array([0.5, 0.6, 0.4])
KINDS = {
    **CASES,
    "two liquids": (view_of(), WATER, OIL, WETTING, (0.8 * WHITE, HAZY)),
}


def drawn(case, **changed):
    return pictures(around(case), supposed(case, **changed), [])


@pytest.mark.parametrize("name", KINDS)
class TestSums:
    def test_every_factor_has_its_column(self, name):
        mean, _ = factor_priors(around(KINDS[name]))
        assert drawn(KINDS[name]).only(0).value.shape[1:] == (3, len(mean))

    def test_a_picture_is_its_columns_times_their_factors(self, name):
        found = drawn(KINDS[name])
        mean, _ = factor_priors(around(KINDS[name]))
        factors = mean * np.random.default_rng(1).uniform(0.5, 1.5, (3, len(mean)))
        wanted = np.einsum("nck,ck->nc", found.only(0).value, factors)
        assert found.lit(factors) == pytest.approx(wanted, abs=1e-12)

    def test_brightness_is_never_negative(self, name):
        mean, _ = factor_priors(around(KINDS[name]))
        assert (drawn(KINDS[name]).lit(np.tile(mean, (3, 1))) > -1e-9).all()


@pytest.mark.parametrize("name", ["water", "water from below", "narrow", "clear"])
def test_far_from_the_level_it_is_the_plateaus(name):
    """Nothing but the board through one fluid, as its colour was measured."""
    case = CASES[name]
    found = drawn(case)
    mean, _ = factor_priors(around(case))
    picture = found.only(0)
    rows = picture.value @ mean
    below, above = case[4]
    # both plateaus are what the model takes them from, but for light that the level throws
    assert rows[-1] == pytest.approx(above, rel=0.03)
    assert rows[0] == pytest.approx(below, rel=0.06)


def test_light_that_is_trapped_does_not_come_from_a_dark_board():
    """Board and all else are a tenth as bright; what comes from the room is at least white."""
    case = CASES["water from above"]
    dark = (*case[:4], tuple(0.1 * colour for colour in case[4]))
    trapped = BANDS + len(KNOTS) + 2
    light, dim = (drawn(c).only(0).value[:, :, trapped] for c in (case, dark))
    most = light.max(axis=0)
    assert (most > 0.01 * WHITE).all()
    assert dim.max(axis=0) == pytest.approx(_WHITE / WHITE * most, rel=1e-6)
    board = (drawn(c).only(0).value[-1, :, 0] for c in (case, dark))
    assert next(board) == pytest.approx(10.0 * next(board), rel=1e-6)


def test_a_column_of_mercury_is_as_bright_as_it_was_seen():
    case = CASES["mercury"]
    mean, _ = factor_priors(around(case))
    rows = drawn(case).only(0).value @ mean
    assert rows[0] == pytest.approx(STEEL, rel=1e-6)
    assert rows[-1] == pytest.approx(WHITE, rel=0.03)


def test_two_liquids_that_are_one_show_no_level():
    """Of one index and colour nothing but the board is left, wherever the surface is."""
    case = (view_of(), WATER, WATER, WETTING, (WHITE, WHITE))
    mean, _ = factor_priors(around(case))
    rows = drawn(case, lit_through=0.0).only(0).value @ mean
    assert rows == pytest.approx(np.tile(WHITE, (len(rows), 1)), abs=0.01)


def test_waves_are_those_of_the_lines_on_the_board():
    """One pitch up the board is one turn."""
    case = (view_of(), *CASES["water"][1:])
    view = view_of()
    pitch_m = 12.0 / view.px_per_m
    lined = around(case, view=type(view)(**{**_fields(view), "line_pitch_m": pitch_m}))
    plain, _ = factor_priors(around(case))
    found = pictures(lined, supposed(case, elevation_rad=0.0), []).only(0)
    waves = found.value[:, :, len(plain) :]
    assert waves.shape[2] == 6
    # through gas, level: the board as it is, so cosine squared and sine squared make one
    above = found.height > 2.0
    whole = found.value[above][:, :, 7 : 7 + len(KNOTS)].sum(axis=2)
    for k in (0, 1, 2):
        cosine, sine = waves[above][:, :, k], waves[above][:, :, 3 + k]
        assert np.hypot(cosine, sine) == pytest.approx(whole, rel=0.02)
    turns = np.unwrap(np.arctan2(waves[above][:, 0, 3], waves[above][:, 0, 0])) / (2 * np.pi)
    heights = found.height[above] * view.bore_radius_m
    assert np.polyfit(heights, turns, 1)[0] == pytest.approx(1 / pitch_m, rel=0.03)


def _fields(view):
    return {name: getattr(view, name) for name in type(view).__slots__}


@given(st.lists(st.floats(-2.99, 2.99), min_size=1, max_size=20))
def test_hats_draw_straight_lines(heights):
    """Weights of linear interpolation: they add to one and give back a straight line."""
    weights = _hats(KNOTS, np.array(heights))
    assert weights.sum(axis=1) == pytest.approx(1.0)
    assert weights @ KNOTS == pytest.approx(heights, abs=1e-12)
    assert (weights >= 0.0).all()


def test_beyond_the_last_knot_it_stays_as_it_is():
    weights = _hats(KNOTS, np.array([-50.0, 50.0]))
    assert weights[0, 0] == pytest.approx(1.0)
    assert weights[1, -1] == pytest.approx(1.0)


def test_parts_of_the_rays_are_parts_of_the_picture():
    case = (view_of(), MERCURY, AIR, CASES["mercury"][3], CASES["mercury"][4])
    found = drawn(case)
    whole = found._terms.columns()
    assert found._terms.of(slice(20, 45)).columns() == pytest.approx(whole[20:45])
