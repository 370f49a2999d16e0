"""What a refusal says is the cause that can be mended."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from limbsight.calib.instrument_file import load_instrument
from limbsight.reading import read_photo
from tests.accuracy import compare, load_answer

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.fixture(scope="module")
def fan():
    return load_instrument(SAMPLES / "fan-inlet.toml")


def picture_of(name):
    picture = cv2.imread(str(SAMPLES / f"{name}.jpg"))
    assert picture is not None
    return picture


def read(picture, tmp_path, instrument):
    path = tmp_path / "photo.png"
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return read_photo(path, instrument=instrument)


def only_code(reading):
    assert reading.status == "refused"
    (reason,) = reading.reasons
    return reason.code


@pytest.mark.parametrize("with_file", [True, False])
def test_a_blurred_photo_is_called_blurred(with_file):
    instrument = load_instrument(SAMPLES / "hand-shake.toml") if with_file else None
    reading = read_photo(SAMPLES / "hand-shake.jpg", instrument=instrument)
    assert only_code(reading) == "photo_blurred"
    assert "let the camera focus" in reading.reasons[0].text


@pytest.mark.parametrize("blur_px", [6.0, 12.0])
def test_the_same_photo_sharp_and_blurred(fan, tmp_path, blur_px):
    blurred = cv2.GaussianBlur(picture_of("fan-inlet"), (0, 0), blur_px)
    assert only_code(read(blurred, tmp_path, fan)) == "photo_blurred"


def test_a_sharp_photo_without_instrument_is_not(fan, tmp_path):
    """The board's edge is sharp; there is nothing on it."""
    wall = np.full((1500, 1100, 3), 90, np.uint8)
    wall[200:1300, 300:800] = 200
    reading = read(cv2.GaussianBlur(wall, (0, 0), 0.8), tmp_path, fan)
    assert only_code(reading) == "scale_not_found"
    assert "no column of 12 or more level lines" in reading.reasons[0].text


def test_a_scale_too_fine_for_the_picture(fan, tmp_path):
    """200 divisions in 400 rows: two pixels each at most, wherever the scale is."""
    picture = picture_of("fan-inlet")
    small = cv2.resize(picture, (300, 400), interpolation=cv2.INTER_AREA)
    reading = read(small, tmp_path, fan)
    assert only_code(reading) == "too_few_pixels"
    assert "at most 2.0 px" in reading.reasons[0].text


def test_a_scale_that_is_too_fine_unless_it_fills_the_picture(fan, tmp_path):
    """200 divisions in 533 rows, of which the scale takes up two thirds: two pixels each."""
    picture = picture_of("fan-inlet")
    small = cv2.resize(picture, (400, 533), interpolation=cv2.INTER_AREA)
    reading = read(small, tmp_path, fan)
    assert only_code(reading) == "too_few_pixels"


def test_longer_lines_of_divisions_that_merge_are_read(fan, tmp_path):
    """Of 2.1 px each; figures stand beside every tenth."""
    picture = picture_of("fan-inlet")
    small = cv2.resize(picture, None, fx=0.42, fy=0.42, interpolation=cv2.INTER_AREA)
    reading = read(small, tmp_path, fan)
    assert reading.status == "read"
    answer = load_answer(SAMPLES / "fan-inlet.answer.toml")
    for level in compare(answer, reading):
        assert level.inside


def test_two_instruments_side_by_side_are_named(fan, tmp_path):
    both = np.hstack([picture_of("fan-inlet"), picture_of("test-cell")])
    reading = read(both, tmp_path, fan)
    assert reading.status != "read"
    assert "several_scales" in [reason.code for reason in reading.reasons]


@pytest.mark.parametrize("above_px", [-6, 0, 3, 15])
def test_glare_over_a_level_is_never_read(fan, tmp_path, above_px):
    """The lower edge of a burnt spot passes for a meniscus."""
    picture = picture_of("fan-inlet")
    x, y = 673, 1090  # the left level, from the answer
    glare = np.zeros(picture.shape[:2], np.float32)
    cv2.ellipse(glare, (x, y - above_px), (14, 18), 0, 0, 360, 1.0, cv2.FILLED)
    glare = cv2.GaussianBlur(glare, (0, 0), 2.0)[..., None]
    burnt = (picture * (1 - glare) + 255 * glare).astype(np.uint8)
    reading = read(burnt, tmp_path, fan)
    assert reading.status != "read"
    codes = {(reason.code, reason.limb) for reason in reading.reasons}
    assert ("glare_on_level", "left") in codes
    assert ("glare_on_level", "right") not in codes


def test_more_pixels_or_less_scale_take_the_blame_away(fan, tmp_path):
    blank = np.full((400, 300, 3), 128, np.uint8)
    coarse = replace(fan, scale=replace(fan.scale, lowest=-20.0, highest=20.0))
    assert only_code(read(blank, tmp_path, coarse)) == "scale_not_found"
