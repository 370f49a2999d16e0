"""Limbs where walls and levels leave the choice open."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from limbsight import find_limbs
from limbsight.calib.instrument import load_instrument
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


@pytest.mark.parametrize(
    ("lines", "through"),
    [
        ([(16.0, 24.0)], True),
        ([(16.0, 24.0), (56.0, 64.2)], True),
        ([(26.0, 32.0)], False),
        ([(16.0, 24.0), (36.0, 44.0)], False),
        ([(12.0, 28.0)], True),
        ([(12.0, 28.0), (30.0, 36.0)], False),
        ([(23.0, 64.5)], False),
    ],
)
def test_scales_that_rest_on_what_is_seen_through_tubes(lines, through):
    """Tubes of 8 mm at 20 and at 60 mm; lines from left to right ends [mm]: all within tubes,
    or a lone column that reaches into one, far from the other."""
    combs = [
        SimpleNamespace(
            straight=(
                SimpleNamespace(
                    lines=SimpleNamespace(
                        left=np.full(20, left),
                        right=np.full(20, right),
                        length=np.full(20, right - left),
                        y_at=np.zeros_like,
                    ),
                    found_px=0.1,
                ),
            )
        )
        for left, right in lines
    ]
    plane = SimpleNamespace(from_pixel=lambda x, y: (x, y))
    scale: Any = SimpleNamespace(combs=combs, map=SimpleNamespace(plane=lambda: plane))
    limbs: Any = [
        SimpleNamespace(axis_column=0, grid=SimpleNamespace(across_at=lambda _, at=at: at))
        for at in (20.0, 60.0)
    ]
    known: Any = SimpleNamespace(tube=SimpleNamespace(outer_radius_m=4e-3), unit_m=1e-3)
    assert find_limbs.seen_through_tubes(limbs, scale, known) == through
