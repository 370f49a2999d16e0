"""Which turns are tried, and where the picture alone tells up from down."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.standing import Stand, stands
from limbsight.vision.working import full_size
from tests.helpers.boards import Camera, Column, photograph, print_of


def tried(roll_deg: float, incline_deg: float | None = None) -> list[Stand]:
    camera = Camera(width=560, height=560, roll=roll_deg, x=0.0, y=0.0)
    working = full_size(photograph(camera, print_of(Column())))
    incline = None if incline_deg is None else np.radians(incline_deg)
    return list(stands(working, incline_rad=incline))


def degrees(stand: Stand) -> float:
    return float(np.degrees(stand.turn.angle_rad))


def test_an_upright_scale_is_tried_as_it_is_first_and_on_its_head_last():
    as_it_is, on_its_head = tried(0.0)
    assert as_it_is.turn.is_none
    assert as_it_is.up_certain
    assert degrees(on_its_head) == pytest.approx(180.0)
    assert not on_its_head.up_certain


def test_looking_for_directions_is_left_until_it_is_needed():
    working = full_size(np.zeros((10, 10, 3), np.uint8))
    assert next(stands(working, incline_rad=None)).turn.is_none


@pytest.mark.parametrize("roll", [15.0, -25.0])
def test_a_tilted_board_has_its_upper_end_up(roll):
    _, straightened, on_its_head = tried(roll)
    assert straightened.up_certain
    assert not on_its_head.up_certain
    # The camera turned one way, the board turns the other.
    assert abs(degrees(straightened)) == pytest.approx(abs(roll), abs=1.5)


@pytest.mark.parametrize("roll", [90.0, 270.0])
def test_a_lying_picture_is_for_the_numbers_to_settle(roll):
    as_it_is, one, other = tried(roll)
    assert as_it_is.turn.is_none
    assert {round(abs(degrees(s))) for s in (one, other)} <= {90, 270}
    assert not one.up_certain
    assert not other.up_certain


@pytest.mark.parametrize(("roll", "incline"), [(70.0, 20.0), (-70.0, 20.0), (55.0, 30.0)])
def test_an_inclined_tube_rises_where_it_is_higher(roll, incline):
    (only,) = tried(roll, incline)
    assert only.up_certain
    up = -np.cos(only.turn.angle_rad)
    assert up < 0
    assert abs(degrees(only)) == pytest.approx(abs(roll), abs=1.5)


@pytest.mark.parametrize(
    ("roll", "incline"),
    [(88.0, 10.0), (90.0, 20.0), (20.0, 15.0)],
    ids=["nearly level", "level", "camera turned by a quarter"],
)
def test_where_the_tilt_of_the_camera_may_hide_it_both_ends_are_tried(roll, incline):
    both = tried(roll, incline)
    assert len(both) == 2
    assert not any(stand.up_certain for stand in both)


@given(st.floats(1.0, 45.0), st.floats(-4.0, 4.0))
def test_a_hand_held_camera_never_makes_the_lower_end_the_upper(incline, tilt):
    """Where the end is called certain, an ordinary tilt of the hand can't have swapped it."""
    from limbsight.standing import _is_up_certain

    seen = np.radians(incline + tilt)
    angle = np.pi / 2 - abs(seen)
    if _is_up_certain(angle, np.radians(incline)):
        assert seen > 0
