"""A fit held against the place where the network sees its level."""

from __future__ import annotations

import pytest

from limbsight.as_seen import (
    FAR_BORES,
    NEAR_BORES,
    ODD_BORES,
    U_SEEN_BORES,
    U_UNEXPLAINED_BETWEEN_BORES,
    U_UNEXPLAINED_BORES,
    SeenApex,
    held_against_seen,
)
from limbsight.calib.height_components import Component, own_component
from limbsight.calib.heights import LevelFit
from limbsight.calib.meniscus import AMBIGUOUS, AS_SEEN, NOT_SEEN, STRAINED
from limbsight.calib.rectify import make_grid
from limbsight.vision.level_choice import SURE
from tests.helpers.levels import lone, map_of

BORE_MM, HEIGHT_MM, STEP_MM = 7.0, 60.0, 0.25
MAP = map_of()
SHARED = Component(
    name="focal length", standard_uncertainty=0.02, shared_key="f", sign=1.0, kind="B"
)
FITTED = own_component("meniscus fit", 0.01)
AXIS = own_component("tube axis", 0.03)
GRID = make_grid(
    MAP.plane(),
    values=(HEIGHT_MM - 20.0, HEIGHT_MM + 20.0),
    across=(-5.0, 5.0),
    step=STEP_MM,
    in_front=6.0,
)


def fit(reason=""):
    return LevelFit(
        height=HEIGHT_MM,
        x_px=1.0,
        y_px=2.0,
        components=(SHARED, FITTED, AXIS),
        apex=lone(0.0, ok=not reason, reason=reason),
    )


def held(level, off_bores, *, chance=0.99, between=False, lies=False, line=False):
    seen = SeenApex(
        grid=GRID,
        row=GRID.row_at(HEIGHT_MM + off_bores * BORE_MM),
        bore_rows=BORE_MM / STEP_MM,
        chance=chance,
    )
    return held_against_seen(
        level, seen, MAP, between_liquids=between, lies=lies, line_stands_out=line
    )


def added(before, after):
    return {c.name: c.standard_uncertainty for c in after.components if c not in before}


@pytest.mark.parametrize("reason", [NOT_SEEN, STRAINED])
def test_a_fit_that_explains_too_little_is_borne_out_by_the_place(reason):
    level = fit(reason)
    after = held(level, 0.9 * NEAR_BORES)
    assert after.height == level.height
    assert after.apex.reason == AS_SEEN
    wider = {"meniscus unexplained": pytest.approx(U_UNEXPLAINED_BORES * BORE_MM)}
    assert added(level.components, after) == wider


def test_a_dark_line_that_stands_out_needs_no_wider_interval():
    level = fit(NOT_SEEN)
    assert held(level, 0.9 * NEAR_BORES, line=True) is level
    assert held(level, 1.1 * NEAR_BORES, line=True).apex.reason == AS_SEEN


@pytest.mark.parametrize(
    ("reason", "off"), [(NOT_SEEN, 1.1 * NEAR_BORES), ("", 1.1 * FAR_BORES)]
)
def test_a_fit_elsewhere_gives_way_to_the_place(reason, off):
    level = fit(reason)
    after = held(level, off)
    assert after.height == pytest.approx(HEIGHT_MM + off * BORE_MM)
    assert added(level.components, after) == {
        "meniscus as seen": pytest.approx(U_SEEN_BORES * BORE_MM)
    }
    # What all levels of a photo share, and the axis, hold for the place as well.
    assert SHARED in after.components
    assert AXIS in after.components
    assert FITTED not in after.components
    assert not after.apex.ok
    x, y = MAP.plane().to_pixel(0.0, after.height, GRID.in_front)
    assert (after.x_px, after.y_px) == pytest.approx((float(x), float(y)), abs=0.2)


@pytest.mark.parametrize("off", [0.0, 0.9 * ODD_BORES, -0.9 * ODD_BORES])
def test_a_fit_that_looks_like_a_meniscus_stands(off):
    level = fit()
    assert held(level, off) is level


@pytest.mark.parametrize(
    ("reason", "off"),
    [("", 1.1 * ODD_BORES), ("", -0.9 * FAR_BORES), (AMBIGUOUS, 0.5 * ODD_BORES)],
)
def test_a_likely_fit_some_way_off_has_the_place_in_its_interval(reason, off):
    level = fit(reason)
    after = held(level, off)
    assert after.height == level.height
    assert after.apex is level.apex
    assert 2 * after.standard_uncertainty >= abs(off) * BORE_MM
    assert set(added(level.components, after)) == {"level seen elsewhere"}


@pytest.mark.parametrize("reason", [NOT_SEEN, ""])
@pytest.mark.parametrize("other", [{"chance": 0.9 * SURE}, {"between": True}, {"lies": True}])
def test_a_place_that_says_little_moves_no_fit(reason, other):
    level = fit(reason)
    assert held(level, 2 * FAR_BORES, **other) is level


def test_a_boundary_of_two_liquids_is_borne_out_more_widely():
    level = fit(NOT_SEEN)
    after = held(level, 0.0, between=True)
    u = pytest.approx(U_UNEXPLAINED_BETWEEN_BORES * BORE_MM)
    assert added(level.components, after) == {"meniscus unexplained": u}


def test_a_fit_that_found_no_place_gives_way():
    level = fit(NOT_SEEN)
    nowhere = LevelFit(
        height=float("nan"),
        x_px=float("nan"),
        y_px=float("nan"),
        components=(AXIS,),
        apex=level.apex,
    )
    assert held(nowhere, 0.0).height == pytest.approx(HEIGHT_MM)
