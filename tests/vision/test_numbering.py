"""Ways to number a scale: what each predicts, and that the right one is among them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.numbering import (
    BARE_DIVISIONS,
    Numbering,
    bare_hypotheses,
    enumerate_numberings,
    from_numberings,
    known_scale_hypotheses,
    predict,
    spellings,
    text_table,
)

STEPS = st.sampled_from([0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 25.0, 100.0])


def known(numbers, lowest=-20.0, highest=100.0, at=(0,), division=0.5):
    return known_scale_hypotheses(
        division=division,
        numbered_every=10.0,
        lowest=lowest,
        highest=highest,
        numbers=numbers,
        lowest_index=at,
    )


def texts_at(numbering, labels, phase=0):
    """Spellings predicted at each label, None where none stands."""
    found = predict(from_numberings((numbering,)), np.array(labels, float), phase)
    return [found.texts.texts[k] if k >= 0 else None for k in found.ids[0]]


class TestKnown:
    @given(st.integers(-300, 300), st.sampled_from(["upward", "downward", "away-from-zero"]))
    def test_the_ends_of_the_scale_are_where_they_are_supposed(self, start, numbers):
        (one,) = known(numbers, at=(start,)).numberings
        ends = (100.0, -20.0) if numbers == "downward" else (-20.0, 100.0)
        assert one.value(start) == pytest.approx(ends[0])
        assert one.value(start + 240) == pytest.approx(ends[1])
        assert one.numbered_every == 20

    def test_each_place_of_the_lower_end_is_one(self):
        table = known("upward", at=range(-3, 4))
        assert [n.value(n.zero_index) for n in table.numberings] == [0.0] * 7
        assert np.diff([n.zero_index for n in table.numberings]).tolist() == [1.0] * 6

    def test_only_away_from_zero_is_without_sign(self):
        assert [
            known(numbers).numberings[0].unsigned
            for numbers in ("upward", "downward", "away-from-zero")
        ] == [False, False, True]

    def test_divisions_that_are_no_round_number_in_binary(self):
        (one,) = known("upward", division=0.1, at=(0,)).numberings
        assert one.numbered_every == 100
        assert one.value(200) == pytest.approx(0.0, abs=1e-9)

    def test_nothing_known_leaves_the_usual_divisions(self):
        table = bare_hypotheses(numbered_every=10, phase=3)
        assert (table.numbered_every, table.phase) == (10, 3)
        assert table.numberings == ()
        assert table.divisions == BARE_DIVISIONS


class TestSpellings:
    @given(st.integers(0, 150), STEPS)
    def test_each_is_the_number(self, number, step):
        for text in spellings(number, step):
            assert float(text) == pytest.approx(number * step, abs=1e-9)

    @given(st.integers(0, 150), STEPS)
    def test_none_is_there_twice(self, number, step):
        assert len(set(spellings(number, step))) == len(spellings(number, step))

    @pytest.mark.parametrize(
        ("number", "step", "texts"),
        [
            (0, 10.0, ("0",)),
            (12, 10.0, ("120",)),
            (0, 0.5, ("0.0", "0")),
            (4, 0.25, ("1.00", "1")),
            (1, 0.0625, ("0.0625", ".0625")),
            (20, 0.5, ("10.0", "10")),
        ],
    )
    def test_as_printed(self, number, step, texts):
        assert spellings(number, step) == texts

    def test_the_table_finds_them_again(self):
        table = text_table((0.5, 10.0), 3)
        assert table.texts[1 * (3 + 1) + 2] == ("20",)
        assert table.texts[2] == ("1.0", "1")
        ends = [*table.starts[1:], len(table.where)]
        for texts, first, last in zip(table.texts, table.starts, ends, strict=True):
            assert tuple(table.distinct[k] for k in table.where[first:last]) == texts


class TestPredictions:
    def test_upward(self):
        (one,) = known("upward").numberings
        assert texts_at(one, [0, 20, 40, 60]) == [("20",), ("10",), ("0",), ("10",)]

    def test_downward(self):
        (one,) = known("downward").numberings
        assert texts_at(one, [0, 20, 200, 240]) == [("100",), ("90",), ("0",), ("20",)]

    def test_beyond_the_ends_there_are_none(self):
        (one,) = known("upward").numberings
        assert texts_at(one, [-20, 0, 240, 260]) == [None, ("20",), ("100",), None]

    def test_ends_count_although_tenths_are_not_exact(self):
        one = known("upward", lowest=-0.3, highest=0.3, division=0.1).numberings[0]
        sequences = from_numberings((one,))
        assert sequences.step == 100
        short = known_scale_hypotheses(
            division=0.1, numbered_every=0.1, lowest=-0.3, highest=0.3, numbers="upward",
            lowest_index=(0,),
        ).numberings[0]  # fmt: skip
        assert None not in texts_at(short, range(7))
        assert texts_at(short, [-1, 7]) == [None, None]

    def test_between_labels_the_nearest_ones_count(self):
        """Labels found three lines above those that are numbered."""
        (one,) = known("upward").numberings
        found = predict(from_numberings((one,)), np.array([3.0, 23.0, 43.0]), 3)
        assert found.shift.tolist() == [-3.0]
        assert found.values.tolist() == [[-20.0, -10.0, 0.0]]

    @given(st.integers(-200, 200), st.integers(0, 19))
    def test_the_shift_is_less_than_half_a_step(self, start, phase):
        (one,) = known("upward", at=(start,)).numberings
        labels = phase + 20.0 * np.arange(4)
        found = predict(from_numberings((one,)), labels, phase)
        assert -10 <= found.shift[0] <= 10
        # shifted so, the labels stand at whole numbers
        at = [one.value(label + found.shift[0]) / 10.0 for label in labels]
        assert at == pytest.approx(np.round(at))

    def test_divisions_of_many_hypotheses_keep_their_texts(self):
        one, other = (
            Numbering(
                numbered_every=10, division=d, direction=1, unsigned=False, zero_index=0.0
            )
            for d in (1.0, 0.05)
        )
        found = predict(from_numberings((one, other)), np.array([0.0, 30.0]), 0)
        texts = [[found.texts.texts[k] for k in row] for row in found.ids]
        assert texts == [[("0",), ("30",)], [("0.0", "0"), ("1.5",)]]
        assert from_numberings((one, other)).numbering(1) == other


class TestEnumeration:
    @settings(max_examples=60, deadline=None)
    @given(
        st.sampled_from([0.1, 0.5, 1.0, 2.0]),
        st.sampled_from([5, 10]),
        st.integers(0, 12),
        st.integers(3, 12),
        st.sampled_from([1, -1]),
        st.integers(-50, 50),
    )
    def test_the_right_one_is_among_them(
        self, division, step, first, count, direction, lowest
    ):
        """Numbers from ``first`` steps up, or down to it; lines one step beyond the labels."""
        labels = lowest + step * np.arange(count, dtype=float)
        below, above = labels[0] - first * step, labels[-1] + (first + 1) * step
        zero = below if direction > 0 else above
        found = enumerate_numberings((division,), step, labels, float(labels[-1] + step - 1))
        match = (found.direction == direction) & (found.zero_index == zero)
        assert match.sum() == 1
        which = int(np.flatnonzero(match)[0])
        assert found.numbering(which).value(labels[0]) == pytest.approx(
            direction * division * (labels[0] - zero)
        )

    def test_a_zero_inside_is_printed_without_sign(self):
        labels = np.array([0.0, 10.0, 20.0, 30.0])
        found = enumerate_numberings((1.0,), 10, labels, 30.0)
        inside = (found.zero_index > labels[0]) & (found.direction > 0)
        assert inside.any()
        assert np.array_equal(found.unsigned, inside)

    def test_falling_past_zero_would_have_changed_its_sign(self):
        """Lines go on two beyond the number that would be zero."""
        labels = np.array([0.0, 10.0, 20.0])
        down = {
            last: enumerate_numberings((1.0,), 10, labels, last) for last in (20.0, 21.0, 22.0)
        }
        nearest = {
            last: found.zero_index[found.direction < 0].min() for last, found in down.items()
        }
        # one line more may be a border of the board
        assert nearest == {20.0: 20.0, 21.0: 20.0, 22.0: 30.0}

    @pytest.mark.parametrize(("last", "nearest"), [(43.0, 40.0), (44.0, 60.0)])
    def test_far_apart_numbers_end_at_their_zero(self, last, nearest):
        """Three lines more of twenty are not the other half of a scale."""
        found = enumerate_numberings((0.05,), 20, np.array([0.0, 20.0, 40.0]), last)
        assert found.zero_index[found.direction < 0].min() == nearest

    @pytest.mark.parametrize(
        ("division", "step", "usual"),
        [(1.0, 10, True), (0.5, 5, True), (0.1, 20, True), (0.05, 4, True), (1.0, 3, False),
         (0.0625, 8, True), (0.125, 10, False), (2.0, 4, False)],
    )  # fmt: skip
    def test_numbers_go_up_in_usual_steps(self, division, step, usual):
        labels = step * np.arange(4.0)
        found = enumerate_numberings((division,), step, labels, float(labels[-1]))
        assert bool(len(found.division)) is usual
