"""What an instrument file tells the eye, and what stands in for what it leaves out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from limbsight.calib.instrument_file import parse_instrument
from limbsight.knowledge import (
    LET_IN,
    MISTAKEN_FACE,
    U_SEEN_WIDTH,
    UNSEEN_FACE,
    WATERY,
    knowledge_from_picture,
    knowledge_of,
    with_limbs,
)
from tests.helpers.scales import millimetres

FILE = """
name = "x"
arrangement = "{arrangement}"
{top}
[scale]
unit = "{unit}"
division = 1.0
numbered_every = 10.0
lowest = 0
highest = 100
[tube]
{tube}
[liquids]
manometric = {manometric}
{liquids}
"""


def known(
    *,
    arrangement="u-tube",
    top='tapped_limb = "left"',
    unit="mm",
    tube="",
    manometric='"water"',
    liquids="",
):
    text = FILE.format(
        arrangement=arrangement,
        top=top,
        unit=unit,
        tube=tube,
        manometric=manometric,
        liquids=liquids,
    )
    return knowledge_of(parse_instrument(text))


def depths_of(outside_diameter_m: float, *, on_board: float) -> np.ndarray:
    """Depths of many tubes before their graduated face, which is the board's so often."""
    rng, count = np.random.default_rng(1), 400_000
    radius = outside_diameter_m / 2
    board = radius * (1 + U_SEEN_WIDTH * rng.standard_normal(count))
    board += rng.uniform(0.0, 5e-3, count)
    own = board * rng.random(count)
    let_in = rng.random(count) < LET_IN
    board[let_in] = radius * rng.random(let_in.sum())
    own[let_in] = radius * rng.uniform(-0.5, 0.5, let_in.sum())
    return np.where(rng.random(count) < on_board, board, own)


class TestTube:
    def test_given(self):
        tube = known(
            tube='bore = "6 mm"\noutside_diameter = "9 mm"\naxis_to_scale = "4 mm"'
        ).tube
        assert (tube.bore_radius_m, tube.outer_radius_m) == pytest.approx((3e-3, 4.5e-3))
        assert tube.axis_to_scale_m == pytest.approx(4e-3)
        assert tube.u_bore_radius_m < 0.1e-3
        assert tube.u_axis_to_scale_m < 0.5e-3

    @pytest.mark.parametrize("outside_mm", [4.0, 9.0, 17.0])
    def test_before_lines_on_a_board_it_rests_on_it_or_is_let_in(self, outside_mm):
        depth = depths_of(1e-3 * outside_mm, on_board=1 - MISTAKEN_FACE)
        unknown = knowledge_from_picture(millimetres(0.0, 100.0))
        tube = with_limbs(unknown, 2, 1e-3 * outside_mm, before_lines=True).tube
        assert tube.axis_to_scale_m == pytest.approx(depth.mean(), rel=0.01)
        assert tube.u_axis_to_scale_m == pytest.approx(depth.std(), rel=0.01)

    @pytest.mark.parametrize("outside_mm", [4.0, 9.0, 17.0])
    def test_a_face_of_its_own_lies_between_the_board_and_the_axes(self, outside_mm):
        depth = depths_of(1e-3 * outside_mm, on_board=UNSEEN_FACE)
        unknown = knowledge_from_picture(millimetres(0.0, 100.0))
        tube = with_limbs(unknown, 2, 1e-3 * outside_mm, before_lines=False).tube
        assert tube.axis_to_scale_m == pytest.approx(depth.mean(), rel=0.01)
        assert tube.u_axis_to_scale_m == pytest.approx(depth.std(), rel=0.01)

    def test_given_it_stands_whatever_is_seen(self):
        given = knowledge_from_picture(millimetres(0.0, 100.0), 4e-3)
        anywhere = with_limbs(given, 2, 9e-3)
        before = with_limbs(given, 2, 9e-3, before_lines=True)
        assert anywhere.tube == before.tube
        assert anywhere.tube.axis_to_scale_m == 4e-3
        assert anywhere.tube.u_axis_to_scale_m < 0.5e-3
        assert anywhere.instrument.tube.axis_to_scale_m == 4e-3

    @pytest.mark.parametrize("outside_mm", [3.0, 6.0, 9.0, 16.0])
    def test_bore_and_outside_follow_from_each_other(self, outside_mm):
        tube = known(tube=f'outside_diameter = "{outside_mm} mm"').tube
        bore_mm = 2e3 * tube.bore_radius_m
        again = known(tube=f'bore = "{bore_mm} mm"').tube
        assert 2e3 * again.outer_radius_m == pytest.approx(outside_mm)
        assert 0.5 <= bore_mm / outside_mm < 0.87

    def test_each_left_out_follows_from_the_other_and_costs(self):
        given = known(tube='bore = "6 mm"\noutside_diameter = "9 mm"').tube
        from_bore = known(tube='bore = "6 mm"').tube
        from_outside = known(tube='outside_diameter = "9 mm"').tube
        nothing = known().tube
        assert from_bore.bore_radius_m == given.bore_radius_m
        assert 1.1 < from_bore.outer_radius_m / from_bore.bore_radius_m < 1.8
        assert from_outside.outer_radius_m == given.outer_radius_m
        assert from_outside.u_bore_radius_m > 3 * given.u_bore_radius_m
        # The default covers the usual tubing, 4 to 10 mm bore, within two sigma.
        reach = 2 * nothing.u_bore_radius_m
        assert nothing.bore_radius_m == pytest.approx(3.5e-3, abs=1.5e-3 + reach)
        assert (
            nothing.u_axis_to_scale_m
            > 10 * known(tube='axis_to_scale = "4 mm"').tube.u_axis_to_scale_m
        )


class TestUnit:
    def test_length(self):
        assert known(unit="in").unit_m == pytest.approx(25.4e-3)

    def test_pressure_counts_columns_of_its_own_liquid(self):
        assert known(unit="mmHg", manometric='"mercury"').unit_m == pytest.approx(
            1e-3, rel=5e-3
        )
        assert known(unit="Pa").unit_m == pytest.approx(1 / (998.2 * 9.80665), rel=2e-3)
        own = known(unit="Pa", manometric='{ name = "x", density = "800 kg/m^3" }')
        assert own.unit_m == pytest.approx(1 / (800 * 9.80665), rel=1e-3)

    def test_a_known_liquid_is_not_taken_for_one_of_its_kind(self):
        """Hexane at 20 degC, 659.4 kg/m3: one unit is the same for picture and pressure."""
        assert known(unit="Pa", manometric='"hexane"').unit_m == pytest.approx(
            1 / (659.384 * 9.80665), rel=1e-6
        )


class TestLimbs:
    def test_names(self):
        assert known().limb_names(2) == ("left", "right")
        assert known(arrangement="single-limb", top="").limb_names(1) == ("tube",)
        bank = known(arrangement="bank", top="tapped_limb = 2")
        assert bank.limb_names(4)[0].endswith("1")
        assert len(set(bank.limb_names(4))) == 4

    @pytest.mark.parametrize(
        ("arrangement", "top", "count"),
        [
            ("u-tube", 'tapped_limb = "left"', 2),
            ("single-limb", "", 1),
            ("cistern", "", 1),
            ("bank", "tapped_limb = 1", None),
        ],
    )
    def test_count(self, arrangement, top, count):
        assert known(arrangement=arrangement, top=top).limb_count == count


class TestFillings:
    def names(self, known_, limb):
        return [liquid.name for liquid in known_.fillings(limb)]

    def test_open_u_tube(self):
        k = known()
        assert self.names(k, "left") == self.names(k, "right") == ["water", "air"]
        assert k.level_count("left") == 1

    def test_process_liquid_stands_in_the_tapped_limb(self):
        k = known(manometric='"mercury"', liquids='process = "water"')
        assert self.names(k, "left") == ["mercury", "water"]
        assert self.names(k, "right") == ["mercury", "air"]

    def test_seals_in_both(self):
        k = known(liquids='seal = { name = "amber oil", density = "870 kg/m^3" }')
        for limb in ("left", "right"):
            assert self.names(k, limb) == ["water", "amber oil", "air"]
            assert k.level_count(limb) == 2

    def test_single_limb_is_open_at_the_top(self):
        k = known(arrangement="single-limb", top="")
        assert self.names(k, "tube") == ["water", "air"]


class TestOptics:
    def test_mercury_is_a_mirror_and_convex(self):
        k = known(manometric='"mercury"')
        assert k.optics("left", 0).opaque_mirror
        assert k.interface("left", 0).contact_angle_rad > 2.0

    def test_water_under_air(self):
        physics = known().interface("left", 0)
        # sqrt(0.0727 / (998 * 9.81)) = 2.72 mm clean; dye takes off a few per cent.
        assert physics.capillary_length_m == pytest.approx(2.72e-3, rel=0.05)
        assert physics.contact_angle_rad < 0.7
        assert known().optics("left", 0).refractive_index == pytest.approx(1.333, abs=0.005)

    def test_a_smaller_difference_of_density_makes_a_longer_capillary(self):
        oil = 'process = { name = "oil", density = "900 kg/m^3" }'
        between = known(liquids=oil).interface("left", 0)
        assert between.capillary_length_m > known().interface("left", 0).capillary_length_m

    def test_a_name_nobody_knows_is_wide(self):
        k = known(manometric='{ name = "stuff", density = "950 kg/m^3" }')
        assert (
            k.optics("left", 0).u_refractive_index
            > known().optics("left", 0).u_refractive_index
        )


class TestWall:
    """What a level of water looks like depends on what the tube is made of."""

    def angle_deg(self, k=0, **changes):
        return math.degrees(known(**changes).interface("left", k).contact_angle_rad)

    def test_water_meets_plastic_steeply_and_oil_creeps_up_it(self):
        assert self.angle_deg() < 30.0
        assert self.angle_deg(tube='material = "glass"') < 30.0
        assert self.angle_deg(tube='material = "acrylic"') > 60.0
        assert self.angle_deg(tube='material = "acrylic"', manometric='"kerosene"') < 30.0
        assert self.angle_deg(tube='material = "acrylic"', manometric='"mercury"') > 120.0

    def test_under_oil_water_bulges_upward_in_it(self):
        oil = 'seal = { name = "seal oil", density = "850 kg/m^3" }'
        assert self.angle_deg(liquids=oil) < 60.0
        assert self.angle_deg(liquids=oil, tube='material = "PVC"') > 120.0
        heavy = '"carbon tetrachloride"'
        assert self.angle_deg(liquids=oil, tube='material = "PVC"', manometric=heavy) < 60.0

    def test_a_contact_angle_of_the_file_stands(self):
        water = '{ name = "water", contact_angle = "40 deg" }'
        assert self.angle_deg(manometric=water) == pytest.approx(40.0)
        plastic = 'material = "plastic"'
        assert self.angle_deg(manometric=water, tube=plastic) == pytest.approx(40.0)
        assert known(manometric=water).if_unwetted("left", 0) is None

    def test_what_is_not_said_may_be_plastic(self):
        other = known().if_unwetted("left", 0)
        assert other == known(tube='material = "plastic"').interface("left", 0)
        assert known(tube='material = "glass"').if_unwetted("left", 0) is None
        for liquid in ('"kerosene"', '"mercury"'):
            assert known(manometric=liquid).if_unwetted("left", 0) is None

    def test_a_liquid_that_nobody_named_is_then_watery(self):
        unknown = knowledge_from_picture(millimetres(0.0, 100.0))
        plastic = unknown.of_plastic()
        assert plastic.filling("tube", 0) == WATERY
        assert unknown.if_unwetted("tube", 0) == plastic.interface("tube", 0)
