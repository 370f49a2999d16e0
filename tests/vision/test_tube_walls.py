"""Where mirrored edges end, of tubes drawn flat."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbsight.vision.tube_walls import walls_shown
from tests.helpers.tubes import AMBER, CLEAR, GLASS, Tube


def strips(times: float):
    """Two tubes, taken for so many times as wide as they are.

    Their glass magnifies the filling until it is nearly as wide as they.
    """
    drawn = (Tube(columns=121, bore=27.0, fillings=(f, GLASS)) for f in (AMBER, CLEAR))
    found = [tube.strip(noise=2.0) for tube in drawn]
    return [replace(strip, width_columns=times * strip.width_columns) for strip in found]


def test_walls_of_the_right_width_are_the_clearest_end():
    assert walls_shown(strips(1.0)) > 0.9


@pytest.mark.parametrize("times", [0.67, 0.75, 1.33, 1.5])
def test_at_another_width_there_are_none(times):
    assert walls_shown(strips(times)) < 0.3
