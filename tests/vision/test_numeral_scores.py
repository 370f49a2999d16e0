"""Scores of hypotheses: which labels are looked at, and what one of them can say."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.vision.numbering import Numbering, from_numberings, predict
from limbsight.vision.numeral_scores import (
    ABSENCE_CREDIT,
    CHANCE,
    MISREAD,
    MOST_LABELS,
    Look,
    Outcome,
    label_evidence,
    label_indices,
    look_at,
)
from tests.helpers.numerals import geometry, numbers, shown

LABELS = np.array([0.0, 10.0, 20.0, 30.0])


def numbering(zero_index=0.0, lowest=-math.inf, highest=math.inf):
    return Numbering(
        numbered_every=10, division=1.0, direction=1, unsigned=False,
        zero_index=zero_index, lowest=lowest, highest=highest,
    )  # fmt: skip


def evidence(texts, *numberings):
    """Of labels that show these texts, for each numbering."""
    look = Look(
        probabilities=shown(*texts, certain=0.9999),
        read=tuple(texts),
        boxes_px=np.zeros((4, 4, 2)),
    )
    prediction = predict(from_numberings(numberings), LABELS, 0)
    return label_evidence(look, prediction, prediction.ids)


class TestLabels:
    @given(
        st.integers(1, 60),
        st.integers(0, 59),
        st.integers(-90, 90),
        st.integers(2, 300),
        st.integers(1, 20),
    )
    def test_numbered_graduations_of_the_scale(self, step, phase, first, count, most):
        column = numbers(numbered_every=step, phase=phase % step)
        found = label_indices(geometry(count, first=first), column, most)
        every = [k for k in range(first, first + count) if k % step == phase % step]
        assert set(found) <= set(every)
        assert len(found) == min(most, len(every))
        assert (np.diff(found) > 0).all()

    def test_thinned_evenly_from_end_to_end(self):
        found = label_indices(geometry(1001), numbers(), MOST_LABELS)
        assert (found[0], found[-1]) == (0.0, 1000.0)
        assert set(np.diff(found)) <= {60.0, 70.0}


class TestEvidence:
    def test_what_is_read_speaks_for_its_numbering(self):
        right, wrong = evidence(["0", "10", "20", "30"], numbering(), numbering(-50.0))
        assert (right > 0.5 * -math.log(CHANCE)).all()
        assert (wrong < 0.5 * math.log(MISREAD)).all()

    def test_one_label_says_no_more_than_so_much(self):
        """Certain of a thousand numbers, or of having misread."""
        texts = ["0", "10", "20", "99"]
        (found,) = evidence(texts, numbering())
        assert (found <= math.log((1 - MISREAD) / CHANCE + MISREAD) + 1e-9).all()
        assert found[3] == pytest.approx(math.log(MISREAD), abs=0.2)

    def test_a_missing_label_that_should_be_missing_says_little(self):
        (found,) = evidence(["", "10", "20", ""], numbering(lowest=5.0, highest=25.0))
        assert found[0] == found[3] == ABSENCE_CREDIT
        assert (found[1:3] > 3 * ABSENCE_CREDIT).all()

    def test_one_where_none_should_be_speaks_against(self):
        beyond, within = evidence(
            ["0", "10", "20", "30"], numbering(lowest=5.0, highest=25.0), numbering()
        )
        assert beyond[[0, 3]] == pytest.approx(math.log(MISREAD), abs=0.2)
        assert within.sum() > beyond.sum()

    def test_spellings_of_one_number_count_together(self):
        halves = Numbering(
            numbered_every=10, division=0.05, direction=1, unsigned=False, zero_index=0.0
        )
        for texts in (["0.0", "0.5", "1.0", "1.5"], ["0", ".5", "1", "1.5"]):
            (found,) = evidence(texts, halves)
            assert (found > 0.5 * -math.log(CHANCE)).all()


def outcome(**changed):
    sequences = from_numberings((numbering(), numbering(-5.0)))
    usual = {
        "sequences": sequences,
        "prediction": predict(sequences, LABELS, 0),
        "scores": np.array([3.0, 7.0]),
        "evidence": np.array([0.75, 2.5]),
        "by_label": np.array([0.5, 2.0, 3.5, 4.0]),
        "look": Look(probabilities=shown("0"), read=("0",), boxes_px=np.zeros((1, 4, 2))),
        "column": numbers(),
        "labels": LABELS,
        "factor": 1.0,
        "pitch_px": 8.0,
        "u_slope": 0.0,
        "phase_known": False,
        "stance": "upright",
    }
    return Outcome(**usual | changed)


class TestOutcome:
    def test_the_best_is_that_with_the_highest_score(self):
        assert outcome().numbering == numbering(-5.0)
        assert outcome().mean == 2.5

    def test_lines_as_long_as_numbered_ones_settle_the_line(self):
        assert outcome(phase_known=True).shift_margin == math.inf
        assert not outcome(phase_known=True).is_far_from_lines

    def test_wide_divisions_settle_it_too(self):
        """Figures 2 px high or more off: the next line is 8 px away."""
        wide, narrow = outcome(pitch_px=8.0), outcome(pitch_px=1.0)
        assert wide.shift_margin > 4.0 > narrow.shift_margin > 0.0

    @pytest.mark.parametrize("offset_px", [4.0, -4.0])
    def test_figures_half_way_between_two_lines_settle_nothing(self, offset_px):
        """Whichever of the two they are set to."""
        half_way = outcome(column=numbers(offset_px=offset_px))
        assert half_way.shift_margin == pytest.approx(0.0, abs=1e-9)

    def test_less_so_where_lines_may_lean(self):
        leaning = outcome(u_slope=math.radians(3.0))
        assert leaning.shift_margin < 0.5 * outcome().shift_margin

    @pytest.mark.parametrize(("offset_px", "far"), [(0.0, True), (-40.0, False)])
    def test_figures_stand_beside_their_lines(self, offset_px, far):
        """The best numbering wants them five divisions, 40 px, below where they are."""
        assert outcome(column=numbers(offset_px=offset_px)).is_far_from_lines is far


@pytest.mark.parametrize(
    ("stance", "turn"),
    [("mirrored", (1, -1)), ("turned", (-1, -1))],
)
def test_labels_mirrored_or_on_their_head_are_read_as_they_were(stance, turn):
    """Turned about the label's own middle, the picture gives the same crop."""
    picture = np.full((441, 521), 200, np.uint8)
    cv2.putText(picture, "25", (247, 229), cv2.FONT_HERSHEY_SIMPLEX, 0.75, 30, 2, cv2.LINE_AA)
    labels = np.array([20.0])
    upright = look_at(picture, geometry(), numbers(), labels, "upright", 1.0)
    other = picture.copy()
    window = other[220 - 60 : 220 + 61, 260 - 70 : 260 + 71]
    window[:] = window[:: turn[0], :: turn[1]].copy()
    found = look_at(other, geometry(), numbers(), labels, stance, 1.0)
    assert found.probabilities == pytest.approx(upright.probabilities, abs=1e-3)
    assert found.read == upright.read == ("25",)
    unturned = look_at(other, geometry(), numbers(), labels, "upright", 1.0)
    assert np.abs(unturned.probabilities - upright.probabilities).max() > 0.5
