"""Naming the graduations from ends, lengths and numerals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.indexing import (
    MIN_LEAD,
    graduation_count,
    heights_of,
    hierarchy_gain,
    index_scale,
    is_numbered,
    line_evidence,
    value_of_height,
    within_scale,
    without_grown_lines,
)
from limbsight.calib.numbering import MIN_MARGIN
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb
from tests.helpers.boards import Camera, Column
from tests.helpers.scales import millimetres

CAMERA = Camera()
COLUMN = Column(first=0, last=80)
SCALE = millimetres(-40.0, 40.0, "away-from-zero")
START = 1000
"""Index of graduation 0 in the combs of these tests."""


def comb(column: Column = COLUMN, *, cut: tuple[int, int] = (0, 0), **changes) -> Comb:
    """The column without ``cut`` lines at its lower and upper end."""
    shift = column.first - COLUMN.first
    whole = column.comb(CAMERA, start=START + shift)
    return replace(taken(whole, slice(cut[0], len(whole.index) - cut[1])), **changes)


def taken(whole: Comb, which) -> Comb:
    kept = np.arange(len(whole.index))[which]
    overhang = None if whole.overhang is None else whole.overhang[kept]
    return replace(
        whole, index=whole.index[kept], lines=whole.lines.take(kept), overhang=overhang
    )


def test_whole_scale_is_sure():
    found = index_scale((comb(),), SCALE)
    assert found.shifts == (-START,)
    assert found.margin > MIN_MARGIN


@pytest.mark.parametrize("cut", [(5, 0), (0, 5), (8, 0), (7, 9)])
def test_hidden_ends_are_named_by_the_lengths(cut):
    assert index_scale((comb(cut=cut),), SCALE).shifts == (-START,)


def test_lines_missed_inside_cost_nothing():
    whole = comb()
    gaps = np.setdiff1d(np.arange(81), [3, 4, 17, 40, 41, 42, 66])
    found = index_scale((taken(whole, gaps),), SCALE)
    assert found.shifts == (-START,)
    assert found.margin > MIN_MARGIN


class TestLinesOfOnePlaceMissed:
    """Long lines end elsewhere than the short ones of which a column may be made."""

    SHORT = taken(comb(Column(first=0, last=80, lengths=(4.0, 4.0, 4.0))), slice(2, 78))

    def without(self, places: tuple[int, ...]) -> Comb:
        gone = np.isin((self.SHORT.index - START) % 10, places)
        return taken(self.SHORT, np.flatnonzero(~gone))

    def score(self, column: Comb) -> dict[int, float]:
        """What lines missed say of places beside the right one, over that."""
        lines = line_evidence((column,), SCALE)
        by_shift = dict(zip(lines.shifts.tolist(), lines.missed[0].tolist(), strict=True))
        return {step: by_shift[step - START] - by_shift[-START] for step in range(-1, 2)}

    def test_they_are_the_numbered_ones(self):
        assert max(self.score(self.without((0,)))[k] for k in (-1, 1)) < -9.0

    def test_grown_lines_leave_a_column_without_long_ones(self):
        column = self.without((0,))
        grown = (column.index - START) % 10 == 1
        lines = column.lines
        long = replace(lines, left=np.where(grown, lines.left - lines.length, lines.left))
        kept = without_grown_lines(replace(column, lines=long), SCALE)
        assert kept.index.tolist() == column.index[~grown].tolist()
        whole = replace(self.SHORT, lines=replace(self.SHORT.lines))
        assert without_grown_lines(whole, SCALE) is whole

    def test_two_places_missed_say_nothing(self):
        """Figures that touch the lines beside theirs hide both."""
        assert max(self.score(self.without((1, 9))).values()) < 1e-9

    def test_a_few_of_them_say_nothing(self):
        some = np.setdiff1d(np.arange(len(self.SHORT.index)), [8, 28, 48])
        assert max(self.score(taken(self.SHORT, some)).values()) < 1e-9


def test_a_line_beyond_the_scale_is_none_of_it():
    column = comb()
    wider = replace(column, index=column.index - 2)
    assert within_scale(column, -START, 81) is column
    kept = within_scale(wider, -START, 81)
    assert kept.index.tolist() == wider.index[2:].tolist()
    np.testing.assert_array_equal(kept.lines.y, wider.lines.y[2:])
    paper = replace(wider, parts=(wider,))
    assert within_scale(paper, -START, 81) is paper


def test_both_ends_hidden_and_all_lines_alike_is_ambiguous():
    plain = Column(first=0, last=80, lengths=(4.0, 4.0, 4.0))
    assert index_scale((comb(plain, cut=(10, 10)),), SCALE).margin < MIN_MARGIN


@pytest.mark.parametrize("cut", [(10, 10), (12, 0), (0, 11)])
def test_a_step_of_ten_is_not_told_by_lengths(cut):
    """Ten lines or more cut off: places ten apart explain the rest alike."""
    found = index_scale((comb(cut=cut),), SCALE)
    assert found.shifts[0] is not None
    assert (found.shifts[0] + START) % 10 == 0
    assert found.margin < MIN_MARGIN


def test_numerals_decide():
    cut = comb(cut=(10, 10))
    for place in (-10, 0, 10):
        said = {
            -START + step: (0.0 if step == place else -30.0) for step in (-20, -10, 0, 10, 20)
        }
        found = index_scale((cut,), SCALE, said)
        assert found.shifts == (-START + place,)
        assert found.margin > MIN_MARGIN


def test_too_many_graduations_are_another_scale():
    with pytest.raises(NotMeasurable) as caught:
        index_scale((comb(Column(first=0, last=110)),), SCALE)
    assert caught.value.code == "scale_differs_from_file"
    assert "81" in str(caught.value)


def test_unless_the_scale_may_go_on_beyond_its_numbers():
    said = {-START - step: (0.0 if step == 10 else -30.0) for step in range(31)}
    found = index_scale((comb(Column(first=0, last=110)),), SCALE, said, longer=True)
    assert found.shifts == (-START - 10,)
    assert found.margin > MIN_MARGIN


def test_one_stray_line_at_an_end_is_no_other_scale():
    assert index_scale((comb(Column(first=-1, last=80)),), SCALE).shifts == (-START,)


class TestSecondColumn:
    def test_in_step_has_the_same_shift(self):
        other = comb(Column(first=0, last=80, spine=20.0), index_error=0.1)
        assert index_scale((comb(), other), SCALE).shifts == (-START, -START)

    def test_one_off_is_put_right_by_its_own_ends(self):
        other = comb(Column(first=0, last=80, spine=20.0), index_error=0.4, index_offset=0.1)
        moved = replace(other, index=other.index + 1)
        assert index_scale((comb(), moved), SCALE).shifts == (-START, -START - 1)

    def test_sure_of_another_place_than_the_rest_is_a_doubt(self):
        """Its long lines say a division on: it is off, or what is said of the others is."""
        plain = Column(first=0, last=80, lengths=(4.0, 4.0, 4.0))
        told = comb(Column(first=0, last=80, spine=20.0), cut=(9, 9), index_error=0.3)
        told = replace(told, index=told.index + 1)
        first = int(comb(plain).index[0])
        said = {k - first: -8.0 * abs(k) for k in range(-4, 5)}
        both = (comb(plain, cut=(9, 9)), told)
        assert index_scale(both[:1], SCALE, said).margin >= 8.0
        assert index_scale(both, SCALE, said).margin == 0.0

    def test_in_doubt_is_left_out(self):
        plain = Column(first=0, last=80, spine=20.0, lengths=(4.0, 4.0, 4.0))
        other = comb(plain, cut=(15, 15), index_error=1.0, index_offset=0.5)
        assert index_scale((comb(), other), SCALE).shifts == (-START, None)


class TestValues:
    def test_count(self):
        assert graduation_count(SCALE) == 81
        assert graduation_count(replace(SCALE, division=0.1, lowest=-0.3, highest=0.3)) == 7

    def test_upward(self):
        np.testing.assert_allclose(heights_of(np.array([0, 40, 80]), 0, SCALE), [-40, 0, 40])
        assert value_of_height(12.5, SCALE) == 12.5
        assert is_numbered(np.array([0, 5, 10, 11, 40]), SCALE).tolist() == [
            True,
            False,
            True,
            False,
            True,
        ]

    def test_downward(self):
        down = replace(
            SCALE, numbers="downward", lowest=0.0, highest=85.0, numbered_every=10.0
        )
        # 85 is the lowest mark in the picture: numbers stand at 80, 70 and so on.
        assert value_of_height(0.0, down) == 85.0
        assert value_of_height(value_of_height(23.4, down), down) == pytest.approx(23.4)
        assert np.flatnonzero(is_numbered(np.arange(86), down)).tolist() == list(
            range(5, 86, 10)
        )


@pytest.mark.parametrize("beside", [1, 2])
def test_strokes_above_and_below_a_line_make_no_long_ones_of_its_neighbours(beside):
    """Figures are as high as two lines are apart, or four: what tells are the lengths then."""
    step = (np.arange(81) - 40) % 10
    noise = np.random.default_rng(beside).normal(0.0, 1.0, 81)
    strokes = np.where(step == beside, 20.0, 0.0) + np.where(step == 10 - beside, 45.0, 0.0)
    column = comb(overhang=noise + strokes)
    gains = [hierarchy_gain(column, step == k, 10) for k in range(10)]
    assert int(np.argmax(gains)) == 0
    assert index_scale((column,), SCALE).shifts == (-START,)


def test_lines_at_two_places_that_are_not_about_one_are_long():
    """Every fifth line and those beside it on one side, which nothing explains."""
    step = (np.arange(81) - 40) % 10
    column = comb(overhang=np.where(np.isin(step, (0, 5)), 40.0, 0.0) + 0.1 * step)
    assert hierarchy_gain(column, step == 0, 10) > hierarchy_gain(column, step == 1, 10)


def whole_board(standing: np.ndarray) -> Comb:
    """Lines over a whole board: how much each stands out, in standard deviations."""
    whole = comb(overhang=standing)
    return replace(whole, parts=(whole,))


@pytest.mark.parametrize("every", [10, 20])
def test_lines_that_stand_out_tell_the_place_on_a_board(every):
    """Others may be as long as the numbered ones: every tenth, of which half are numbered."""
    noise = np.random.default_rng(every).normal(0.0, 1.0, 81)
    standing = noise + np.where(np.arange(81) % 10 == 0, 5.0, 0.0)
    board = whole_board(standing)
    at = np.arange(81)
    right, beside, none = (
        hierarchy_gain(board, (at - shift) % every == 0) for shift in (0, 1, every // 2 + 1)
    )
    assert right > 6.9 + max(beside, none)
    assert hierarchy_gain(whole_board(noise), at % every == 0) < 3.0
    found = index_scale((board,), replace(SCALE, numbered_every=float(every)))
    assert found.shifts == (-START,)


@pytest.mark.parametrize("numbered_longer", [True, False])
def test_every_tenth_line_is_long_where_every_fiftieth_is_numbered(numbered_longer):
    at = np.arange(301)
    long = 6.0 * (at % 10 == 0) + 3.0 * (at % 10 == 5)
    long += 6.0 * (at % 50 == 0) if numbered_longer else 0.0
    noise = np.random.default_rng(1).normal(0.0, 1.0, 301)
    stick = Column(first=0, last=300).comb(CAMERA)
    stick = replace(stick, overhang=long + noise)
    gain = [hierarchy_gain(stick, at % 50 == k, 50) for k in (0, 1, 5, 10)]
    assert gain[0] > 6.9 + max(gain[1], gain[2])
    # The figures say which of the long ones is meant, the lines do not rule it out.
    assert (gain[0] > gain[3] + 2.0) == numbered_longer


@pytest.mark.parametrize("numbered_longer", [True, False])
def test_numbered_lines_are_long_where_every_second_is(numbered_longer):
    """Their median is that of either kind: by it the right place was the unlikeliest."""
    at = np.arange(98)
    long = 70.0 * (at % 2 == 0) + (12.0 * (at % 20 == 0) if numbered_longer else 0.0)
    noise = np.random.default_rng(2).normal(0.0, 3.0, 98)
    column = replace(Column(first=0, last=97).comb(CAMERA), overhang=long + noise)
    gain = [hierarchy_gain(column, at % 20 == k, 20) for k in (0, 1, 2)]
    assert gain[0] > gain[1] + MIN_LEAD
    assert (gain[0] > gain[2] + 2.0) == numbered_longer


def test_numbered_lines_that_are_all_the_long_ones_keep_their_gain():
    """Every fourth is numbered, and none else is long."""
    at = np.arange(33)
    noise = np.random.default_rng(3).normal(0.0, 3.0, 33)
    column = replace(
        Column(first=0, last=32).comb(CAMERA), overhang=60.0 * (at % 4 == 0) + noise
    )
    right, beside = (hierarchy_gain(column, (at - k) % 4 == 0, 4) for k in (0, 1))
    assert right > beside + MIN_MARGIN


def test_lines_that_stand_out_do_not_overrule_both_ends_of_a_board():
    """Figures on one side touch the line above each numbered one, and all others are alike."""
    count = graduation_count(SCALE)
    standing = np.where(np.arange(count) % 10 == 1, 8.0, 0.0)
    whole = Column(first=0, last=count - 1).comb(CAMERA)
    whole = replace(whole, overhang=standing)
    board = replace(whole, parts=(whole,))
    found = index_scale((board,), SCALE)
    assert found.margin < 6.9  # left to the figures
    start = -int(whole.index[0])
    figures = {start + k: 0.0 for k in range(-3, 4)} | {start: 20.0, start - 1: 15.0}
    assert index_scale((board,), SCALE, figures).shifts == (start,)


def test_a_touched_neighbour_does_not_outweigh_a_numbered_line():
    standing = np.zeros(81)
    standing[::10], standing[1::10] = 8.0, 6.0
    board = whole_board(standing)
    at = np.arange(81)
    # One line more, and no more than its weight.
    gain = [hierarchy_gain(board, at % 10 == k) for k in (0, 1)]
    assert abs(gain[0] - gain[1]) < 4.6


@pytest.mark.parametrize("times", [0.7, 1.0, 1.4])
def test_lines_of_another_pen_are_the_numbered_ones(times):
    """Of one length all; thick ones may look weaker to the filter that finds lines."""
    column = Column(first=0, last=60, lengths=(3.0, 3.0, 3.0)).comb(CAMERA)
    at = np.arange(61)
    strength = 30.0 * np.where(at % 8 == 0, times, 1.0)
    strength += np.random.default_rng(4).normal(0.0, 3.0, 61)
    column = replace(column, lines=replace(column.lines, strength=strength))
    gain = [hierarchy_gain(column, (at - k) % 8 == 0) for k in range(8)]
    if times == 1.0:
        assert max(gain) < 3.0
    else:
        assert gain[0] > 6.9 + max(gain[1:])
