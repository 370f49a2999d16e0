"""The scale of an instrument file, and heights given on it."""

from __future__ import annotations

import pytest

from limbsight.calib.instrument_file import parse_instrument
from tests.helpers.instrument_files import FULL, LEAST


def test_a_scale_in_a_pressure_unit():
    i = parse_instrument(LEAST.replace('unit = "cm"', 'unit = "mmHg"'))
    assert i.scale.unit_m is None
    assert i.scale.unit_pa == pytest.approx(133.322387415)


def test_numbers_downward_turn_heights_over():
    text = FULL.replace("away-from-zero", "downward").replace("-150.0", "0.0")
    i = parse_instrument(text)
    assert i.scale.upward == -1
    assert i.tapping.height is not None
    assert i.tapping.height.value == pytest.approx(-0.31)
