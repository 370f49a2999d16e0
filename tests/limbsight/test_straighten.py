"""How far from the graduations limbs are looked for."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from limbsight.straighten import _has_far_limb


@pytest.mark.parametrize(
    ("lines", "limbs", "from_picture", "far"),
    [
        (6.0, 2, False, True),
        (60.0, 2, False, False),
        (6.0, 1, False, False),
        (6.0, 2, True, False),
    ],
    ids=["ruler between limbs", "lines behind them", "one limb", "limbs seen elsewhere"],
)
def test_a_limb_may_stand_beyond_a_ruler(lines, limbs, from_picture, far):
    known: Any = SimpleNamespace(limb_count=limbs, from_picture=from_picture)
    assert _has_far_limb(known, lines, 8.0) is far
