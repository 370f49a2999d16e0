"""Levels that look like those of other liquids than the file states."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from limbsight import liquid_seen
from limbsight.calib.instrument_file import parse_instrument
from limbsight.knowledge import knowledge_of
from limbsight.level_kinds import LevelKind
from limbsight.liquid_seen import liquid_doubts
from limbsight.vision.layers import Interface
from tests.helpers.instrument_files import BENCH
from tests.helpers.tube_views import view_with

GAS, LIQUID, MERCURY = LevelKind.UNDER_GAS, LevelKind.UNDER_LIQUID, LevelKind.MERCURY
WATER = 'manometric = "water"'
OF_MERCURY = 'manometric = "mercury"'
UNDER_WATER = 'manometric = "mercury"\nprocess = "water"'


def known(liquids: str):
    return knowledge_of(parse_instrument(BENCH + liquids))


def limb(name: str, *kinds: LevelKind, probability: float = 0.99):
    """A limb with levels at rows 300 and 200, from the bottom."""
    places = [150 - 50 * k for k in range(len(kinds))]
    view = view_with(
        *((at, probability, kind) for at, kind in zip(places, kinds, strict=True))
    )
    interfaces = tuple(Interface(row=2.0 * at + 6.0, step=0.0) for at in places)
    layers = SimpleNamespace(interfaces=interfaces)
    # Too small to show a line: the networks alone speak.
    bgr = np.full((400, 4, 3), 128, np.uint8)
    seen = SimpleNamespace(bgr=bgr, bore_columns=2.0, view=view)
    tube = SimpleNamespace(seen=seen)
    return SimpleNamespace(name=name, layers=layers, network=view, tube=tube)


@pytest.fixture(autouse=True)
def agreeing(monkeypatch):
    """The other network sees the same."""
    monkeypatch.setattr(liquid_seen, "look_again", lambda strip: strip.view)


@pytest.mark.parametrize(
    ("liquids", "left", "right", "told"),
    [
        (WATER, GAS, GAS, False),
        (WATER, MERCURY, MERCURY, True),
        (WATER, MERCURY, GAS, False),
        (WATER, LIQUID, LIQUID, True),
        (OF_MERCURY, MERCURY, MERCURY, False),
        (OF_MERCURY, GAS, GAS, True),
        (OF_MERCURY, LIQUID, LIQUID, False),
        (UNDER_WATER, LIQUID, MERCURY, False),
    ],
)
def test_both_limbs_must_look_like_another_kind(liquids, left, right, told):
    limbs = [limb("left", left), limb("right", right)]
    found = liquid_doubts(limbs, known(liquids))
    assert [doubt.code for doubt in found] == ["liquid_differs_from_file"] * told


def test_a_limb_of_its_own_is_named():
    """Gas where the process liquid should be."""
    limbs = [limb("left", GAS), limb("right", GAS)]
    [doubt] = liquid_doubts(limbs, known(UNDER_WATER.replace("mercury", "bromoform")))
    assert doubt.limb == "left"
    assert "bromoform under water" in doubt.text
    assert "a liquid under a gas" in doubt.text


def test_what_is_hardly_a_level_says_nothing():
    limbs = [limb(name, GAS, probability=0.4) for name in ("left", "right")]
    assert liquid_doubts(limbs, known(OF_MERCURY)) == ()


def test_the_other_network_is_asked(monkeypatch):
    sees_mercury = view_with((150, 1.0, MERCURY))
    monkeypatch.setattr(liquid_seen, "look_again", lambda strip: sees_mercury)
    limbs = [limb(name, GAS) for name in ("left", "right")]
    assert liquid_doubts(limbs, known(OF_MERCURY)) == ()
