"""How far the tubes stand off the scale, given with a photo."""

from __future__ import annotations

import pytest

from limbsight.calib.axis_to_scale import parse_axis_to_scale, with_axis_to_scale
from limbsight.calib.instrument_file import parse_instrument
from limbsight.errors import InputError
from tests.helpers.instrument_files import FULL


def test_an_axis_given_with_the_photo_fills_in_what_the_file_leaves_out():
    left_out = parse_instrument(FULL.replace('axis_to_scale = "9 mm"', ""))
    depth_m = parse_axis_to_scale("0.9 cm")
    filled = with_axis_to_scale(left_out, depth_m)
    assert filled == parse_instrument(FULL)
    assert with_axis_to_scale([left_out, left_out], depth_m) == (filled, filled)
    with pytest.raises(InputError, match=r"axis_to_scale.*leave out one"):
        with_axis_to_scale(filled, 9e-3)


@pytest.mark.parametrize("text", ["-13 mm", "51 mm", "9", "1 kg", "nan mm", "1e400 mm"])
def test_an_axis_that_clips_could_not_give(text):
    with pytest.raises(InputError, match="mm"):
        parse_axis_to_scale(text)


def test_the_axis_of_a_tube_in_a_groove_lies_behind_the_face():
    assert parse_axis_to_scale("-1 mm") == pytest.approx(-1e-3)
    sunk = FULL.replace('axis_to_scale = "9 mm"', 'axis_to_scale = "-1 mm"')
    assert parse_instrument(sunk).tube.axis_to_scale_m == pytest.approx(-1e-3)
