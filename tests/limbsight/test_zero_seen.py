"""Falling numbers whose zero is not in the picture."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from limbsight.knowledge import knowledge_from_picture
from limbsight.zero_seen import zero_doubts
from tests.helpers.scales import millimetres

DOWNWARD = replace(millimetres(0.0, 300.0), numbers="downward", numbered_every=20.0)


def limb(*values: float):
    """A limb with levels at values of the scale, from the bottom."""
    return SimpleNamespace(levels=[SimpleNamespace(height=300.0 - value) for value in values])


@pytest.mark.parametrize(
    ("limbs", "doubted"),
    [
        pytest.param([limb(140.0), limb(220.0)], False, id="both far below"),
        pytest.param([limb(290.0, 140.0), limb(220.0)], False, id="above a seal"),
        pytest.param([limb(140.0), limb(180.0), limb(150.0)], False, id="a bank"),
        pytest.param([limb(20.0), limb(220.0)], True, id="it may be nearly between them"),
        pytest.param([limb(8.0), limb(9.0)], True, id="some liquid may be lost"),
        pytest.param([limb(140.0)], True, id="a single limb does not tell"),
        pytest.param([limb(140.0), limb()], True, id="one level is missing"),
    ],
)
def test_levels_far_below_a_zero_were_not_set_to_it(limbs, doubted):
    known = knowledge_from_picture(DOWNWARD)
    codes = [each.code for each in zero_doubts(limbs, known)]
    assert codes == (["zero_out_of_sight"] if doubted else [])
