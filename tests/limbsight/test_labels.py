"""Which instrument a photo shows, by labels laid into a sample photo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from limbsight.calib.instrument import LabelSpec
from limbsight.calib.instrument_file import load_instrument
from limbsight.reading import read_photo
from tests.helpers.labels import SQUARE, pasted

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
OWN, OTHER = 17, 40
BESIDE_PX = (1120.0, 500.0)
"""Place of the label, beside the board in the sample photo."""


@pytest.fixture(scope="module")
def fan():
    return load_instrument(SAMPLES / "fan-inlet.toml")


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """The sample photo with labels, by their numbers."""
    folder = tmp_path_factory.mktemp("labelled")
    picture = np.asarray(cv2.imread(str(SAMPLES / "fan-inlet.jpg")))

    def path_with(*numbers: int) -> Path:
        shown = picture
        for k, number in enumerate(numbers):
            x, y = BESIDE_PX
            shown = pasted(shown, number, 45.0 * SQUARE + (x, y + 160.0 * k))
        path = Path(folder) / f"{'-'.join(map(str, numbers))}.png"
        cv2.imwrite(str(path), shown)
        return path

    return path_with


def codes(reading) -> set[str]:
    return {reason.code for reason in reading.reasons}


def test_the_label_of_the_file(fan, photos):
    labelled = replace(fan, label=LabelSpec(number=OWN))
    reading = read_photo(photos(OWN), instrument=labelled)
    assert reading.status == "read"
    assert not codes(reading) & {"label_not_seen", "other_instrument"}


def test_another_label_is_another_instrument(fan, photos):
    labelled = replace(fan, label=LabelSpec(number=OWN))
    reading = read_photo(photos(OTHER), instrument=labelled)
    assert reading.status == "refused"
    assert codes(reading) == {"other_instrument"}
    assert "number 40" in reading.reasons[0].text
    assert "17" in reading.reasons[0].text


def test_a_label_beside_the_own_one_is_a_neighbours(fan, photos):
    labelled = replace(fan, label=LabelSpec(number=OWN))
    assert read_photo(photos(OWN, OTHER), instrument=labelled).status == "read"


def test_no_label_is_said_and_read(fan):
    labelled = replace(fan, label=LabelSpec(number=OWN))
    reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=labelled)
    assert reading.status == "read"
    assert "label_not_seen" in codes(reading)


def test_of_several_instruments_the_one_whose_label_is_seen(fan, photos):
    several = (
        replace(fan, name="fan-outlet", label=LabelSpec(number=OTHER)),
        replace(fan, label=LabelSpec(number=OWN)),
    )
    reading = read_photo(photos(OWN), instrument=several)
    assert reading.instrument == "fan-inlet"
    assert reading.status == "read"
    for numbers in ((OWN, OTHER), (3,)):
        untold = read_photo(photos(*numbers), instrument=several)
        assert untold.status == "refused"
        assert codes(untold) == {"instrument_not_told"}
        assert untold.instrument is None
