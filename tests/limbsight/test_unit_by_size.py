"""The unit of a scale from the sizes of things, which scatter as they are said to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.unknown_scale import LENGTH_UNITS_M
from limbsight.unit_by_size import (
    DISTANCE,
    FIGURE,
    TUBE,
    SeenSizes,
    UsualSize,
    unit_by_size,
    units_by_size,
)


def usual_in(unit: str) -> SeenSizes:
    metres = LENGTH_UNITS_M[unit]
    return SeenSizes(
        tube=TUBE.middle_m / metres,
        figure=FIGURE.middle_m / metres,
        distance=DISTANCE.middle_m / metres,
        u_distance=0.0,
    )


@pytest.mark.parametrize("unit", LENGTH_UNITS_M)
def test_usual_sizes_tell_the_unit(unit):
    assert unit_by_size(usual_in(unit)) == unit


def test_half_way_between_two_units_is_neither():
    between = np.sqrt(LENGTH_UNITS_M["cm"] * LENGTH_UNITS_M["in"])
    sizes = SeenSizes(
        tube=TUBE.middle_m / between,
        figure=FIGURE.middle_m / between,
        distance=DISTANCE.middle_m / between,
        u_distance=0.0,
    )
    assert unit_by_size(sizes) is None


def test_less_is_told_without_figures_or_focal_length():
    wide = replace(usual_in("in"), tube=0.55)
    assert unit_by_size(wide) == "in"
    assert unit_by_size(replace(wide, figure=None, u_distance=0.4)) is None


@pytest.mark.parametrize("unit", LENGTH_UNITS_M)
def test_figures_and_distance_tell_most_before_any_tube_is_seen(unit):
    sizes = replace(usual_in(unit), tube=None)
    assert units_by_size(sizes)[0] == unit
    assert units_by_size(replace(usual_in("mm"), tube=None)) == ("mm",)


def test_units_that_the_sizes_leave_open_are_all_given():
    between = np.sqrt(LENGTH_UNITS_M["cm"] * LENGTH_UNITS_M["in"])
    sizes = SeenSizes(
        tube=None,
        figure=FIGURE.middle_m / between,
        distance=DISTANCE.middle_m / between,
        u_distance=0.0,
    )
    assert set(units_by_size(sizes)) == {"cm", "in"}


def test_sizes_that_no_unit_makes_usual_tell_nothing():
    assert unit_by_size(replace(usual_in("mm"), tube=9.0 * 5)) is None


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_wrong_units_are_as_rare_as_stated(unit):
    """Sizes drawn from the distributions stated: one in twenty wrong at most."""
    random = np.random.default_rng(5)

    def drawn(size: UsualSize) -> float:
        spread = size.spread * random.standard_normal()
        return float(size.middle_m * np.exp(spread)) / LENGTH_UNITS_M[unit]

    told = [
        unit_by_size(
            SeenSizes(
                tube=drawn(TUBE),
                figure=drawn(FIGURE),
                distance=drawn(DISTANCE),
                u_distance=0.0,
            )
        )
        for _ in range(2000)
    ]
    assert sum(t not in (unit, None) for t in told) < 0.01 * len(told)
    assert sum(t == unit for t in told) > 0.75 * len(told)
