"""Changes that end at the walls of one tube, and what does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.layers import Interface
from limbsight.vision.level_marks import (
    UNSEEN_WEIGHT,
    level_evidence,
    lines_across,
    steps_across,
    tube_weight,
)
from limbsight.vision.levels import find_layers
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS, Cover, Tube, board_with

TUBE = Tube()
ROWS = (20, 380)


def evidence(picture):
    return level_evidence(picture, TUBE.width, TUBE.bore, line_rows=4.0, block_rows=40)


def at_level(row=210.3):
    return (Interface(row=row, step=100.0),)


def parts_of(change, tube=TUBE):
    """What shows in the bore, and on the board beside the tube."""
    away = np.abs(np.arange(len(change)) - 0.5 * (len(change) - 1))
    return change[away < 0.4 * tube.bore], change[away > 0.56 * tube.width]


class TestEvidence:
    @pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
    @pytest.mark.parametrize("column", [90.0, 201.4])
    def test_it_is_clearest_on_the_axis_of_a_tube_with_a_level(self, filling, column):
        tube = replace(TUBE, fillings=(filling, GLASS))
        found = evidence(board_with([(column, tube)]))
        assert len(found) == 400
        assert np.argmax(found) == pytest.approx(column, abs=0.15 * TUBE.bore)

    def test_a_tube_without_a_level_has_little(self):
        even = replace(TUBE, fillings=(BLUE_WATER,), levels=())
        found = evidence(board_with([(110.0, even), (280.0, TUBE)]))
        assert found[95:125].max() < 0.2 * found[265:295].max()

    def test_edges_across_the_whole_board_are_none(self):
        """The shadow of a shelf lies over board and tube alike."""
        board = board_with([(280.0, TUBE)]).astype(float)
        board[:120] *= 0.6
        found = evidence(board.astype(np.uint8))
        assert np.argmax(found) == pytest.approx(280.0, abs=0.15 * TUBE.bore)
        assert found[40:200].max() < 0.2 * found.max()

    def test_print_that_repeats_is_none(self):
        """Numbers are as wide as a bore, and there in every block of rows."""
        board = board_with([(280.0, TUBE)])
        for row in range(15, 390, 40):
            board[row : row + 14, 100:118] = 40
        found = evidence(board)
        assert np.argmax(found) == pytest.approx(280.0, abs=0.15 * TUBE.bore)
        assert found[90:128].max() < 0.3 * found.max()

    def test_what_changes_the_board_nearly_as_much_is_none(self):
        """A shadow that is a little deeper over one stretch as wide as a bore."""
        board = np.full((400, 400, 3), 170, np.uint8)
        board[200:] = 90
        board[200:, 190:211] = 70
        assert evidence(board).max() < 1.0

    @pytest.mark.parametrize("rows", [3, 20])
    def test_a_board_too_low_for_windows_has_none(self, rows):
        found = evidence(np.full((rows, 300, 3), 150, np.uint8))
        assert found == pytest.approx(np.zeros(300))

    def test_a_board_smaller_than_its_tubes_in_columns(self):
        """Drawn larger or smaller, the evidence lies at the same share of the width."""
        board = board_with([(201.4, TUBE)])
        twice = np.repeat(np.repeat(board, 2, axis=0), 2, axis=1)
        found = level_evidence(twice, 2 * TUBE.width, 2 * TUBE.bore, 8.0, 80)
        assert np.argmax(found) == pytest.approx(2 * 201.4 + 0.5, abs=0.3 * TUBE.bore)


class TestAcross:
    def test_a_step_fills_the_bore_and_ends_at_the_walls(self):
        (change,) = steps_across(TUBE.strip(), at_level())
        inside, beside = parts_of(change)
        assert inside.min() > 100.0
        assert beside.max() < 0.2 * inside.min()

    def test_so_does_the_line_of_a_clear_liquid(self):
        clear = replace(TUBE, fillings=(CLEAR, GLASS))
        (change,) = lines_across(clear.strip(), at_level())
        inside, beside = parts_of(change)
        assert np.median(inside) > 30.0
        assert np.median(beside) < 0.3 * np.median(inside)

    def test_one_for_each_level_in_their_order(self):
        two = replace(TUBE, fillings=(AMBER, BLUE_WATER, GLASS), levels=(300.2, 120.7))
        interfaces = (*at_level(300.2), *at_level(120.7))
        alone = [steps_across(two.strip(), (one,))[0] for one in interfaces]
        assert [list(change) for change in steps_across(two.strip(), interfaces)] == [
            list(change) for change in alone
        ]

    @pytest.mark.parametrize("row", [2.0, 398.0])
    def test_at_an_end_of_the_strip_there_is_nothing_to_compare(self, row):
        assert steps_across(TUBE.strip(), at_level(row)) == []

    def test_a_line_needs_some_rows_on_either_side(self):
        low = replace(TUBE, rows=8, levels=(4.0,))
        assert lines_across(low.strip(), at_level(4.0)) == []

    def test_glare_down_the_tube_does_not_part_it(self):
        """Burnt out above and below, its columns say what those beside them do."""
        strip = TUBE.strip()
        strip.bgr[:, 48:52] = 255
        (change,) = steps_across(strip, at_level())
        inside, _ = parts_of(change)
        assert inside.min() > 100.0

    def test_glare_all_over_shows_no_step(self):
        strip = TUBE.strip()
        strip.bgr[:] = 255
        (change,) = steps_across(strip, at_level())
        assert not change.any()


class TestWeight:
    def weight(self, tube, count=1, **changes):
        strip = replace(tube.strip(), **changes)
        return tube_weight(strip, find_layers(strip, count, ROWS), count)

    @pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
    def test_a_tube_outweighs_an_empty_stretch(self, filling):
        tube = replace(TUBE, fillings=(filling, GLASS))
        assert self.weight(tube) > 2 * UNSEEN_WEIGHT

    def test_without_its_level_it_may_be_hidden(self):
        even = replace(TUBE, fillings=(BLUE_WATER,), levels=())
        assert self.weight(even) == UNSEEN_WEIGHT

    def test_with_one_level_of_two_as_well(self):
        assert self.weight(TUBE, count=2) == UNSEEN_WEIGHT

    def test_an_edge_as_wide_as_the_board_makes_no_tube(self):
        """The edge of a sheet of paper, taken for a level."""
        strip = TUBE.strip()
        strip.bgr[:210] = 150
        strip.bgr[210:] = 70
        layers = find_layers(TUBE.strip(), 1, ROWS)
        assert tube_weight(strip, layers, 1) < 0.5 * tube_weight(TUBE.strip(), layers, 1)

    def test_what_is_hidden_says_little(self):
        hidden = replace(TUBE, levels=(200.0,), covers=(Cover(rows=(170.0, 230.0)),))
        assert self.weight(hidden) == UNSEEN_WEIGHT
