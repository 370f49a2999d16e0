"""The axis of a tube from walls, levels and the rim of the meniscus."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.axis import find_axis
from limbsight.vision.layers import Interface
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS, Tube

TUBE = Tube()


def shifted(tube, columns, **options):
    strip = tube.strip(**options)
    return replace(strip, bgr=np.roll(strip.bgr, columns, axis=1))


def interfaces_of(tube):
    return tuple(Interface(row=row, step=50.0) for row in tube.levels)


@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
@pytest.mark.parametrize("columns", [-4, 0, 3])
def test_a_shift_is_found(filling, columns):
    tube = replace(TUBE, fillings=(filling, GLASS))
    axis = find_axis(shifted(tube, columns, seed=columns + 9), interfaces_of(tube))
    assert axis.shift_columns == pytest.approx(columns, abs=0.04 * TUBE.width)
    assert axis.u_columns < 0.06 * TUBE.width


def test_a_streak_of_glare_does_not_pull_it():
    tube = replace(TUBE, fillings=(CLEAR, GLASS), streak=(30, 190))
    axis = find_axis(shifted(tube, 2), interfaces_of(tube))
    assert axis.shift_columns == pytest.approx(2, abs=0.06 * TUBE.width)


def test_without_levels_it_is_uncertain():
    strip = shifted(replace(TUBE, fillings=(GLASS, GLASS)), 2)
    axis = find_axis(strip, ())
    assert axis.u_columns > 0.1 * TUBE.width


@pytest.mark.parametrize(("left", "wide"), [(-0.5, 0.3), (-0.45, 0.3), (-0.3, 0.4)])
def test_glare_along_the_tube_is_not_taken_for_its_wall(left, wide):
    """A lamp's image burnt out above and below the level, in bores; found 0.05 and 0.23 tube
    widths off where such columns counted as unchanged."""
    tube = replace(TUBE, fillings=(AMBER, GLASS))
    strip = tube.strip()
    burnt = strip.bgr.copy()
    first = round(0.5 * (burnt.shape[1] - 1) + left * TUBE.bore)
    burnt[:, first : first + round(wide * TUBE.bore)] = 255
    axis = find_axis(replace(strip, bgr=burnt), interfaces_of(tube))
    assert axis.shift_columns == pytest.approx(0.0, abs=0.03 * TUBE.width)
