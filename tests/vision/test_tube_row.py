"""Banks: how many tubes stand in a row, and when that is not certain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.limbs import LimbBand
from limbsight.vision.tube_row import choose_row

WIDTH = 20.0
WALLS = np.full(1000, 2.0)


def bands(*places_and_scores):
    return [
        LimbBand(centre_column=place, width_columns=WIDTH, score=score)
        for place, score in places_and_scores
    ]


def row(count, pitch=31.0, first=200.0):
    scores = np.linspace(900, 500, count)
    return bands(*[(first + pitch * k, s) for k, s in enumerate(scores)])


def with_walls(tubes):
    walls = WALLS.copy()
    for band in tubes:
        walls[round(band.centre_column)] = 20.0
    return walls


@pytest.mark.parametrize("count", [3, 4, 8, 12])
@pytest.mark.parametrize("pitch", [25.0, 31.0, 60.0])
def test_an_equal_row_is_certain(count, pitch):
    tubes = row(count, pitch)
    between = bands((tubes[0].centre_column + 0.5 * pitch, 120.0), (950.0, 90.0))
    choice = choose_row([*between, *tubes], with_walls(tubes))
    assert choice.certain
    assert [band.centre_column for band in choice.limbs] == [b.centre_column for b in tubes]


def test_a_missing_tube_is_doubted():
    tubes = row(6)
    assert not choose_row(
        [*tubes[:2], *tubes[3:], *bands((50.0, 5.0))], with_walls(tubes)
    ).certain


def test_a_lone_extra_is_doubted():
    tubes = row(5)
    extra = bands((tubes[-1].centre_column + 47.0, 600.0), (50.0, 5.0))
    assert not choose_row([*tubes, *extra], with_walls(tubes)).certain


def test_walls_at_the_next_place_are_doubted():
    # A tube filled to the top at the end of the row shows walls and no level.
    tubes = row(6)
    seen = [*tubes[:-1], *bands((50.0, 5.0))]
    assert not choose_row(seen, with_walls(tubes)).certain
    assert choose_row(seen, with_walls(tubes[:-1])).certain


def test_no_gap_between_tubes_and_the_rest_is_doubted():
    tubes = row(5)
    rest = [
        replace(band, centre_column=band.centre_column + 400, score=400.0) for band in tubes
    ]
    assert not choose_row([*tubes, *rest], with_walls(tubes)).certain


def test_nothing_there():
    choice = choose_row([], WALLS)
    assert choice.limbs == ()
    assert not choice.certain
