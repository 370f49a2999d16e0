"""What counts as glare about a level, what as a cover, and what its dark line says."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.read_limb import _covered_away_from, _doubt_of_line


@pytest.mark.parametrize(
    ("cover", "rows"),
    [
        ((5.0, 20.0), range(5, 21)),
        ((-8.0, 20.0), range(21)),
        ((75.0, 130.0), range(75, 100)),
        ((5.0, 45.0), ()),
        ((40.0, 60.0), ()),
        ((130.0, 140.0), ()),
        ((-20.0, -10.0), ()),
    ],
)
def test_a_cover_that_ends_at_the_level_may_be_a_flash(cover, rows):
    covered = _covered_away_from(50.0, 20.0, [cover], 100)
    assert np.flatnonzero(covered).tolist() == list(rows)


@pytest.mark.parametrize(
    ("line", "fillings_seen", "doubt"),
    [
        (0.02, False, "level_unlike_meniscus"),
        (0.02, True, "level_unlike_meniscus"),
        (0.1, False, None),
        (0.1, True, "fillings_uncertain"),
        (0.4, True, None),
        (None, True, None),
    ],
)
def test_a_faint_line_may_be_under_a_liquid_where_no_file_says_gas(line, fillings_seen, doubt):
    assert _doubt_of_line(line, fillings_seen=fillings_seen) == doubt
