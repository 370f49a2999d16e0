"""A walk along a spine: gaps are counted, steps may change, chance is no walk."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.vision.comb import MIN_GRADUATIONS
from limbsight.vision.walk import walk


def places(count: int, growth: float = 0.0) -> np.ndarray:
    """Upward in the picture, by steps that change by a share each."""
    return 900.0 - np.cumsum(8.0 * (1.0 + growth) ** np.arange(count))


@pytest.mark.parametrize("growth", [0.0, 0.003, -0.003])
def test_every_line_has_its_number_where_some_are_missing(growth):
    number = np.arange(60)
    kept = number[(number % 7 != 3) & ((number < 30) | (number > 33))]
    found = walk(places(60, growth)[kept])
    assert found is not None
    index, chosen = found
    np.testing.assert_array_equal(chosen, np.arange(len(kept)))
    assert len(set(index - kept)) == 1


def test_strays_between_the_lines_are_left_out():
    y = np.sort(np.append(places(40), [703.0, 745.0]))[::-1]
    found = walk(y)
    assert found is not None
    assert len(found[1]) == 40
    assert not np.isin(y[found[1]], [703.0, 745.0]).any()


def test_too_few_lines_are_no_walk():
    assert walk(places(MIN_GRADUATIONS - 1)) is None
