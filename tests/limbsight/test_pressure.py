"""From an instrument file and heights to a pressure record."""

from __future__ import annotations

import pytest

from limbsight.calib.instrument import SiteSpec
from limbsight.calib.instrument_file import load_instrument, parse_instrument
from limbsight.errors import InputError, InstrumentError
from limbsight.level_heights import HeightComponent
from limbsight.plain_numbers import check_names
from limbsight.pressure import bank_pressures, pressure_from_levels, reduce_heights
from limbsight.typed_heights import read_heights
from limbsight.units import Given
from tests.helpers.heights import EXAMPLES, FAN, WANTED_PA, level


@pytest.fixture
def fan():
    return load_instrument(FAN)


@pytest.mark.parametrize("name", WANTED_PA)
def test_examples(name):
    heights, wanted, tolerance = WANTED_PA[name]
    found = reduce_heights(EXAMPLES / f"{name}.toml", **heights)
    assert found.value_pa == pytest.approx(wanted, abs=tolerance)
    assert found.standard_uncertainty_pa > 0
    assert found.budget
    if found.kind == "gauge":
        assert found.absolute is not None
        assert found.absolute.kind == "absolute"


def test_bank():
    bank = load_instrument(EXAMPLES / "bank-reservoir.toml")
    found = bank_pressures(bank, read_heights(bank, [25, 30, 35]))
    assert list(found) == ["limb 1", "limb 2", "limb 3"]
    steps = [found[f"limb {i}"].value_pa - found[f"limb {i + 1}"].value_pa for i in (1, 2)]
    assert steps == pytest.approx([489.0, 489.0], abs=2.0)
    opened = load_instrument(EXAMPLES / "bank-open-limb.toml")
    found = bank_pressures(opened, read_heights(opened, [25, 30, 35]))
    assert list(found) == ["limb 2", "limb 3"]
    # numbers grow downward: 35 stands lower than 25, so its pressure is higher
    assert found["limb 3"].value_pa == pytest.approx(978.0, abs=2.0)


def test_a_bank_without_reference_says_what_is_missing():
    text = (EXAMPLES / "bank-reservoir.toml").read_text(encoding="utf-8")
    bank = parse_instrument(text.split("[cistern]")[0])
    with pytest.raises(InputError, match=r"\[cistern\] level.*\[reference\] limb"):
        bank_pressures(bank, read_heights(bank, [25, 30]))


def test_either_limb_and_vacuum(fan):
    left = reduce_heights(fan, left=-50, right=50)
    right = reduce_heights(fan, left=-50, right=50, tapped_limb="right")
    assert right.value_pa == pytest.approx(-left.value_pa, rel=1e-3)


def test_unknown_liquid_and_material():
    text = FAN.read_text(encoding="utf-8")
    for right, wrong, message in (
        ('manometric = "water"', 'manometric = "quicksilver"', r"liquids\.manometric: 'quick"),
        (
            'manometric = "water"',
            'manometric = "nitrogen"',
            r"liquids\.manometric: 'nitrogen' is a gas; name a liquid",
        ),
        (
            'material = "steel"',
            'material = "cheese"',
            r"scale\.material: 'cheese' is not known",
        ),
    ):
        instrument = parse_instrument(text.replace(right, wrong), source="fan.toml")
        with pytest.raises(InstrumentError, match=r"fan\.toml: " + message):
            reduce_heights(instrument, left=1, right=2)


def test_the_site_of_a_reading_overrides_the_file(fan):
    here = reduce_heights(fan, left=-50, right=50)
    there = reduce_heights(
        fan, left=-50, right=50, site=SiteSpec(temperature_k=Given(value=303.15))
    )
    # water is 0.24 % lighter at 30 than at 22 degC
    assert 1 - there.value_pa / here.value_pa == pytest.approx(0.0021, abs=2e-4)


def test_degrees_of_freedom_reach_the_coverage_factor(fan):
    few = HeightComponent(
        name="repeat", standard_uncertainty=5.0, kind="A", degrees_of_freedom=4
    )
    reading = pressure_from_levels(fan, [[level(-50.0, few)], [level(50.0)]])
    assert reading.effective_degrees_of_freedom == pytest.approx(4.0, abs=0.1)
    # t for 95.45 % and 4 degrees of freedom: 2.87, GUM table G.2
    assert reading.coverage_factor == pytest.approx(2.87, abs=0.01)
    assert reading.budget[0].kind == "A"


def test_zero_reading(fan):
    plain = reduce_heights(fan, left=-50, right=50)
    zeroed = reduce_heights(fan, left=-50, right=50, zero=[0.4, -0.2])
    assert zeroed.value_pa - plain.value_pa == pytest.approx(0.6e-3 * 997.8 * 9.8124, rel=0.02)


def test_gauge_is_absolute_minus_barometer(fan):
    reading = reduce_heights(fan, left=-50, right=50)
    assert reading.absolute is not None
    assert reading.absolute.value_pa - 100900.0 == pytest.approx(reading.value_pa, abs=1e-6)


@pytest.mark.parametrize(
    ("unit", "liquid", "length_m"),
    [("mmHg", "mercury", 1e-3), ("inH2O", "water", 0.0254), ("cmH2O", "water", 0.01)],
)
def test_a_scale_in_a_pressure_unit_of_its_own_liquid(unit, liquid, length_m):
    text = FAN.read_text(encoding="utf-8")
    text = text.replace('unit = "mm"', f'unit = "{unit}"')
    text = text.replace('manometric = "water"', f'manometric = "{liquid}"')
    by_unit = reduce_heights(parse_instrument(text), left=-5, right=5)
    metres = FAN.read_text(encoding="utf-8").replace(
        'manometric = "water"', f'manometric = "{liquid}"'
    )
    mm = 1e3 * length_m * 5
    by_length = reduce_heights(parse_instrument(metres), left=-mm, right=mm)
    # the tapping is taken at the top of the scale, which is not the same: air between
    assert by_unit.value_pa == pytest.approx(by_length.value_pa, rel=1e-3)


def test_a_scale_drawn_for_another_liquid_reads_its_pressure():
    text = FAN.read_text(encoding="utf-8").replace('unit = "mm"', 'unit = "Pa"')
    text = text.replace(
        'manometric = "water"', 'manometric = { name = "red oil", specific_gravity = 0.827 }'
    ).replace('temperature = "22 degC"', 'temperature = "20 degC"')
    reading = reduce_heights(parse_instrument(text), left=-100, right=100)
    # drawn for standard gravity, read at latitude 52 deg; air in the other limb
    wanted = 200 * 9.81235 / 9.80665
    assert reading.value_pa == pytest.approx(wanted, rel=2e-3)


def changed(name, *changes):
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    for right, wrong in changes:
        assert right in text
        text = text.replace(right, wrong)
    return parse_instrument(text, source=f"{name}.toml")


def test_gas_on_top_of_an_inverted_u_tube():
    liquid = (EXAMPLES / "inverted-u-tube.toml").read_text(encoding="utf-8").splitlines()
    (line,) = (row for row in liquid if row.startswith("manometric"))
    found = reduce_heights(
        changed("inverted-u-tube", (line, 'manometric = "air"')), left=300, right=200
    )
    assert found.value_pa == pytest.approx((998.2 - 1.2) * 9.80665 * 0.1, rel=2e-3)


@pytest.mark.parametrize("name", ["inverted-u-tube", "micromanometer"])
def test_two_fluids_have_no_scale_in_a_pressure_unit(name):
    instrument = changed(name, ('unit = "mm"', 'unit = "Pa"'))
    with pytest.raises(InstrumentError, match=r"scale\.unit: .* balances two fluids"):
        reduce_heights(instrument, left=10, right=10)


@pytest.mark.parametrize("unit", ["hPa", "mmHg"])
def test_a_barometer_in_pressure_units_is_drawn_for_mercury_at_zero(unit):
    """At 0 degC under standard gravity, in a wide bore, the scale is right as it stands."""
    size = {"hPa": 100.0, "mmHg": 133.322387415}[unit]
    text = (EXAMPLES / "barometer.toml").read_text(encoding="utf-8")
    text = text.replace('unit = "mm"', f'unit = "{unit}"').replace(
        'bore = "8 mm"', 'bore = "80 mm"'
    )
    text = text.replace("lowest = 650.0", "lowest = 0.0").replace("820.0", "1500.0")
    text = text.replace('value = "20 degC"', 'value = "0 degC"')
    text = text.replace('latitude = "52 deg"', 'gravity = "9.80665 m/s^2"')
    found = reduce_heights(parse_instrument(text), tube=760.0)
    assert found.value_pa == pytest.approx(760.0 * size, rel=1e-5)


def test_pressure_wanted_below_a_piezometers_tapping():
    plain = reduce_heights(changed("single-limb"), tube=50)
    instrument = changed("single-limb", ("[tapping]", '[tapping]\nwanted_at = "-105 cm"'))
    lower = reduce_heights(instrument, tube=50)
    # one metre of water, not of air
    assert lower.value_pa - plain.value_pa == pytest.approx(998.2 * 9.80665, rel=2e-3)


def test_a_stated_uncertainty_of_a_known_liquid_is_used(fan):
    certified = changed(
        "open-u-tube",
        ('"water"', '{ name = "water", standard_uncertainty = "5 kg/m^3" }'),
    )
    few, many = (reduce_heights(i, left=-50, right=50) for i in (fan, certified))
    assert many.budget[0].name == "density of water"
    assert abs(many.budget[0].contribution_pa) == pytest.approx(4.9, abs=0.1)
    assert many.standard_uncertainty_pa > few.standard_uncertainty_pa


def test_gravity_without_elevation_is_less_certain():
    def u_of_gravity(*changes):
        reading = reduce_heights(changed("open-u-tube", *changes), left=-50, right=50)
        return next(b.standard_uncertainty for b in reading.budget if b.name == "gravity")

    assert u_of_gravity(('elevation = "40 m"', "")) > 3 * u_of_gravity()


def test_wrong_limits_are_refused():
    with pytest.raises(InstrumentError, match=r"limits\.high: absolute is not what"):
        changed("open-u-tube", ('"1.2 kPa"', '"1.2 kPa absolute"'))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (('"water"', '"watter"'), r"liquids\.manometric: 'watter' is not a fluid"),
        (('"steel"', '"steal"'), r"scale\.material: 'steal' is not known"),
        (("[limits]", '[reference]\nopen_to = "aer"\n[limits]'), r"reference\.open_to: 'aer'"),
    ],
)
def test_names_can_be_checked_before_a_reading(change, message):
    check_names(changed("open-u-tube"))
    with pytest.raises(InstrumentError, match=r"open-u-tube\.toml: " + message):
        check_names(changed("open-u-tube", change))


def test_a_limb_that_an_inclined_gauge_does_not_have():
    with pytest.raises(
        InstrumentError, match=r"'left' is not one of its limbs \(cistern, tube\)"
    ):
        reduce_heights(changed("inclined"), tube=10, tapped_limb="left")
