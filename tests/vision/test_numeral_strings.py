"""Crops of labels, and probabilities of strings whatever the network says.

What it reads is tested in test_numerals.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.numeral_strings import (
    CHARACTERS,
    CROP_HEIGHT,
    CROP_WIDTH,
    FIGURE_HEIGHT,
    class_probabilities,
    column_pitch_px,
    cut_crops,
    middle_of_text,
    most_likely,
    string_probabilities,
)
from tests.helpers.numerals import FIGURES_PX, geometry, numbers, shown


class TestCrops:
    def crops(self, mark, column=None, index=(20.0,), lean=0.0, **options):
        """Of a picture with a black square about a place, 4 px wide."""
        picture = np.full((420, 420), 200, np.uint8)
        x, y = (round(part) for part in mark)
        picture[y - 1 : y + 3, x - 1 : x + 3] = 20
        return cut_crops(
            picture, geometry(lean=lean), column or numbers(), np.array(index), **options
        )

    def darkest(self, crop):
        dark = crop[0] < crop[0].min() / 2
        y, x = np.nonzero(dark)
        return x.mean() - (CROP_WIDTH - 1) / 2, y.mean() - (CROP_HEIGHT - 1) / 2

    def test_the_middle_of_a_label_is_that_of_its_crop(self):
        """60 px beside graduation 20, which stands 160 px above the lowest."""
        (crop,), _ = self.crops((260, 220))
        assert self.darkest(crop) == pytest.approx((0.5, 0.5), abs=0.6)

    def test_right_and_up_are_those_of_the_picture(self):
        (crop,), _ = self.crops((270, 212))
        assert self.darkest(crop) == pytest.approx((10.5, -7.5), abs=0.6)

    @pytest.mark.parametrize(
        ("turns", "place"), [(0, (10, -7)), (1, (7, 10)), (2, (-10, 7)), (3, (-7, -10))]
    )
    def test_turned_numbers_are_read_upright(self, turns, place):
        """A mark right of the middle and above it, turned back by so many quarters."""
        (crop,), _ = self.crops((270, 213), quarter_turns=turns)
        assert self.darkest(crop) == pytest.approx(place, abs=1.2)

    def test_numbers_may_stand_above_their_line(self):
        (crop,), _ = self.crops((260, 214), numbers(offset_px=6.0))
        assert self.darkest(crop) == pytest.approx((0.5, 0.5), abs=0.6)

    def test_on_a_scale_that_leans_they_lean_too(self):
        lean = 0.1
        up = np.array([np.sin(lean), -np.cos(lean)])
        right = np.array([np.cos(lean), np.sin(lean)])
        mark = np.array([200.0, 380.0]) + 160 * up + 60 * right + 10 * right
        (crop,), _ = self.crops(mark, lean=lean)
        assert self.darkest(crop) == pytest.approx((10.0, 0.0), abs=1.2)

    def test_wide_numbers_are_pressed_together(self):
        """124 px with a margin of 12 to be held by 96 columns."""
        (crop,), _ = self.crops((310, 220), numbers(width_px=132.0))
        assert self.darkest(crop)[0] == pytest.approx(50.5 * 96 / 144, abs=0.8)
        assert column_pitch_px(numbers(width_px=132.0), 1.0) == pytest.approx(1.5)
        assert column_pitch_px(numbers(), 1.0) == pytest.approx(FIGURES_PX / FIGURE_HEIGHT)

    def test_large_figures_are_made_small_without_aliasing(self):
        """Stripes of one pixel are grey in a crop of figures 2.8 times as high."""
        picture = np.zeros((420, 420), np.uint8)
        picture[:, ::2] = 200
        picture[218:224] = 255
        crops, _ = cut_crops(picture, geometry(), numbers(height_px=48.0), np.array([20.0]))
        rows = crops[0, 0].std(axis=1)
        assert rows[:10].max() < 0.05

    @settings(max_examples=15, deadline=None)
    @given(st.integers(0, 60), st.integers(180, 255))
    def test_tone_does_not_matter(self, ink, board):
        picture = np.full((420, 420), board, np.uint8)
        picture[212:228, 255:262] = ink
        crops, _ = cut_crops(picture, geometry(), numbers(), np.array([20.0]))
        assert crops.mean() == pytest.approx(0.0, abs=1e-4)
        assert crops.std() == pytest.approx(1.0, abs=0.2)

    def test_bare_board_does_not_become_a_pattern(self):
        crops, _ = cut_crops(np.full((420, 420), 90, np.uint8), geometry(), numbers(),
                             np.array([0.0, 20.0, 70.0]))  # fmt: skip
        assert crops.shape == (3, 1, CROP_HEIGHT, CROP_WIDTH)
        assert np.abs(crops).max() < 1e-3

    def test_outlines_are_about_the_figures(self):
        _, corners = self.crops((260, 220), index=(10.0, 20.0))
        assert corners.mean(axis=1) == pytest.approx(np.array([[260, 300], [260, 220]]))
        across, down = np.ptp(corners, axis=1).T
        assert (across > 30.0).all()
        assert (down > FIGURES_PX).all()
        # in order about the label, not crosswise: the area of a polygon
        x, y = corners[0].T
        area = 0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1))
        assert area == pytest.approx(across[0] * down[0])


class TestStrings:
    @pytest.mark.parametrize("text", ["", "7", "120", "0.5", "11", "mmHg"])
    def test_what_is_spelt_is_read(self, text):
        probabilities = shown(text)
        assert most_likely(probabilities[0]) == text
        others = ["", "7", "120", "0.5", "11", "mmHg", "1", "12"]
        found = string_probabilities(probabilities, others)[0]
        assert others[int(np.argmax(found))] == text

    def test_doubled_figures_need_a_blank_between(self):
        one = CHARACTERS.index("1") + 1
        steps = np.full((1, 4, 1 + len(CHARACTERS)), 1e-4)
        steps[0, [0, 1, 3], [one, one, 0]] = 1.0
        steps[0, 2, one] = 1.0
        together, apart = string_probabilities(steps, ["1", "11"])[0]
        assert together > 0.9
        assert apart < 0.01

    def test_waiting_changes_nothing(self):
        """A wide crop is blank for long."""
        blank = shown("", certain=0.9999)
        wide = np.concatenate([shown("120"), blank], axis=1)
        idle = np.concatenate([shown("120"), np.repeat(blank, 30, axis=1)], axis=1)
        assert string_probabilities(idle, ["120"]) == pytest.approx(
            string_probabilities(wide, ["120"]), rel=1e-2
        )

    def test_all_at_once_as_one_by_one(self):
        probabilities = shown("120", "7", "0.5")
        strings = ["7", "", "120", "12", "0.5", "121"]
        together = string_probabilities(probabilities, strings)
        for row, crop in zip(together, probabilities, strict=True):
            for value, string in zip(row, strings, strict=True):
                alone = string_probabilities(crop[None], [string])
                assert value == pytest.approx(float(alone[0, 0]))

    def test_probabilities_are_no_more_than_one_together(self):
        rng = np.random.default_rng(4)
        probabilities = rng.dirichlet(np.full(1 + len(CHARACTERS), 0.05), size=(20, 6))
        every = ["", *CHARACTERS, *(a + b for a in CHARACTERS for b in CHARACTERS)]
        assert (string_probabilities(probabilities, every).sum(axis=1) <= 1 + 1e-3).all()

    def test_a_character_seen_nowhere_rules_a_string_out(self):
        probabilities = shown("12", certain=1.0)
        assert string_probabilities(probabilities, ["13"])[0, 0] == 0.0

    def test_middle_of_what_is_shown(self):
        """In columns of a crop, two to a step."""
        steps = np.zeros((3, 48, 1 + len(CHARACTERS)))
        steps[:, :, 0] = 1.0
        for row, at in zip(steps, (30, 31, 47), strict=True):
            row[at] = np.eye(1 + len(CHARACTERS))[5]
        # the median crop: 31 - 23.5 steps, two columns each
        assert middle_of_text(steps) == pytest.approx(15.0)


def test_the_network_gives_probabilities_and_knows_no_letter_o():
    noise = np.random.default_rng(0).normal(size=(2, 1, CROP_HEIGHT, CROP_WIDTH))
    found = class_probabilities(noise.astype(np.float32))
    assert found.shape == (2, CROP_WIDTH // 2, 1 + len(CHARACTERS))
    assert found.sum(axis=2) == pytest.approx(1.0, abs=1e-3)
    assert (found >= 0.0).all()
    assert not found[:, :, 1 + CHARACTERS.index("O")].any()
