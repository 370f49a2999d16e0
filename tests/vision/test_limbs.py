"""Tubes among posts, edges and print, at columns between pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.limbs import (
    BoardPicture,
    LimbBand,
    block_medians,
    choose_limbs,
    limb_candidates,
)
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS, Cover, Tube, board_with

TUBE = Tube()
BLOCK_ROWS = 40
# A tenth of the bore: what the axis may miss before the meniscus looks lopsided.
TOLERANCE = 0.1 * TUBE.bore


def board_of(picture, marked=None):
    print_columns = np.zeros(picture.shape[1], bool)
    if marked:
        print_columns[marked[0] : marked[1]] = True
    return BoardPicture(
        bgr=picture, print_columns=print_columns, block_rows=BLOCK_ROWS, line_rows=4.0
    )


def search(picture, count, marked=None):
    found = limb_candidates(board_of(picture, marked), TUBE.width, TUBE.bore, count + 4)
    return choose_limbs(found.bands, count)


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
    np.testing.assert_allclose(columns_of(found), [left, right], atol=TOLERANCE)


def test_a_post_beside_the_tubes_is_none():
    picture = board_with([(120.3, TUBE), (260.8, TUBE)], posts=[(190.0, 30.0), (340.0, 20.0)])
    np.testing.assert_allclose(columns_of(search(picture, 2)), [120.3, 260.8], atol=TOLERANCE)


def test_light_that_falls_off_sideways():
    picture = board_with([(120.3, TUBE), (260.8, TUBE)], lean=0.4)
    np.testing.assert_allclose(columns_of(search(picture, 2)), [120.3, 260.8], atol=TOLERANCE)


def test_a_clear_tube_beside_strong_wood():
    tube = replace(TUBE, fillings=(CLEAR, GLASS))
    picture = board_with([(120.3, tube), (210.8, tube)]).astype(int)
    grain = np.random.default_rng(3).normal(0, 25, 120).cumsum()
    picture[:, 280:] += (40 * np.sin(grain / 40)).astype(int)[None, :, None]
    found = search(np.clip(picture, 0, 255).astype(np.uint8), 2)
    np.testing.assert_allclose(columns_of(found), [120.3, 210.8], atol=TOLERANCE)


def test_clips_do_not_draw_the_axis_away():
    cover = Cover(rows=(60, 80), reach=2.0, colour=(0.05, 0.05, 0.6))
    tube = replace(TUBE, covers=(cover,))
    picture = board_with([(120.3, tube), (260.8, tube)])
    np.testing.assert_allclose(columns_of(search(picture, 2)), [120.3, 260.8], atol=TOLERANCE)


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
    np.testing.assert_allclose(columns_of(found), [120.3], atol=TOLERANCE)


def test_a_band_that_overlaps_a_limb_rivals_that_limb_only():
    bands = [
        LimbBand(centre_column=c, width_columns=30.0, score=s)
        for c, s in [(100.0, 90.0), (118.0, 40.0), (250.0, 30.0)]
    ]
    choice = choose_limbs(bands, 2)
    assert columns_of(choice) == [100.0, 250.0]
    assert choice.place_clearance == pytest.approx(90.0 / 40.0)
    assert choice.clearance == np.inf


def test_medians_drop_print_and_keep_fillings():
    picture = np.full((160, 30, 3), 180, np.uint8)
    picture[:, 10:20] = 90
    plain = block_medians(picture, BLOCK_ROWS)
    printed = picture.copy()
    printed[::7] = 20
    np.testing.assert_array_equal(block_medians(printed, BLOCK_ROWS), plain)
    assert plain.shape == (4, 30, 3)
