"""Columns of one board, and boards of other instruments beside it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbsight.calib.boards import choose_board
from tests.helpers.boards import Camera, Column
from tests.helpers.scales import millimetres

CAMERA = Camera(width=1800, x=120.0, distance=900.0)
SCALE = millimetres(-40.0, 40.0, "away-from-zero")


def column(x_mm, count=81, **changes):
    comb = Column(spine=x_mm, first=-40, last=-41 + count).comb(CAMERA, noise_px=0.1)
    return replace(comb, **changes)


def choose(*groups, bank=False, stated=True):
    return choose_board(groups, SCALE, 1e-3, bank=bank, stated=stated)


def test_one_board_stays_whole():
    left, right = column(0.0), column(60.0)
    found = choose((left, right))
    assert found.chosen == (left, right)
    assert len(found.rivals) == 0


def test_columns_in_step_but_far_apart_are_two_boards():
    mine, other, beside = column(0.0), column(300.0, 70), column(20.0, 60)
    found = choose((mine, other, beside))
    assert found.chosen == (mine, beside)
    assert len(found.rivals) == 1


def test_of_a_bank_they_are_one():
    left, right = column(0.0), column(300.0)
    found = choose((left, right), bank=True)
    assert found.chosen == (left, right)
    assert len(found.rivals) == 0


def test_beside_the_board_of_a_bank_what_is_out_of_step_is_another():
    left, right, beside, between = (column(x) for x in (0.0, 120.0, 170.0, 60.0))
    assert len(choose((left, right), (beside,), bank=True).rivals) == 1
    assert len(choose((left, right), (between,), bank=True).rivals) == 0


@pytest.mark.parametrize("way", [-1, 1])
def test_another_group_far_off_is_another_board(way):
    mine, other = column(100.0), column(100.0 + 200.0 * way, 60)
    found = choose((mine,), (other,))
    assert found.chosen == (mine,)
    assert len(found.rivals) == 1


@pytest.mark.parametrize(
    "other",
    [
        column(20.0, 60),  # beside the tube of the same board
        column(300.0, 30),  # far from complete
        column(300.0, 70, residual_px=0.5),  # tiles: not even
    ],
)
def test_what_is_no_other_instrument(other):
    assert len(choose((column(0.0),), (other,)).rivals) == 0


def test_a_third_is_counted_and_two_columns_of_one_are_not():
    found = choose((column(0.0),), (column(200.0), column(230.0)), (column(400.0),))
    assert len(found.rivals) == 2


def test_what_else_may_be_a_board_of_its_own():
    """Another one in step and near by, and what is smaller."""
    mine, near, other = column(0.0, 80), column(60.0), column(300.0, 30)
    assert choose((mine, near), (other,)).others == ((near,), (mine,), (other,))
    assert choose((mine,)).others == ()


def column_in_tenths_of_an_inch(x_mm):
    """A second scale between the same ends."""
    inches = Camera(width=1800, x=CAMERA.x / 2.54, distance=CAMERA.distance / 2.54)
    return Column(spine=x_mm / 2.54, first=-16, last=15).comb(inches, noise_px=0.1)


@pytest.mark.parametrize(
    ("other", "rivals"),
    [
        (column(80.0, 70), 1),
        (column(20.0, 70), 0),
        (column_in_tenths_of_an_inch(60.0), 0),
    ],
    ids=["another instrument", "ends of the same lines", "second unit"],
)
def test_without_a_file_a_column_out_of_step_is_another_instrument(other, rivals):
    assert len(choose((column(0.0),), (other,), stated=False).rivals) == rivals
    assert len(choose((column(0.0),), (other,)).rivals) == 0
