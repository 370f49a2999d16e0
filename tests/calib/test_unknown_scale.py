"""A scale without a file: columns put together, and how it is stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.camera import Frame
from limbsight.calib.unknown_scale import _check_long_lines, _spec
from limbsight.errors import NotMeasurable
from limbsight.vision.numerals import Numbering
from tests.helpers.boards import Camera, Column

CAMERA = Camera(width=900, height=700, focal_px=1500.0, yaw=3.0, roll=-4.0)
FRAME = Frame(width_px=900, height_px=700, focal_px=1500.0, focal_relative_uncertainty=0.02)


@pytest.mark.parametrize(
    ("direction", "unsigned", "zero", "stated", "shift"),
    [
        (1, False, 0.0, ("upward", 0.0, 60.0), 0),
        (-1, False, 60.0, ("downward", 0.0, 60.0), 0),
        # A border of the board beyond the zero is no graduation.
        (-1, False, 59.0, ("downward", 0.0, 60.0), 1),
        (1, False, 1.0, ("upward", 0.0, 60.0), -1),
        (1, True, 30.0, ("away-from-zero", -30.0, 30.0), 0),
        (1, False, 60.0, ("upward", -60.0, 0.0), 0),
    ],
)
def test_numbers_are_stated_as_an_instrument_file_has_them(
    direction, unsigned, zero, stated, shift
):
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    best = Numbering(
        numbered_every=10,
        division=1.0,
        direction=direction,
        unsigned=unsigned,
        zero_index=zero,
    )
    spec, from_bottom = _spec(comb, best, 0, "mm")
    assert (spec.numbers, spec.lowest, spec.highest) == stated
    assert from_bottom == shift


def test_numbers_a_division_beside_the_long_lines_are_refused():
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    long = comb.index % 10 == 0
    comb = replace(comb, overhang=np.where(long, 20.0, 0.0))
    at = Numbering(
        numbered_every=10, division=1.0, direction=1, unsigned=False, zero_index=0.0
    )
    _check_long_lines((comb,), at)
    for beside in (-1.0, 1.0):
        with pytest.raises(NotMeasurable) as stop:
            _check_long_lines((comb,), replace(at, zero_index=beside))
        assert stop.value.code == "scale_ambiguous"
