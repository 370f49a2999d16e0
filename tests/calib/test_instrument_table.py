"""Values of an instrument file."""

from __future__ import annotations

import pytest

from limbsight.calib.instrument_file import parse_instrument
from tests.helpers.instrument_files import FULL


def test_a_value_with_its_uncertainty():
    text = FULL.replace(
        'temperature = "22 degC"',
        'temperature = { value = "22 degC", standard_uncertainty = "0.5 K" }',
    )
    given = parse_instrument(text).site.temperature_k
    assert given is not None
    assert given.value == pytest.approx(295.15)
    assert given.standard_uncertainty == 0.5
