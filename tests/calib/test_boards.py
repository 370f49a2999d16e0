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


def choose(*groups, bank=False):
    return choose_board(groups, SCALE, 1e-3, bank=bank)


def test_one_board_stays_whole():
    left, right = column(0.0), column(60.0)
    found = choose((left, right))
    assert found.chosen == (left, right)
    assert found.rivals == 0


def test_columns_in_step_but_far_apart_are_two_boards():
    mine, other, beside = column(0.0), column(300.0, 70), column(20.0, 60)
    found = choose((mine, other, beside))
    assert found.chosen == (mine, beside)
    assert found.rivals == 1


def test_of_a_bank_they_are_one():
    left, right = column(0.0), column(300.0)
    found = choose((left, right), bank=True)
    assert found.chosen == (left, right)
    assert found.rivals == 0


@pytest.mark.parametrize("way", [-1, 1])
def test_another_group_far_off_is_another_board(way):
    mine, other = column(100.0), column(100.0 + 200.0 * way, 60)
    found = choose((mine,), (other,))
    assert found.chosen == (mine,)
    assert found.rivals == 1


@pytest.mark.parametrize(
    "other",
    [
        column(20.0, 60),  # beside the tube of the same board
        column(300.0, 30),  # far from complete
        column(300.0, 70, residual_px=0.5),  # tiles: not even
    ],
)
def test_what_is_no_other_instrument(other):
    assert choose((column(0.0),), (other,)).rivals == 0


def test_a_third_is_counted_and_two_columns_of_one_are_not():
    found = choose((column(0.0),), (column(200.0), column(230.0)), (column(400.0),))
    assert found.rivals == 2
