"""Tubes that water wets or does not, told by all levels together."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from limbsight.calib.height_components import own_component
from limbsight.calib.heights import LevelFit
from limbsight.knowledge import UNKNOWN, WATERY, Knowledge, knowledge_from_picture
from limbsight.records import Reason
from limbsight.wall_seen import COMPONENT, read_by_wall, with_wall_seen
from limbsight.walls import GLASS, PLASTIC
from tests.helpers.levels import apex
from tests.helpers.scales import millimetres

KNOWN = knowledge_from_picture(millimetres(0.0, 100.0))
U = 0.1


@dataclass(frozen=True)
class FakeLimb:
    wall: str | None
    levels: tuple[LevelFit, ...]
    reasons: tuple[Reason, ...] = ()


def level(height, said):
    return LevelFit(
        height=height,
        x_px=0.0,
        y_px=0.0,
        components=(own_component("meniscus fit", U),),
        apex=apex(0.0),
        for_wetting=said,
    )


class Tube:
    """One limb, whose level is higher in plastic; remembers as what it was read."""

    def __init__(self, said, rise=1.5):
        self.said, self.rise, self.asked = said, rise, []

    def __call__(self, known: Knowledge):
        wall = known.instrument.tube.material
        self.asked.append(wall)
        height = 50.0 + (self.rise if wall == PLASTIC else 0.0)
        said = None if known.wall_told else self.said
        return FakeLimb(wall, (level(height, said),))


def read(*tubes, known=KNOWN):
    limbs = read_by_wall(tubes, known)
    codes = [one.code for limb in limbs for one in limb.reasons]
    return limbs, codes


def test_what_a_file_says_is_not_asked():
    tube = Tube(-500.0)
    limbs, codes = read(tube, known=KNOWN.of_wall(GLASS))
    assert (tube.asked, codes) == ([GLASS], [])
    assert limbs[0].levels[0].height == 50.0


def test_once_it_is_plain_other_limbs_are_not_asked():
    tubes = [Tube(200.0), Tube(-5.0), Tube(None)]
    limbs, codes = read(*tubes)
    assert [tube.asked for tube in tubes] == [[None], [GLASS], [GLASS]]
    assert codes == []
    assert all(limb.levels[0].uncertainty_without(()) == pytest.approx(U) for limb in limbs)


def test_levels_that_say_nothing_leave_all_as_it_is():
    limbs, codes = read(Tube(None), Tube(None))
    assert codes == []
    assert [limb.wall for limb in limbs] == [None, None]


def test_a_flat_bowl_is_read_as_one_in_plastic_and_says_so():
    limbs, codes = read(Tube(-60.0), Tube(2.0))
    assert codes == ["wall_not_wetted"]
    assert [limb.levels[0].height for limb in limbs] == [51.5, 51.5]


def test_one_limb_does_not_outweigh_the_others():
    limbs, codes = read(Tube(-240.0), Tube(30.0), Tube(20.0))
    assert codes == []
    assert limbs[0].levels[0].height == 50.0


@pytest.mark.parametrize(("said", "likely"), [(-8.0, 50.0), (-15.0, 51.5)])
def test_in_doubt_the_interval_holds_both(said, likely):
    limbs, codes = read(Tube(said))
    (found,) = limbs[0].levels
    assert found.height == likely
    assert codes == ["wetting_uncertain"]
    assert 2.0 * found.standard_uncertainty > 1.5
    assert [c.name for c in found.components].count(COMPONENT) == 1


def test_a_doubt_that_moves_nothing_is_none():
    _, codes = read(Tube(-11.0, rise=0.5 * U))
    assert codes == []


def test_plastic_is_never_supposed_without_a_word():
    _, codes = read(Tube(-13.0, rise=0.0))
    assert codes == ["wetting_uncertain"]


def test_the_pressure_is_then_that_of_such_tubes():
    plastic = with_wall_seen(KNOWN, read(Tube(-60.0))[0])
    assert plastic.instrument.tube.material == PLASTIC
    assert plastic.instrument.liquids.manometric.name == WATERY
    assert KNOWN.instrument.liquids.manometric.name == UNKNOWN
    assert with_wall_seen(KNOWN, read(Tube(200.0))[0]) is KNOWN
    assert with_wall_seen(KNOWN, ()) is KNOWN
