"""Limbs where walls and levels leave the choice open."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from limbsight import find_limbs
from limbsight.calib.instrument_file import load_instrument
from limbsight.read_limb import read_limb
from limbsight.reading import read_photo
from limbsight.reasons import reason
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


@pytest.mark.parametrize("readings_in_doubt", [1, 2])
def test_doubted_limbs_are_read_again_about_the_axes_that_the_network_sees(
    monkeypatch, readings_in_doubt
):
    """And as they were first, where that leaves as many doubts."""

    def a_little_beside(bands, count):
        right = choose_limbs(bands, count)
        off = 0.15 * right.limbs[0].width_columns
        moved = tuple(replace(b, centre_column=b.centre_column + off) for b in right.limbs)
        return LimbChoice(limbs=moved, clearance=float("inf"))

    read, places = read_limb, []

    def doubting(scene, across, name, split):
        limb = read(scene, across, name, split)
        places.append(across)
        if len(places) > 2 * readings_in_doubt:
            return limb
        return replace(limb, reasons=(reason("level_doubted", limb=limb.name),))

    monkeypatch.setattr(find_limbs, "choose_limbs", a_little_beside)
    monkeypatch.setattr(find_limbs, "read_limb", doubting)
    instrument = load_instrument(SAMPLES / "fan-inlet.toml")
    reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=instrument)
    assert len(places) == 4
    assert places[2:] != pytest.approx(places[:2], abs=0.1)
    assert reading.status == ("read" if readings_in_doubt == 1 else "check")


def test_what_the_network_doubts_stays_in_doubt(monkeypatch):
    def doubted(bands, count):
        return replace(choose_limbs(bands, count), clearance=1.0)

    monkeypatch.setattr(find_limbs, "choose_limbs", doubted)
    monkeypatch.setattr(find_limbs, "propose_limbs", lambda picture, width: None)
    instrument = load_instrument(SAMPLES / "fan-inlet.toml")
    reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=instrument)
    assert "limb_uncertain" in [reason.code for reason in reading.reasons]
