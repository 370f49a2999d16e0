"""Widths seen against that of the file."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from limbsight import width_seen
from limbsight.calib.instrument_file import parse_instrument
from limbsight.reading import read_photo
from limbsight.vision.limb_net import ProposedLimb, ProposedLimbs
from limbsight.width_seen import width_doubts

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def seen(*widths: float, probability: float = 0.9) -> ProposedLimbs:
    limbs = tuple(
        ProposedLimb(centre_column=50.0 * k, width_columns=width, probability=probability)
        for k, width in enumerate(widths, start=1)
    )
    return ProposedLimbs(candidates=limbs, width_columns=widths[0])


@pytest.mark.parametrize(
    ("widths", "shown", "told"),
    [
        ((20.0, 22.0), 0.0, False),
        ((20.0, 31.0), 0.0, False),
        ((25.0, 26.0), 1.0, False),
        ((25.0, 26.0), 0.1, True),
        ((16.0, 15.0), 0.1, True),
        ((30.0, 31.0), 1.0, True),
        ((13.0, 14.0), 1.0, True),
    ],
)
def test_what_is_far_off_or_shows_no_walls_there_is_told(monkeypatch, widths, shown, told):
    monkeypatch.setattr(width_seen, "walls_shown", lambda strips: shown)
    found = width_doubts(seen(*widths), (), 20.0)
    assert [doubt.code for doubt in found] == ["tubes_differ_from_file"] * told


def test_what_the_network_hardly_sees_says_nothing():
    assert width_doubts(seen(40.0, probability=0.2), (), 20.0) == ()
    assert width_doubts(None, (), 20.0) == ()


@pytest.mark.parametrize(("times", "told"), [(1.0, False), (0.5, True), (2.0, True)])
def test_a_file_with_radii_or_with_other_diameters(times, told):
    def changed(key: re.Match[str]) -> str:
        return f'{key[1]} = "{times * float(key[2])} mm"'

    text = (SAMPLES / "fan-inlet.toml").read_text()
    text = re.sub(r'(bore|outside_diameter) = "([0-9.]+) mm"', changed, text)
    found = read_photo(SAMPLES / "fan-inlet.jpg", instrument=parse_instrument(text))
    assert ("tubes_differ_from_file" in [why.code for why in found.reasons]) is told
    assert (found.status == "read") is not told
