"""What counts as glare about a level, what as a cover, and what its dark line says."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.read_limb import _covered_away_from, _is_missing
from limbsight.vision.dark_line import DarkLine


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
    ("darkness", "shine", "missing"),
    [(0.05, 0.6, True), (0.12, 0.6, True), (0.3, 0.6, False), (0.12, 0.05, False)],
)
def test_only_at_a_nearly_black_liquid_may_the_dark_line_be_faint(darkness, shine, missing):
    assert _is_missing(DarkLine(darkness=darkness, shine=shine, above_bores=0.1)) == missing
