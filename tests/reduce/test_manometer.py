"""What is known, what is not, and what either does to the budget."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.errors import InputError
from limbsight.reduce.capillarity import meniscus
from limbsight.reduce.fluids import liquid
from limbsight.reduce.manometer import (
    Component,
    Level,
    Manometer,
    Scale,
)
from limbsight.reduce.prepare import prepare
from limbsight.reduce.uncertainty import propagate
from limbsight.reduce.zero import subtract_zero
from limbsight.units import Given

LEFT_M, RIGHT_M = -0.05, 0.05
WATER = liquid("distilled water")


def bare(**changes) -> Manometer:
    """An open U-tube of which only the liquid is known."""
    least = Manometer(arrangement="u-tube", tapped_limb="left", manometric=WATER)
    return replace(least, **changes)


def reduced(manometer: Manometer, levels, **limbs):
    return prepare(manometer, levels(limbs or {"left": LEFT_M, "right": RIGHT_M}))


def budget(reduction):
    estimate = propagate(reduction.difference, reduction.inputs)
    return estimate, {c.input.key: c for c in estimate.contributions}


def test_every_default_is_a_line_of_the_budget(levels):
    _, lines = budget(reduced(bare(), levels))
    defaults = {
        key
        for key, line in lines.items()
        if line.input.source.startswith("default") and line.contribution != 0
    }
    assert {
        "temperature",
        "gravity",
        "barometer",
        "humidity",
        "plumb",
        "tapping",
        "radius left",
        "own angle left",
        "mark left",
    } <= defaults


def test_what_is_given_costs_less(levels):
    known = bare(
        temperature_k=Given(value=293.15, standard_uncertainty=0.1),
        gravity_m_s2=Given(value=9.81),
        plumb_rad=Given(value=0.0, standard_uncertainty=0.0),
        scale=Scale(standard_uncertainty_m=2e-5),
    )
    u_known = budget(reduced(known, levels))[0].standard_uncertainty
    u_bare = budget(reduced(bare(), levels))[0].standard_uncertainty
    assert u_known < u_bare / 1.5


def test_budget_adds_up_and_is_sorted(levels):
    estimate, _ = budget(reduced(bare(), levels))
    parts = [abs(c.contribution) for c in estimate.contributions]
    assert parts == sorted(parts, reverse=True)
    assert math.hypot(*parts) == pytest.approx(estimate.standard_uncertainty, rel=1e-12)


def test_sensitivities_against_central_differences(levels):
    reduction = reduced(bare(bore_m=0.004), levels)
    q = {i.key: float(i.value) for i in reduction.inputs}
    _, lines = budget(reduction)
    for key, line in lines.items():
        h = 1e-3 * line.input.standard_uncertainty
        if h == 0:
            continue
        up, down = (reduction.difference({**q, key: q[key] + s * h}) for s in (1, -1))
        difference = (up - down) / (2 * h)
        floor = 1e-9 * abs(reduction.difference(q)) / h
        assert line.sensitivity == pytest.approx(float(difference), rel=1e-3, abs=floor), key


def test_what_both_limbs_share_cancels(levels):
    """A component of one key and sign in both limbs shifts no difference of levels."""

    def u_of(sign: float, key: tuple[str, str]) -> float:
        limbs = {
            name: (
                Level(
                    value_m=z,
                    components=(Component(key=k, name="scale", coefficient_m=s * 1e-3),),
                ),
            )
            for name, z, k, s in (
                ("left", LEFT_M, key[0], 1.0),
                ("right", RIGHT_M, key[1], sign),
            )
        }
        _, lines = budget(prepare(bare(), limbs))
        return math.hypot(*(lines[k].contribution for k in set(key)))

    head = WATER.density(293.15) * 9.80665 * 1e-3
    assert u_of(1.0, ("level a", "level a")) < 0.002 * head
    assert u_of(-1.0, ("level a", "level a")) == pytest.approx(2 * head, rel=3e-3)
    assert u_of(1.0, ("level a", "level b")) == pytest.approx(math.sqrt(2) * head, rel=3e-3)


def test_equal_bores_cancel_capillarity(levels):
    narrow, wide = (
        budget(reduced(bare(bore_m=bore), levels))[0].value for bore in (0.003, 0.02)
    )
    # what is left is gas in the line over levels that stand higher
    assert narrow == pytest.approx(wide, rel=1e-5)


def test_unequal_bores_do_not(levels, ideal, pressure):
    """Water in 6.0 and 6.3 mm: the levels stand 0.26 mm apart at one pressure."""
    bores = {"left": 6.0e-3, "right": 6.3e-3}
    m = ideal("u-tube", "left", manometric=WATER, bores_m=bores)
    rises = {
        limb: meniscus(
            bore / 2,
            WATER.contact_angle_rad,
            WATER.surface_tension_n_m,
            WATER.density(293.15) - 1.2,
            9.81,
        ).rise_m
        for limb, bore in bores.items()
    }
    difference = rises["left"] - rises["right"]
    assert difference == pytest.approx(0.25e-3, abs=0.03e-3)
    found = pressure(m, left=0.5 + difference, right=0.5)
    assert found == pytest.approx(0.0, abs=0.02)


def test_single_limb_is_corrected_for_the_rise(ideal, pressure, known):
    m = ideal("single-limb", "cistern", manometric=WATER, tapping_m=known(0.0), bore_m=0.004)
    flat = ideal("single-limb", "cistern", manometric=WATER, tapping_m=known(0.0))
    # 6.82 mm for complete wetting, table of the rise of water; 15 deg here
    lowered = (pressure(flat, tube=0.5) - pressure(m, tube=0.5)) / (998.2 * 9.81)
    assert 6.4e-3 < lowered < 6.82e-3


def test_mercury_column_is_raised_for_its_depression(ideal, pressure, known):
    settings_ = {"open_to": "vacuum", "area_ratio": known(0.0), "zero_m": known(0.0)}
    mercury = liquid("mercury")
    narrow = ideal("barometer", "cistern", manometric=mercury, bore_m=0.008, **settings_)
    wide = ideal("barometer", "cistern", manometric=mercury, **settings_)
    more = (pressure(narrow, tube=0.76) - pressure(wide, tube=0.76)) / (13545.85 * 9.81)
    # Leiden Comm. 61 (1901): 0.69 mm at a meniscus of 1.66 mm; less for a flatter one
    assert 0.5e-3 < more < 0.75e-3


def test_temperatures_of_the_limbs(ideal, pressure, known):
    """A warm limb stands higher: 10 K on 0.5 m of water above the bend."""
    limbs = {"left": known(293.15), "right": known(303.15)}
    m = ideal(
        "u-tube",
        "left",
        manometric=WATER,
        limb_temperatures_k=limbs,
        scale=Scale(expansion_per_k=known(0.0), bottom_m=0.0, top_m=0.6),
    )
    cold, warm = WATER.density(293.15), WATER.density(303.15)
    found = pressure(m, left=0.5, right=0.5 * cold / warm)
    assert found == pytest.approx(0.0, abs=0.1)
    assert pressure(m, left=0.5, right=0.5) == pytest.approx(
        9.81 * 0.5 * (warm - cold), rel=0.01
    )


def test_scale_expansion(ideal, pressure, known):
    scale = Scale(expansion_per_k=known(1.84e-5), true_at_k=273.15, top_m=1.0)
    warm = ideal("u-tube", "left", scale=scale)
    true = ideal("u-tube", "left")
    ratio = pressure(warm, left=0.1, right=0.6) / pressure(true, left=0.1, right=0.6)
    assert ratio == pytest.approx(1 + 20 * 1.84e-5, abs=1e-7)


def test_tilt(ideal, pressure, known):
    """One degree: 152 ppm of the head by the cosine, the spacing by the sine."""
    tilt = math.radians(1.0)
    m = ideal("u-tube", "left", plumb_rad=known(tilt), limb_spacing_m=0.05)
    upright = ideal("u-tube", "left", limb_spacing_m=0.05)
    found, straight = (pressure(x, left=0.2, right=0.5) for x in (m, upright))
    wanted = straight * math.cos(tilt) + 13600 * 9.81 * 0.05 * math.sin(tilt)
    assert found == pytest.approx(wanted, rel=1e-4)


def test_zero_reading_takes_off_tilt_and_unequal_bores(ideal, levels, known):
    m = ideal(
        "u-tube",
        "left",
        plumb_rad=known(math.radians(2.0)),
        limb_spacing_m=0.05,
        bores_m={"left": 4e-3, "right": 6e-3},
    )
    true = ideal("u-tube", "left")
    plain = prepare(m, levels({"left": 0.1, "right": 0.4}))
    # both ends open: what the tilted instrument shows when nothing acts on it
    empty = prepare(m, levels({"left": 0.25, "right": 0.25}))
    q = {i.key: i.value for i in empty.inputs}
    offset_m = float(empty.difference(q)) / (13600 * 9.81)
    zero = prepare(m, levels({"left": 0.25 + offset_m / 2, "right": 0.25 - offset_m / 2}))
    corrected = subtract_zero(plain, zero)
    q = {i.key: i.value for i in corrected.inputs}
    straight = prepare(true, levels({"left": 0.1, "right": 0.4}))
    wanted = float(straight.difference({i.key: i.value for i in straight.inputs}))
    difference = float(plain.difference(q))
    assert abs(difference - wanted) > 100
    assert float(corrected.difference(q)) == pytest.approx(
        # the gas over the zero is that of the open end, 1e-7 denser under this pressure
        difference - float(zero.difference({i.key: i.value for i in zero.inputs})),
        abs=1e-4,
    )


def test_zero_reading_cancels_the_tilt_in_the_budget(levels):
    plain = reduced(bare(), levels)
    zero = reduced(bare(), levels, left=0.0, right=0.0)
    _, without = budget(plain)
    _, with_zero = budget(subtract_zero(plain, zero))
    assert abs(without["plumb"].contribution) > 1.0
    assert abs(with_zero["plumb"].contribution) < 1e-3
    assert with_zero["zero: mark left"].contribution != 0


def test_zero_reading_is_refused_over_a_liquid_line(levels, known):
    m = bare(process=liquid("kerosene"), tapping_m=known(0.1))
    with pytest.raises(InputError, match="zero reading can't be subtracted"):
        subtract_zero(reduced(m, levels), reduced(m, levels))


def test_gauge_and_absolute(levels):
    reduction = reduced(bare(), levels)
    q = {i.key: float(i.value) for i in reduction.inputs}
    assert reduction.absolute(q) - q["barometer"] == pytest.approx(reduction.gauge(q))


def test_mercury_under_water_stays_depressed(levels, known):
    """Under another liquid mercury wets no better: corrected, with a wider angle."""
    m = bare(manometric=liquid("mercury"), process=liquid("water"), tapping_m=known(0.1))
    rises = reduced(m, levels).rises
    assert rises["left"].value_m < 0
    assert abs(rises["left"].value_m) < abs(rises["right"].value_m)


def test_oil_on_water_is_not_corrected_but_uncertain(levels, known):
    m = bare(process=liquid("kerosene"), tapping_m=known(0.1))
    reduction = reduced(m, levels)
    assert reduction.rises["left"].value_m == 0
    _, lines = budget(reduction)
    assert lines["own interface left"].contribution != 0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"process": liquid("mercury"), "tapping_m": Given(value=0.1)}, "is not heavier"),
        ({"process": liquid("kerosene")}, "its height is needed"),
        ({"temperature_k": Given(value=318.15)}, "known from 0 to 40 degC"),
        ({"open_to": "water"}, "which is no gas"),
    ],
)
def test_what_cannot_be_is_refused(levels, changes, message):
    with pytest.raises(InputError, match=message):
        reduced(bare(**changes), levels)


HEIGHT = st.floats(0.0, 0.5)


@given(HEIGHT, HEIGHT)
@settings(max_examples=50, deadline=None)
def test_swapping_limbs_changes_the_sign(ideal, pressure, filling, known, left, right):
    m = ideal(
        "u-tube",
        "left",
        process=filling("water", 1000.0),
        open_to="tapping",
        tapping_m=known(0.6),
        reference_tapping_m=known(0.6),
    )
    there = pressure(m, left=left, right=right)
    back = pressure(m, left=right, right=left)
    assert there == pytest.approx(-back, abs=1e-7)


@given(HEIGHT, HEIGHT, st.floats(0.001, 0.3))
@settings(max_examples=50, deadline=None)
def test_equal_plugs_change_nothing(ideal, pressure, filling, known, left, right, plug):
    line = {
        "process": filling("water", 1000.0),
        "open_to": "tapping",
        "tapping_m": known(0.9),
        "reference_tapping_m": known(0.7),
    }
    without = pressure(ideal("u-tube", "left", **line), left=left, right=right)
    m = ideal("u-tube", "left", **line, seals=(filling("seal", 1260.0),))
    plugged = pressure(m, left=(left, left + plug), right=(right, right + plug))
    assert plugged == pytest.approx(without, abs=1e-7)


@given(st.floats(-0.3, 0.3), st.floats(0, 90), st.floats(-0.2, 0.2))
@settings(max_examples=30, deadline=None)
def test_shifting_the_scale_changes_nothing(
    ideal, pressure, known, difference, latitude, shift
):
    place = {"gravity_m_s2": None, "latitude_rad": math.radians(latitude)}
    m = ideal("u-tube", "left", tapping_m=known(0.5), **place)
    moved = ideal("u-tube", "left", tapping_m=known(0.5 + shift), **place)
    here = pressure(m, left=0.0, right=difference)
    there = pressure(moved, left=shift, right=difference + shift)
    assert here == pytest.approx(there, abs=1e-6)


def test_arrays_go_through_the_same_function(ideal, levels):
    m = ideal("u-tube", "left")
    left, right = np.linspace(0, 0.3, 7), np.linspace(0.4, 0.1, 7)
    many = prepare(m, levels({"left": left, "right": right}))
    q = {i.key: i.value for i in many.inputs}
    whole = many.difference(q)
    for k in range(7):
        one = prepare(m, levels({"left": float(left[k]), "right": float(right[k])}))
        assert float(one.difference({i.key: i.value for i in one.inputs})) == whole[k]


def test_measured_meniscus_height(ideal, pressure, known):
    """Mercury in 8 mm with a meniscus of 1.0 mm: depressed by 0.579 mm at 0.45 N/m."""
    settings_ = {
        "manometric": liquid("mercury"),
        "open_to": "vacuum",
        "area_ratio": known(0.0),
        "zero_m": known(0.0),
        "gravity_m_s2": known(9.80665),
    }
    narrow = ideal(
        "barometer", "cistern", bore_m=0.008, meniscus_height_m=known(1.0e-3), **settings_
    )
    wide = ideal("barometer", "cistern", **settings_)
    more = pressure(narrow, tube=0.76) - pressure(wide, tube=0.76)
    assert more / (13545.85 * 9.80665) == pytest.approx(0.579e-3, abs=1e-6)


def test_meniscus_height_costs_less_than_a_guessed_angle(levels):
    settings_ = {"bores_m": {"left": 3e-3, "right": 6e-3}, "tapping_m": Given(value=0.1)}
    guessed = budget(reduced(bare(**settings_), levels))[1]["angle distilled water"]
    measured = budget(
        reduced(
            bare(
                **settings_,
                meniscus_height_m=Given(value=1.1e-3, standard_uncertainty=1e-5),
            ),
            levels,
        )
    )[1]["angle distilled water"]
    assert measured.input.source == "meniscus height"
    assert measured.input.standard_uncertainty < guessed.input.standard_uncertainty


def test_impossible_meniscus_height(levels):
    m = bare(bore_m=4e-3, meniscus_height_m=Given(value=5e-3))
    with pytest.raises(
        InputError, match=r"meniscus_height: .* not possible in a bore of 4 mm"
    ):
        reduced(m, levels)
