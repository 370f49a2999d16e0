"""Numbered lines stand out by ink or reach; what changes slowly does not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.board_emphasis import STANDING_OUT, emphasis, ink_of
from limbsight.vision.segments import Segments

LINES = 101
NUMBERED = np.arange(LINES) % 10 == 0
NOISE = np.random.default_rng(3).normal(0.0, 1.0, (40, LINES))
INNER = slice(1, -1)
"""The end lines have no neighbours on one side."""


def of(ink=0.0, left=0.0, right=0.0):
    """Excess of numbered lines in ink, and in reach to both sides [px]."""
    inked = 40.0 + NOISE + ink * NUMBERED
    reach = 30.0 + 0.3 * NOISE[0]
    return emphasis(inked, [reach + left * NUMBERED], [reach + right * NUMBERED])


def lines_at(*y, x=50.0):
    at = np.array(y, float)
    same = np.full(len(at), x)
    return Segments(x=same, y=at, slope=0 * at, left=same - 6, right=same + 5, strength=at)


class TestEmphasis:
    @pytest.mark.parametrize("how", [{"ink": 8.0}, {"left": 9.0}, {"right": 9.0}])
    def test_by_ink_or_by_either_end(self, how):
        found = of(**how)
        assert np.median(found[NUMBERED][INNER]) > 2.5
        assert found[NUMBERED][INNER].mean() > found[~NUMBERED].mean() + 2.5

    def test_what_two_of_these_say_adds_up(self):
        once, twice = of(left=4.0), of(left=4.0, right=4.0)
        assert np.median(twice[NUMBERED]) > 1.3 * np.median(once[NUMBERED])

    def test_even_lines_do_not_stand_out(self):
        assert abs(of()[NUMBERED].mean() - of()[~NUMBERED].mean()) < 1.0

    def test_ends_within_what_they_are_found_by_say_nothing(self):
        """Lines end within 2 px of where they are found to."""
        assert of(left=1.0)[NUMBERED].mean() < 1.0

    def test_light_that_falls_off_is_no_emphasis(self):
        slow = np.linspace(30.0, 50.0, LINES)[None, :] + NOISE
        even = [np.full(LINES, 30.0)]
        plain, bold = (emphasis(slow + ink * NUMBERED, even, even) for ink in (0.0, 8.0))
        assert abs(plain[:50].mean() - plain[51:].mean()) < 1.0
        assert bold[NUMBERED][INNER].min() > 2.5

    def test_figures_over_a_few_pieces_do_not_count(self):
        ink = 40.0 + NOISE
        ink[:6] += 60.0 * NUMBERED
        even = [np.full(LINES, 30.0)]
        assert emphasis(ink, even, even)[NUMBERED].mean() < 1.5

    def test_gaps_between_tubes_count_together(self):
        reach = 30.0 + 0.3 * NOISE[0]
        longer = reach + 9.0 * NUMBERED
        found = emphasis(40.0 + NOISE, [reach, longer], [longer, reach])
        assert np.median(found[NUMBERED][INNER]) > 2.5

    def test_what_is_not_seen_says_nothing(self):
        ink = 40.0 + NOISE + 8.0 * NUMBERED
        ink[:, 40:61] = np.nan
        unseen = [np.full(LINES, np.nan)]
        found = emphasis(ink, unseen, unseen)
        assert np.isfinite(found).all()
        assert found[40:61] == pytest.approx(0.0)
        assert found[NUMBERED][1:4].min() > 2.5

    @settings(max_examples=15, deadline=None)
    @given(st.floats(-1e4, 1e4))
    def test_one_line_says_no_more_than_so_much(self, ink):
        spoilt = 40.0 + NOISE
        spoilt[:, 50] += ink
        even = [np.full(LINES, 30.0)]
        found = emphasis(spoilt, even, even)
        assert (found >= STANDING_OUT[0]).all()
        assert (found <= STANDING_OUT[1]).all()


class TestInk:
    def drawn(self, thickness, darker=100.0, board=180.0, blur=0.0):
        """Lines ten rows apart, as dark as said over so many rows."""
        rows = np.arange(200)
        light = np.full(200, board)
        away = np.abs((rows - 5) % 10)
        away = np.minimum(away, 10 - away)
        light[away <= (thickness - 1) / 2] -= darker
        if blur:
            kernel = np.exp(-0.5 * (np.arange(-6, 7) / blur) ** 2)
            light = np.convolve(np.pad(light, 6, mode="wrap"), kernel / kernel.sum(), "valid")
        return np.repeat(light[:, None], 100, axis=1).astype(np.uint8)

    def ink(self, picture):
        return ink_of(picture, lines_at(*range(45, 156, 10)), 10.0)

    def test_thick_lines_have_more_than_thin_ones(self):
        thin, thick = (np.median(self.ink(self.drawn(rows))) for rows in (1, 3))
        assert 2.0 < thick / thin < 4.0
        assert thin > 0.0

    def test_blur_takes_nothing_away(self):
        """It lowers the crest of a line and widens it by as much."""
        sharp, soft = (np.median(self.ink(self.drawn(3, blur=b))) for b in (0.0, 1.2))
        assert soft == pytest.approx(sharp, rel=0.15)

    def test_it_goes_with_contrast(self):
        faint, strong = (np.median(self.ink(self.drawn(3, darker=d))) for d in (30.0, 120.0))
        assert strong == pytest.approx(4 * faint, rel=0.1)

    def test_white_ink_counts_like_black(self):
        light = self.drawn(3, darker=-70.0, board=60.0)
        dark = self.drawn(3, darker=70.0, board=160.0)
        assert self.ink(light) == pytest.approx(self.ink(dark), abs=2.0)
        assert np.median(self.ink(light)) > 0.0
