"""Every arrangement against its textbook formula, everything ideal.

Where the formula leaves the air out, the tolerance is what air is in it: 1.2 kg/m3 beside
13600, denser in the line, 3e-4 together.
"""

from __future__ import annotations

import math

import pytest

from limbsight.errors import InputError
from limbsight.reduce.air import moist_air_density
from limbsight.reduce.fluids import fluid

G = 9.81
AIR = moist_air_density(293.15, 101325.0, 0.5)


def line_air(pressure_pa):
    return moist_air_density(293.15, 101325.0 + pressure_pa, 0.5)


def test_open_u_tube_above_atmosphere(ideal, pressure):
    found = pressure(ideal("u-tube", "left"), left=0.2, right=0.5)
    # p + line air down to the left level = liquid up + air up to the tapping at 1.0 m
    wanted = G * (13600 * 0.3 + AIR * (1.0 - 0.5) - line_air(found) * (1.0 - 0.2))
    assert found == pytest.approx(wanted, rel=1e-7)


def test_open_u_tube_below_atmosphere(ideal, pressure):
    assert pressure(ideal("u-tube", "right"), left=0.2, right=0.5) == pytest.approx(
        -13600 * G * 0.3, rel=3e-4
    )


def test_leg_of_process_liquid(ideal, pressure, known, filling):
    """Worked problem w01: SG 0.8 in the line, mercury 0.4 m, tapping 0.15 m over the level."""
    m = ideal("u-tube", "left", process=filling("line", 800.0), tapping_m=known(0.75))
    found = pressure(m, left=0.6, right=0.2)
    assert found == pytest.approx(-54543.6 + G * AIR * (0.75 - 0.2), abs=1e-6)


def test_wanted_height(ideal, pressure, known, filling):
    line = {"process": filling("line", 800.0), "tapping_m": known(0.75)}
    at_tapping = pressure(ideal("u-tube", "left", **line), left=0.6, right=0.2)
    lower = pressure(
        ideal("u-tube", "left", **line, wanted_m=known(-1.25)), left=0.6, right=0.2
    )
    # two metres down the line: the liquid's head, against the air outside it
    assert lower - at_tapping == pytest.approx(2.0 * G * (800.0 - AIR), rel=1e-9)


def test_unequal_plugs(ideal, pressure, filling):
    m = ideal("u-tube", "left", seals=(filling("seal", 1260.0),))
    found = pressure(m, left=(0.2, 0.3), right=(0.5, 0.75))
    wanted = G * (13600 * 0.3 + 1260 * (0.25 - 0.1))
    assert found == pytest.approx(wanted, rel=3e-4)


def test_differential_u_tube(ideal, pressure, known, filling):
    """Worked problem w11: water, mercury, glycerin, oil."""
    m = ideal(
        "u-tube",
        "left",
        manometric=filling("mercury", 13500.0),
        process=filling("water", 1000.0),
        open_to="tapping",
        reference_process=filling("glycerin", 1260.0),
        tapping_m=known(1.0),
        reference_tapping_m=known(0.25),
    )
    found = pressure(m, left=0.0, right=-0.2)
    assert found == pytest.approx(-(31598.01 - 880 * G * 0.1), rel=1e-9)


def test_two_pipes_at_different_heights(ideal, pressure, known, filling):
    """Worked problem w17, printed answer 54.4 kPa."""
    m = ideal(
        "u-tube",
        "left",
        process=filling("water", 1000.0),
        open_to="tapping",
        tapping_m=known(1.5),
        reference_tapping_m=known(0.75),
    )
    assert pressure(m, left=0.0, right=0.5) == pytest.approx(54445.5, rel=1e-9)


def test_inverted_u_tube(ideal, pressure, known, filling):
    """Worked problem w20: oil on top, pipes 30 cm apart, printed answer 2354.4 Pa."""
    m = ideal(
        "inverted-u-tube",
        "left",
        manometric=filling("oil", 800.0),
        process=filling("water", 1000.0),
        open_to="tapping",
        tapping_m=known(0.0),
        reference_tapping_m=known(-0.3),
    )
    # 35 cm of water over A, and the same column over B 30 cm lower
    found = pressure(m, left=0.35, right=0.05)
    assert -found == pytest.approx(2354.4, rel=1e-9)


def test_inverted_u_tube_with_gas(ideal, pressure, known, filling):
    m = ideal(
        "inverted-u-tube",
        "left",
        manometric=fluid("nitrogen"),
        process=filling("water", 1000.0),
        open_to="tapping",
        tapping_m=known(0.0),
        reference_tapping_m=known(0.0),
    )
    found = pressure(m, left=0.4, right=0.3)
    assert found == pytest.approx(G * 0.1 * (1000.0 - 1.165), rel=3e-4)


def test_single_limb(ideal, pressure, known):
    m = ideal("single-limb", "cistern", tapping_m=known(0.1))
    assert pressure(m, tube=0.6) == pytest.approx(G * 0.5 * (13600 - AIR), rel=1e-9)


def test_cistern_true_scale(ideal, pressure, known, filling):
    """Worked problem w28: area ratio 100, 40 cm, pipe liquid 0.9 with its leg."""
    m = ideal(
        "cistern",
        "cistern",
        process=filling("pipe", 900.0),
        tapping_m=known(0.2),
        area_ratio=known(0.01),
        zero_m=known(0.0),
    )
    found = pressure(m, tube=0.4)
    assert found == pytest.approx(52098.948 - G * AIR * (0.4 - 0.2), abs=1e-6)


def test_cistern_tapped_at_the_tube(ideal, pressure, known):
    m = ideal("cistern", "tube", area_ratio=known(0.01), zero_m=known(0.0))
    assert pressure(m, tube=0.4) == pytest.approx(-13600 * G * 0.404, rel=3e-4)


def test_cistern_compensated_scale(ideal, pressure, known):
    """The scale's own figure is the head, whatever the cistern did."""
    m = ideal(
        "cistern",
        "cistern",
        area_ratio=known(0.01),
        zero_m=known(0.0),
        cistern_scale="compensated",
    )
    assert pressure(m, tube=0.4) == pytest.approx(13600 * G * 0.4, rel=3e-4)


def test_cistern_level_set_to_a_mark(ideal, pressure, known):
    m = ideal("cistern", "cistern", cistern_scale="adjusted", cistern_level_m=known(0.05))
    assert pressure(m, tube=0.4) == pytest.approx(13600 * G * 0.35, rel=3e-4)


def test_inclined_tube(ideal, pressure, known, filling):
    """Worked problem w26: D 96 mm, d 8 mm, angle 11.13 deg makes five for one."""
    m = ideal(
        "inclined",
        "cistern",
        manometric=filling("oil", 1000.0),
        incline_rad=known(math.radians(11.131156894)),
        area_ratio=known((8 / 96) ** 2),
        zero_m=known(0.0),
    )
    assert pressure(m, tube=0.5) == pytest.approx(1000 * G * 0.1, rel=2e-3)


def test_inclined_scale_that_counts_the_head(ideal, pressure, known, filling):
    m = ideal(
        "inclined",
        "cistern",
        manometric=filling("oil", 800.0),
        incline_rad=known(math.radians(20)),
        area_ratio=known(0.01),
        zero_m=known(0.0),
        cistern_scale="compensated",
    )
    assert pressure(m, tube=0.05) == pytest.approx(800 * G * 0.05, rel=2e-3)


def test_barometer(barometer, pressure):
    m = barometer()
    assert m.kind == "absolute"
    assert pressure(m, tube=0.76) == pytest.approx(13600 * G * 0.76, rel=1e-12)


def test_micromanometer_with_one_interface(ideal, pressure, known, filling):
    """Worked problem w34: 7 mm tube, 44 mm ends, water and SG 0.83, interface moved 10 mm."""
    m = ideal(
        "micromanometer",
        "right",
        manometric=filling("water", 1000.0),
        seals=(filling("oil", 830.0),),
        area_ratio=known((7 / 44) ** 2),
        zero_m=known(0.0),
    )
    found = pressure(m, left=0.01, right=())
    assert found == pytest.approx(21.22071229, abs=0.01)


def test_micromanometer_with_two_interfaces(ideal, pressure, known, filling):
    """Both limbs filled alike: (rho2 - rho1 + rho1 a/A) g dh."""
    ratio = 0.02
    m = ideal(
        "micromanometer",
        "left",
        manometric=filling("water", 1000.0),
        seals=(filling("oil", 830.0),),
        area_ratio=known(ratio),
        zero_m=known(0.2),
    )
    found = pressure(m, left=0.18, right=0.22)
    assert found == pytest.approx(G * 0.04 * (170.0 + ratio * 830.0), rel=1e-3)


def test_bank_against_its_reservoir(ideal, pressure, known):
    m = ideal("bank", "limb 2", cistern_level_m=known(0.3), reference_limb=None)
    limbs = {"limb 1": 0.25, "limb 2": 0.35, "limb 3": 0.4}
    assert pressure(m, **limbs) == pytest.approx(-13600 * G * 0.05, rel=3e-4)


def test_bank_against_an_open_limb(ideal, pressure):
    m = ideal("bank", "limb 3", reference_limb="limb 1")
    limbs = {"limb 1": 0.25, "limb 2": 0.35, "limb 3": 0.4}
    assert pressure(m, **limbs) == pytest.approx(-13600 * G * 0.15, rel=3e-4)


@pytest.mark.parametrize(
    ("arrangement", "tapped", "limbs", "message"),
    [
        ("u-tube", "left", {"left": (0.1, 0.2), "right": 0.3}, "limb left: 2 level"),
        ("u-tube", "left", {"left": 0.1, "right": ()}, "limb right: 0 level"),
        ("bank", "limb 1", {"limb 1": 0.1, "limb 2": 0.2}, "level of the reservoir"),
        ("micromanometer", "left", {"left": 0.1, "right": 0.2}, "one lighter liquid"),
    ],
)
def test_what_does_not_fit_is_refused(ideal, pressure, arrangement, tapped, limbs, message):
    if arrangement == "bank":
        m = ideal(arrangement, tapped, reference_limb="cistern")
    else:
        m = ideal(arrangement, tapped)
    with pytest.raises(InputError, match=message):
        pressure(m, **limbs)
