"""Limbs where walls and levels leave the choice open."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from limbsight import find_limbs
from limbsight.calib.instrument_file import load_instrument
from limbsight.reading import read_photo
from limbsight.vision.limbs import LimbChoice, choose_limbs

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def levels_of(reading):
    return [level.value for limb in reading.limbs for level in limb.levels]


@pytest.mark.parametrize("clearance", [1.0, float("inf")])
def test_the_network_corrects_a_choice_of_wrong_bands(monkeypatch, clearance):
    """Doubted at once, or certain until no level is seen in them."""

    def beside(bands, count):
        right = choose_limbs(bands, count)
        off = 0.8 * right.limbs[0].width_columns
        wrong = tuple(replace(b, centre_column=b.centre_column + off) for b in right.limbs)
        return LimbChoice(limbs=wrong, clearance=clearance)

    instrument = load_instrument(SAMPLES / "fan-inlet.toml")
    right = read_photo(SAMPLES / "fan-inlet.jpg", instrument=instrument)
    monkeypatch.setattr(find_limbs, "choose_limbs", beside)
    again = read_photo(SAMPLES / "fan-inlet.jpg", instrument=instrument)
    assert again.status == right.status == "read"
    assert levels_of(again) == pytest.approx(levels_of(right), abs=0.1)


def test_what_the_network_doubts_stays_in_doubt(monkeypatch):
    def doubted(bands, count):
        return replace(choose_limbs(bands, count), clearance=1.0)

    monkeypatch.setattr(find_limbs, "choose_limbs", doubted)
    monkeypatch.setattr(find_limbs, "propose_limbs", lambda picture, width: None)
    instrument = load_instrument(SAMPLES / "fan-inlet.toml")
    reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=instrument)
    assert "limb_uncertain" in [reason.code for reason in reading.reasons]
