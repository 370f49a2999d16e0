"""Lines cut into pieces: where, which of them count, and the step from one to the next."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.vision.board_pieces import COLUMN_PX, common_lean, cut_pieces, even_columns
from limbsight.vision.segments import Segments, ridges_of


def lines_of(*lines):
    """Crests of straight lines: left end, right end, height at x = 0, slope."""
    x = [np.arange(left, right + 1.0) for left, right, _, _ in lines]
    y = [height + slope * at for at, (_, _, height, slope) in zip(x, lines, strict=True)]
    label = np.concatenate([np.full(len(at), k) for k, at in enumerate(x)])
    across = np.concatenate(x)
    return ridges_of(across, np.concatenate(y), np.full(len(across), 20.0), label, len(lines))


def cut(*lines, lean=0.0):
    ridges = lines_of(*lines)
    return cut_pieces(ridges, ridges.x, lean)


def segments(slopes, lengths):
    slope, length = np.array(slopes, float), np.array(lengths, float)
    zero = np.zeros(len(slope))
    return Segments(
        x=zero, y=zero, slope=slope, left=zero, right=length - 1.0, strength=zero + 20.0
    )


class TestLean:
    @given(st.floats(-0.25, 0.25))
    def test_that_of_the_board_not_of_what_lies_about(self, slope):
        found = common_lean(segments([slope] * 30 + [slope + 0.2, -0.3, 0.3], [30.0] * 33))
        assert found == pytest.approx(slope, abs=0.005)

    def test_length_counts_not_number(self):
        """Strokes of figures are many and short."""
        found = common_lean(segments([0.05] * 10 + [-0.2] * 40, [80.0] * 10 + [8.0] * 40))
        assert found == pytest.approx(0.05)

    def test_but_the_rim_of_a_board_is_one_line(self):
        found = common_lean(segments([0.05] * 10 + [-0.2], [80.0] * 10 + [3000.0]))
        assert found == pytest.approx(0.05)


class TestCut:
    def test_one_piece_in_each_column_it_crosses(self):
        found = cut((0, 5 * COLUMN_PX - 1, 40.0, 0.0))
        assert found.column.tolist() == [0, 1, 2, 3, 4]
        middles = COLUMN_PX * (np.arange(5) + 0.5) - 0.5
        assert found.lines.x == pytest.approx(middles, abs=1e-9)
        assert found.lines.y == pytest.approx(40.0)

    def test_stubs_at_its_ends_are_too_short(self):
        """Fewer than six pixels place no line."""
        found = cut(
            (COLUMN_PX - 3, 2 * COLUMN_PX + 2, 40.0, 0.0), (0, COLUMN_PX - 1, 50.0, 0.0)
        )
        assert sorted(zip(found.column.tolist(), found.lines.y.round(), strict=True)) == [
            (0, 50.0),
            (1, 40.0),
        ]

    def test_columns_count_from_the_first(self):
        ridges = lines_of((0, 4 * COLUMN_PX - 1, 40.0, 0.0))
        found = cut_pieces(ridges, ridges.x - 10 * COLUMN_PX, 0.0)
        assert found.column.tolist() == [0, 1, 2, 3]

    def test_every_crest_knows_its_piece(self):
        found = cut((COLUMN_PX - 3, 3 * COLUMN_PX - 1, 40.0, 0.0))
        # three crests of a stub, then two whole pieces
        assert found.part.tolist() == [-1] * 3 + [0] * 12 + [1] * 12

    def test_what_leans_otherwise_is_no_graduation(self):
        steep, along = (0, 60.0, 100.0, 0.2), (0, 60.0, 40.0, 0.03)
        found = cut(steep, along, lean=0.03)
        assert len(found.lines) == 5
        assert found.lines.slope == pytest.approx(0.03)

    def test_bent_lines_are_none(self):
        ridges = lines_of((0, 11.0, 40.0, 0.0))
        wavy = ridges_of(
            ridges.x, 40.0 + 2.5 * np.sin(2.0 * ridges.x), ridges.strength, ridges.label, 1
        )
        assert len(cut_pieces(wavy, wavy.x, 0.0).lines) == 0

    @given(st.floats(-0.2, 0.2))
    def test_down_is_the_distance_across_leaning_lines(self, lean):
        """Two lines ten apart upright are ten times the cosine of their lean apart."""
        found = cut((0, 11.0, 40.0, lean), (0, 11.0, 50.0, lean), lean=lean)
        assert abs(np.diff(found.down)[0]) == pytest.approx(10 * np.cos(np.arctan(lean)))


class TestEven:
    @pytest.mark.parametrize("pitch", [4.0, 9.7, 31.0])
    def test_the_step_of_a_column_of_lines(self, pitch):
        found = cut(*((0, 2 * COLUMN_PX - 1, 20 + pitch * k, 0.0) for k in range(25)))
        count, step = even_columns(found)
        assert count.tolist() == [24, 24]
        # classes of steps are 8 per cent wide, and three of them count together
        assert step == pytest.approx(pitch, rel=0.125)

    def test_lines_at_random_are_hardly_alike(self):
        rows = np.cumsum(np.random.default_rng(1).uniform(4.0, 60.0, 25))
        count, _ = even_columns(cut(*((0, 11.0, row, 0.0) for row in rows)))
        assert count[0] < 13

    def test_perspective_leaves_steps_alike_enough(self):
        """Ten per cent from the top to the bottom."""
        rows = 20 + np.cumsum(np.linspace(9.5, 10.5, 30))
        count, step = even_columns(cut(*((0, 11.0, row, 0.0) for row in rows)))
        assert count[0] >= 28
        assert step[0] == pytest.approx(10.0, rel=0.125)

    def test_a_column_without_lines_has_no_steps(self):
        found = cut((0, 11.0, 40.0, 0.0), (24.0, 35.0, 50.0, 0.0), (24.0, 35.0, 60.0, 0.0))
        count, _ = even_columns(found)
        assert count.tolist() == [0, 0, 1]
