"""Instrument files carried on to the reduction: names looked up, keys named where they fail.

Pressures of whole files are in test_pressure.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from limbsight.calib.instrument import LiquidSpec, SiteSpec
from limbsight.calib.instrument_file import load_instrument
from limbsight.errors import InstrumentError
from limbsight.plain_numbers import check_names, manometer_of, merged_site, metres_per_unit
from limbsight.reduce.fluids import Liquid, fluid, liquid
from limbsight.units import Given, unit_factor

EXAMPLES = Path(__file__).resolve().parents[2] / "sample_images" / "instruments"
LIMBS = ("left", "right")


def example(name="open-u-tube", **changes):
    """An example file with some of its tables changed, by their fields."""
    instrument = load_instrument(EXAMPLES / f"{name}.toml")
    tables = {
        table: replace(getattr(instrument, table), **fields)
        if isinstance(fields, dict)
        else fields
        for table, fields in changes.items()
    }
    return replace(instrument, **tables)


def plain(instrument, names=LIMBS, **options):
    return manometer_of(instrument, names, **{"tapped_limb": "left"} | options)


class TestSite:
    HERE = SiteSpec(
        temperature_k=Given(value=293.0), latitude_rad=0.9, barometer_pa=Given(value=1e5)
    )

    def test_nothing_said_of_the_reading_leaves_the_files(self):
        assert merged_site(self.HERE, None) is self.HERE
        assert merged_site(self.HERE, SiteSpec()) == self.HERE

    def test_what_is_said_takes_its_place_alone(self):
        found = merged_site(self.HERE, SiteSpec(temperature_k=Given(value=300.0)))
        assert found == replace(self.HERE, temperature_k=Given(value=300.0))

    def test_another_place_has_another_gravity(self):
        measured = replace(self.HERE, gravity_m_s2=Given(value=9.8123))
        there = merged_site(measured, SiteSpec(latitude_rad=0.1))
        assert (there.gravity_m_s2, there.latitude_rad) == (None, 0.1)

    def test_unless_that_was_measured_there(self):
        over = SiteSpec(latitude_rad=0.1, gravity_m_s2=Given(value=9.78))
        found = merged_site(replace(self.HERE, gravity_m_s2=Given(value=9.8123)), over)
        assert found.gravity_m_s2 == Given(value=9.78)

    def test_a_zero_is_said_like_anything_else(self):
        """Sea level, the equator."""
        over = SiteSpec(latitude_rad=0.0, elevation_m=0.0)
        found = merged_site(replace(self.HERE, elevation_m=500.0), over)
        assert (found.latitude_rad, found.elevation_m) == (0.0, 0.0)


class TestTapped:
    @pytest.mark.parametrize(
        ("name", "names", "asked", "found"),
        [
            ("open-u-tube", LIMBS, "right", "right"),
            ("single-limb", ("tube",), None, "cistern"),
            ("cistern", ("tube",), None, "cistern"),
            ("cistern", ("tube",), "tube", "tube"),
            ("barometer", ("tube",), None, "cistern"),
            ("bank-reservoir", ("limb 1", "limb 2"), "2", "limb 2"),
            ("bank-reservoir", ("limb 1", "limb 2"), "limb 1", "limb 1"),
        ],
    )
    def test_by_its_name(self, name, names, asked, found):
        assert plain(example(name), names, tapped_limb=asked).tapped_limb == found

    @pytest.mark.parametrize(
        ("name", "names", "asked", "choice"),
        [
            ("open-u-tube", LIMBS, None, "left, right"),
            ("open-u-tube", LIMBS, "cistern", "left, right"),
            ("barometer", ("tube",), "tube", "cistern"),
            ("bank-reservoir", ("limb 1", "limb 2"), "3", "limb 1, limb 2"),
        ],
    )
    def test_one_it_has_not(self, name, names, asked, choice):
        with pytest.raises(InstrumentError) as caught:
            plain(example(name), names, tapped_limb=asked)
        message = str(caught.value)
        assert message.startswith(str(EXAMPLES / f"{name}.toml") + ": tapped_limb: ")
        assert f"({choice})" in message


class TestLimbs:
    def test_left_to_right(self):
        found = plain(example(tube={"bores_m": (4e-3, 6e-3)}))
        assert found.bores_m == {"left": 4e-3, "right": 6e-3}

    def test_one_value_for_each(self):
        with pytest.raises(
            InstrumentError, match=r"tube\.bores: 1 value\(s\) for 2 limb\(s\)"
        ):
            plain(example(tube={"bores_m": (4e-3,)}))

    def test_temperatures_of_a_reading(self):
        two = (Given(value=290.0), Given(value=295.0))
        found = plain(example(), site=SiteSpec(limb_temperatures_k=two))
        assert found.limb_temperatures_k == dict(zip(LIMBS, two, strict=True))
        with pytest.raises(InstrumentError, match="limb_temperatures: 2 value"):
            plain(example("cistern"), ("tube",), tapped_limb=None,
                  site=SiteSpec(limb_temperatures_k=two))  # fmt: skip


class TestFluids:
    def own(self, **changes):
        return example(liquids={"manometric": LiquidSpec(name="oil", **changes)})

    def test_by_name(self):
        found = plain(example()).manometric
        assert found == liquid("water")

    def test_a_known_one_with_a_surface_of_its_own(self):
        spec = LiquidSpec(
            name="water", surface_tension_n_m=0.04, contact_angle_rad=0.0,
            standard_uncertainty_kg_m3=0.5,
        )  # fmt: skip
        found = plain(example(liquids={"manometric": spec})).manometric
        assert isinstance(found, Liquid)
        # a contact angle of zero is complete wetting, not one left out
        assert (found.surface_tension_n_m, found.contact_angle_rad) == (0.04, 0.0)
        assert found.relative_standard_uncertainty == pytest.approx(0.5 / found.density_kg_m3)
        assert found.tanaka == liquid("water").tanaka

    def test_the_wall_tells_how_water_meets_it(self):
        oil = LiquidSpec(name="oil", density_kg_m3=850.0)
        acrylic = example(tube={"material": "PMMA"}, liquids={"process": oil})
        found = plain(acrylic)
        assert isinstance(found.manometric, Liquid)
        assert isinstance(found.process, Liquid)
        assert math.degrees(found.manometric.contact_angle_rad) > 60.0
        assert found.manometric.contact_angle_limb_standard_uncertainty_rad > (
            liquid("water").contact_angle_limb_standard_uncertainty_rad
        )
        assert math.degrees(found.process.contact_angle_rad) < 30.0
        own = LiquidSpec(name="water", contact_angle_rad=0.3)
        stated = replace(acrylic, liquids=replace(acrylic.liquids, manometric=own))
        told = plain(stated).manometric
        assert isinstance(told, Liquid)
        assert told.contact_angle_rad == 0.3

    def test_a_wall_that_nobody_knows(self):
        with pytest.raises(InstrumentError, match=r"toml: tube\.material: 'tin' is not"):
            check_names(example(tube={"material": "tin"}))

    def test_a_known_one_of_its_own_density_keeps_its_surface(self):
        spec = LiquidSpec(name="Water", density_kg_m3=999.0)
        found = plain(example(liquids={"manometric": spec})).manometric
        assert isinstance(found, Liquid)
        assert found.surface_tension_n_m == liquid("water").surface_tension_n_m
        assert found.density(293.15) == pytest.approx(999.0)

    def test_an_own_one(self):
        found = plain(self.own(density_kg_m3=840.0, at_k=288.15)).manometric
        assert found.density(288.15, 0.0, 0.0) == 840.0
        assert found.name == "oil"

    def test_one_that_nobody_knows(self):
        with pytest.raises(InstrumentError, match=r"toml: liquids\.manometric: 'oil' is not"):
            plain(self.own())

    def test_two_figures_for_one_density(self):
        with pytest.raises(InstrumentError, match=r"liquids\.manometric: oil: give either"):
            plain(self.own(density_kg_m3=840.0, specific_gravity=0.84))

    @pytest.mark.parametrize(
        ("changes", "key"),
        [
            ({"liquids": {"process": LiquidSpec(name="xyz")}}, "liquids.process"),
            ({"liquids": {"seals": (LiquidSpec(name="xyz"),)}}, "liquids.seal"),
            ({"liquids": {"seals": (LiquidSpec(name="nitrogen"),)}}, "liquids.seal"),
            ({"reference": {"process": LiquidSpec(name="xyz")}}, "reference.process"),
            ({"reference": {"open_to": "xyz"}}, "reference.open_to"),
        ],
    )
    def test_every_name_is_checked_under_its_key(self, changes, key):
        check_names(example())
        with pytest.raises(InstrumentError, match=f"toml: {key}: ".replace(".", r"\.")):
            check_names(example(**changes))

    def test_gas_stands_on_top_of_an_inverted_tube_only(self):
        gas = {"manometric": LiquidSpec(name="nitrogen")}
        found = plain(example("inverted-u-tube", liquids=gas))
        assert found.manometric == fluid("nitrogen")
        with pytest.raises(InstrumentError, match="'nitrogen' is a gas; name a liquid"):
            plain(example(liquids=gas))

    def test_a_barometer_is_open_to_a_vacuum_whatever_is_written(self):
        found = plain(example("barometer"), ("tube",), tapped_limb=None)
        assert (found.open_to, found.kind) == ("vacuum", "absolute")


class TestScale:
    @pytest.mark.parametrize("name", ["aluminium", "Aluminum", "ALUMINIUM"])
    def test_materials_by_any_of_their_names(self, name):
        """2.3e-5 per kelvin (from memory, tables of materials)."""
        found = plain(example(scale={"material": name})).scale.expansion_per_k
        assert found is not None
        assert found.value == pytest.approx(2.3e-5, rel=0.05)
        assert 0 < found.standard_uncertainty < found.value

    def test_an_unknown_one_lists_those_that_are(self):
        with pytest.raises(
            InstrumentError, match=r"'tin' is not known; write one of: .*steel"
        ):
            plain(example(scale={"material": "tin"}))

    def test_none_stated_leaves_the_default(self):
        assert plain(example(scale={"material": None})).scale.expansion_per_k is None

    def test_its_ends_are_heights(self):
        found = plain(example()).scale
        assert (found.bottom_m, found.top_m) == pytest.approx((-0.15, 0.15))

    def test_numbered_downward_its_top_is_still_above(self):
        downward = example(scale={"numbers": "downward", "lowest": 20.0, "highest": 300.0})
        found = plain(downward).scale
        assert (found.bottom_m, found.top_m) == pytest.approx((-0.3, -0.02))


class TestUnit:
    def counted(self, unit, name="water", arrangement="open-u-tube", **liquid_changes):
        spec = LiquidSpec(name=name, **liquid_changes)
        return example(
            arrangement,
            scale={"unit": unit, "unit_m": None, "unit_pa": unit_factor(unit, "pressure")},
            liquids={"manometric": spec},
        )

    def length(self, *args, **kwargs):
        instrument = self.counted(*args, **kwargs)
        return metres_per_unit(instrument, plain_liquid(instrument))

    @pytest.mark.parametrize(
        ("unit", "name", "metres"),
        [
            ("mmHg", "mercury", 1e-3),
            ("inHg", "mercury", 0.0254),
            ("cmH2O", "distilled water", 0.01),
            ("inH2O", "water", 0.0254),
        ],
    )
    def test_named_after_its_own_liquid_it_is_that_length(self, unit, name, metres):
        assert self.length(unit, name) == pytest.approx(metres, rel=1e-12)

    def test_other_units_over_mercury_are_those_of_conventional_mercury(self):
        """13595.1 kg/m3 and 9.80665 m/s2 (ISO 80000-4, 3rd CGPM)."""
        assert self.length("hPa", "mercury") == pytest.approx(100 / (13595.1 * 9.80665))

    def test_over_other_liquids_they_are_drawn_for_20_degrees(self):
        assert self.length("Pa", "kerosene") == pytest.approx(
            1 / (liquid("kerosene").density(293.15) * 9.80665)
        )
        assert self.length("Pa", "oil", density_kg_m3=800.0) == pytest.approx(
            1 / (800.0 * 9.80665)
        )

    def test_columns_of_another_liquid_are_a_pressure(self):
        """Millimetres of water over mercury are 13.6 times closer."""
        assert self.length("mmH2O", "mercury") == pytest.approx(1e-3 / 13.5951, rel=1e-4)

    def test_a_scale_that_counts_a_pressure_is_compensated(self):
        assert plain(self.counted("Pa")).cistern_scale == "compensated"
        assert plain(example("cistern"), ("tube",), tapped_limb=None).cistern_scale == "true"

    @pytest.mark.parametrize("arrangement", ["inverted-u-tube", "micromanometer"])
    def test_two_liquids_make_no_such_scale(self, arrangement):
        instrument = self.counted("Pa", arrangement=arrangement)
        with pytest.raises(InstrumentError, match=r"scale\.unit: .* can't count 'Pa'"):
            metres_per_unit(instrument, liquid("water"))


def plain_liquid(instrument):
    spec = instrument.liquids.manometric
    if spec.density_kg_m3 is None:
        return liquid(spec.name)
    return replace(
        liquid("kerosene"), name=spec.name, density_kg_m3=spec.density_kg_m3, at_c=20.0
    )


def test_an_inclined_tube_alone_has_an_angle():
    inclined = plain(example("inclined"), ("tube",), tapped_limb=None)
    assert inclined.incline_rad is not None
    assert inclined.incline_rad.value == pytest.approx(math.radians(12))
    assert inclined.incline_rad.standard_uncertainty == pytest.approx(math.radians(0.05))
    upright = plain(example(tube={"incline_rad": 0.2}))
    assert upright.incline_rad is None
