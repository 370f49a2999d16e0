"""Tubes among posts, edges and print, at columns between pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.limbs import block_medians, find_limbs
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS, Tube, board_with

TUBE = Tube()
BLOCK_ROWS = 40


def search(picture, count, width=TUBE.width, marked=None):
    print_columns = np.zeros(picture.shape[1], bool)
    if marked:
        print_columns[marked[0] : marked[1]] = True
    return find_limbs(block_medians(picture, BLOCK_ROWS), width, count, print_columns)


def columns_of(found):
    return [limb.centre_column for limb in found.limbs]


@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
@pytest.mark.parametrize(("left", "right"), [(100.0, 290.0), (120.3, 260.8), (80.6, 160.4)])
def test_two_tubes(filling, left, right):
    low, high = (
        replace(TUBE, fillings=(filling, GLASS), levels=(row,)) for row in (280.4, 120.9)
    )
    found = search(board_with([(left, low), (right, high)]), 2)
    assert found.certain
    # A tenth of the bore: what the axis may miss before the meniscus looks lopsided.
    np.testing.assert_allclose(columns_of(found), [left, right], atol=0.1 * TUBE.bore)


def test_a_post_beside_the_tubes_is_none():
    picture = board_with([(120.3, TUBE), (260.8, TUBE)], posts=[(190.0, 30.0), (340.0, 20.0)])
    np.testing.assert_allclose(columns_of(search(picture, 2)), [120.3, 260.8], atol=2.1)


def test_light_that_falls_off_sideways():
    picture = board_with([(120.3, TUBE), (260.8, TUBE)], lean=0.4)
    np.testing.assert_allclose(columns_of(search(picture, 2)), [120.3, 260.8], atol=2.1)


def test_a_whole_bank_without_a_count():
    places = [40.2 + 65.3 * k for k in range(6)]
    levels = [110.4 + 40 * k for k in range(6)]
    tubes = [(x, replace(TUBE, levels=(row,))) for x, row in zip(places, levels, strict=True)]
    found = search(board_with(tubes, columns=420), None)
    np.testing.assert_allclose(columns_of(found), places, atol=2.1)


def test_three_tubes_where_two_are_asked_for_are_uncertain():
    picture = board_with([(80.0, TUBE), (190.0, TUBE), (300.0, TUBE)])
    found = search(picture, 2)
    assert len(found.limbs) == 2
    assert not found.certain


def test_an_empty_board_has_no_certain_limb():
    found = search(board_with([], posts=[(200.0, 30.0)]), 2)
    assert not found.certain


def test_columns_of_print_are_left_out():
    picture = board_with([(120.3, TUBE), (260.8, TUBE)])
    found = search(picture, 1, marked=(245, 277))
    np.testing.assert_allclose(columns_of(found), [120.3], atol=2.1)


def test_medians_drop_print_and_keep_fillings():
    picture = np.full((160, 30, 3), 180, np.uint8)
    picture[:, 10:20] = 90
    plain = block_medians(picture, BLOCK_ROWS)
    printed = picture.copy()
    printed[::7] = 20
    np.testing.assert_array_equal(block_medians(printed, BLOCK_ROWS), plain)
    assert plain.shape == (4, 30, 3)
