"""The unit above the numbers: where it is looked for, and what is no unit."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from limbsight.vision import numeral_units
from limbsight.vision.numeral_units import UNITS, read_unit
from tests.helpers.numerals import FIGURES_PX, PITCH_PX, geometry, numbers

TOP_PX = 380.0 - PITCH_PX * 40


def drawn(unit="", x=200.0, above=42.0, ink=30, numbered=True, size=1.0):
    """Numbers beside a scale and a word over it, drawn threefold."""
    s = 3
    image = Image.new("L", (420 * s, 420 * s), 210)
    pen = ImageDraw.Draw(image)
    box = ImageFont.load_default(100).getbbox("0")
    height = FIGURES_PX * s * 100 / (box[3] - box[1])
    font = ImageFont.load_default(round(height))
    for k in range(0, 41, 10):
        y = 380.0 - 8.0 * k
        pen.line((190 * s, y * s, 210 * s, y * s), fill=30, width=4)
        if numbered:
            pen.text((260 * s, y * s), str(k), 30, font, anchor="mm")
    if unit:
        font = ImageFont.load_default(round(size * height))
        pen.text((x * s, (TOP_PX - above) * s), unit, ink, font, anchor="mm")
    small = cv2.resize(np.asarray(image), (420, 420), interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(2).normal(0.0, 2.0, small.shape)
    return np.clip(cv2.GaussianBlur(small, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)


def read(picture):
    return read_unit(picture, geometry(), numbers())


@pytest.mark.parametrize("x", [200.0, 260.0])
@pytest.mark.parametrize("unit", ["mm", "cm", "kPa"])
def test_over_the_lines_or_over_the_numbers(unit, x):
    assert read(drawn(unit, x)) == unit


@pytest.mark.parametrize(
    ("word", "size"), [("in", 1.0), ("in", 0.7), ("in", 0.5), ("inch", 1.0), ("inch", 0.7)]
)
def test_inches_may_be_written_out_and_smaller_than_the_figures(word, size):
    assert read(drawn(word, x=260.0, size=size)) == "in"


def test_places_beyond_the_ends_that_were_looked_at_for_numbers_are_no_part_of_the_scale():
    """Three coarse divisions on would be past the unit."""
    word = drawn("mm", x=260.0, above=30.0)
    farther = geometry(count=41 + 3 + 3, first=-3)
    below = 3 * PITCH_PX * np.array([0.0, 1.0])
    looked_at = replace(farther, centre_px=farther.centre_px + below, beyond_ends=3)
    assert read_unit(word, looked_at, numbers()) == "mm"


def test_water_is_spelt_with_the_letter():
    assert "cmH20" in UNITS
    assert read(drawn("cmH2O")) == "cmH2O"


def test_a_unit_within_another_is_a_part_of_it():
    """kPa holds Pa, mmHg holds mm."""
    assert read(drawn("mmHg")) == "mmHg"


@pytest.mark.parametrize(
    ("seen", "wanted"),
    [
        (("kPa", "Pa"), "kPa"),
        (("bar", "mbar"), "mbar"),
        (("kPa", "psi"), None),
        (("mm",), "mm"),
    ],
)
def test_of_several_seen_the_one_that_holds_the_others(monkeypatch, seen, wanted):
    """Cut off by the edge of a crop; of two that are apart neither is sure."""

    def sightings(probabilities, strings):
        return np.tile([float(unit in seen) for unit in strings], (len(probabilities), 1))

    monkeypatch.setattr(numeral_units, "string_probabilities", sightings)
    assert read(drawn("mm")) == wanted


def test_in_colour_as_in_grey():
    picture = drawn("mm")
    assert read(np.repeat(picture[:, :, None], 3, axis=2)) == read(picture) == "mm"


@pytest.mark.parametrize("word", ["", "50", "BRASS"])
def test_what_is_no_unit(word):
    assert read(drawn(word)) is None


def test_a_faint_shade_on_bare_board_is_not_read():
    """Of a tenth of the numbers' contrast: the ink of one scale is one."""
    assert read(drawn("mm", ink=192)) is None


def test_far_above_is_another_things():
    assert read(drawn("mm", above=-100.0, x=100.0)) is None


def test_a_picture_that_ends_at_the_scale():
    picture = drawn("mm")[55:]
    place = geometry()
    moved = type(place)(
        index=place.index,
        centre_px=place.centre_px - [0.0, 55.0],
        along_px=place.along_px,
        across_px=place.across_px,
        tick_half_length_px=10.0,
    )
    assert read_unit(picture, moved, numbers()) is None
