"""The chain laid for one reading: its points, its inputs, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from limbsight.errors import InputError
from limbsight.reduce.fluids import fluid, liquid, own_liquid
from limbsight.reduce.manometer import Component, Level
from limbsight.reduce.prepare import prepare
from limbsight.units import Given


def keys(reduction):
    return {i.key for i in reduction.inputs}


def inputs(reduction):
    return {i.key: i for i in reduction.inputs}


def ends(reduction):
    return [(leg.fluid, leg.start, leg.end) for leg in reduction.legs]


class TestChain:
    def test_open_u_tube_from_tapping_to_open_air(self, ideal, levels):
        found = prepare(ideal("u-tube", "right"), levels({"left": 0.1, "right": 0.2}))
        assert ends(found) == [
            ("process", "tapping", "right"),
            ("manometric", "right", "left"),
            ("beyond", "left", "datum"),
        ]

    def test_plugs_are_walked_from_the_bend_outward(self, ideal, levels, filling):
        seals = (filling("seal", 1260.0), filling("top", 1100.0))
        m = ideal("u-tube", "left", seals=seals)
        found = prepare(m, levels({"left": (0.1, 0.2, 0.3), "right": (0.4, 0.5, 0.6)}))
        assert ends(found) == [
            ("process", "tapping", "left 3"),
            ("seal 2", "left 3", "left 2"),
            ("seal 1", "left 2", "left 1"),
            ("manometric", "left 1", "right 1"),
            ("seal 1", "right 1", "right 2"),
            ("seal 2", "right 2", "right 3"),
            ("beyond", "right 3", "datum"),
        ]
        assert found.levels["left 1"].value_m == 0.1
        assert found.fluids["seal 2"].name == "top"

    def test_over_an_inverted_tube_the_bend_is_on_top(self, ideal, levels, known, filling):
        m = ideal(
            "inverted-u-tube",
            "left",
            manometric=filling("oil", 800.0),
            seals=(filling("seal", 900.0),),
            process=filling("water", 1000.0),
            open_to="tapping",
            tapping_m=known(0.0),
            reference_tapping_m=known(0.0),
        )
        found = prepare(m, levels({"left": (0.1, 0.2), "right": (0.3, 0.4)}))
        assert found.levels["left 1"].value_m == 0.2
        assert found.levels["left 2"].value_m == 0.1

    def test_limbs_at_two_temperatures_meet_at_the_bend(self, ideal, levels, known):
        limbs = {"left": known(290.0), "right": known(295.0)}
        m = ideal("u-tube", "left", limb_temperatures_k=limbs)
        found = prepare(m, levels({"left": 0.1, "right": 0.2}))
        manometric = [leg for leg in found.legs if leg.fluid == "manometric"]
        assert [(leg.start, leg.end, leg.limb) for leg in manometric] == [
            ("left", "bend", "left"),
            ("bend", "right", "right"),
        ]
        assert inputs(found)["bend"].value == 0.0  # bottom of the scale
        assert inputs(found)["bend"].standard_uncertainty > 0

    def test_a_wanted_height_is_one_leg_more_of_what_is_there(self, ideal, levels, known):
        m = ideal(
            "u-tube",
            "left",
            process=liquid("water"),
            tapping_m=known(0.5),
            wanted_m=known(-1.0),
        )
        found = prepare(m, levels({"left": 0.1, "right": 0.2}))
        assert ends(found)[:2] == [
            ("process", "wanted", "tapping"),
            ("process", "tapping", "left"),
        ]

    def test_a_bank_stands_side_by_side(self, ideal, levels):
        m = ideal("bank", "limb 2", reference_limb="limb 3")
        found = prepare(m, levels({"limb 1": 0.1, "limb 2": 0.2, "limb 3": 0.3}))
        assert found.offsets == {"limb 2": 0.0, "limb 3": 0.5}


class TestScale:
    def reduced(self, ideal, **changes):
        m = ideal("u-tube", "left", **changes)
        return prepare(m, {"left": (Level(value_m=0.1),), "right": (Level(value_m=0.3),)})

    def test_a_length_between_two_marks_is_as_sure_as_stated(self, ideal, levels):
        """Each end carries half of the square."""
        scale = ideal("u-tube", "left").scale
        stated = type(scale)(standard_uncertainty_m=3e-5, top_m=1.0)
        found = self.reduced(ideal, scale=stated)
        parts = [
            i.standard_uncertainty * found.levels[point].components[-1].coefficient_m
            for point, i in (
                (point, inputs(found)[f"mark {point}"]) for point in ("left", "right")
            )
        ]
        assert math.hypot(*parts) == pytest.approx(3e-5)
        assert inputs(found)["mark left"].source == "given"

    def test_an_exact_one_leaves_nothing_behind(self, ideal):
        found = self.reduced(ideal)
        assert inputs(found)["mark left"].standard_uncertainty == 0.0
        assert found.levels["left"].components == ()
        q = {i.key: float(i.value) for i in found.inputs}
        assert math.isfinite(found.difference(q))


class TestComponents:
    def test_a_shared_one_is_one_input_of_its_largest_size(self, ideal):
        m = ideal("u-tube", "left")

        def level(value, coefficient):
            part = Component(
                key="depth", name="depth", coefficient_m=coefficient, kind="A",
                degrees_of_freedom=7.0,
            )  # fmt: skip
            return (Level(value_m=value, components=(part,)),)

        found = prepare(m, {"left": level(0.1, 2e-4), "right": level(0.3, -5e-4)})
        depth = inputs(found)["depth"]
        assert (depth.standard_uncertainty, depth.value) == (5e-4, 0.0)
        assert (depth.kind, depth.degrees_of_freedom) == ("A", 7.0)
        shares = {
            point: level.components[0].coefficient_m for point, level in found.levels.items()
        }
        assert shares == {"left": pytest.approx(0.4), "right": pytest.approx(-1.0)}

    def test_a_series_takes_the_largest_of_all(self, ideal):
        m = ideal("u-tube", "left")
        sizes = np.array([1e-4, -3e-4, 2e-4])
        part = Component(key="depth", name="depth", coefficient_m=sizes)
        left = Level(value_m=np.array([0.1, 0.2, 0.3]), components=(part,))
        found = prepare(m, {"left": (left,), "right": (Level(value_m=np.full(3, 0.4)),)})
        assert inputs(found)["depth"].standard_uncertainty == 3e-4
        assert list(found.levels["left"].components[0].coefficient_m) == pytest.approx(
            [1 / 3, -1.0, 2 / 3]
        )


class TestPlaces:
    def test_gas_may_come_from_anywhere(self, ideal, levels):
        found = prepare(ideal("u-tube", "left"), levels({"left": 0.1, "right": 0.2}))
        tapping = inputs(found)["tapping"]
        assert (tapping.value, tapping.standard_uncertainty) == (1.0, 0.5)
        assert tapping.source.startswith("default")

    def test_a_stated_one_is_laid_off_with_a_tape(self, ideal, levels):
        m = ideal("u-tube", "left", process=liquid("water"), tapping_m=Given(value=0.4))
        found = prepare(m, levels({"left": 0.1, "right": 0.2}))
        tapping = inputs(found)["tapping"]
        assert (tapping.value, tapping.standard_uncertainty) == (0.4, 2e-3)

    def test_a_piezometer_is_tapped_at_zero_where_nothing_is_said(self, ideal, levels):
        found = prepare(ideal("single-limb", "cistern"), levels({"tube": 0.2}))
        assert inputs(found)["tapping"].value == 0.0
        assert "scale zero" in inputs(found)["tapping"].source

    def test_a_barometer_has_none(self, ideal, levels):
        m = ideal("barometer", "cistern", open_to="vacuum")
        assert "tapping" not in keys(prepare(m, levels({"tube": 0.76})))

    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            ({"process": "water"}, "height of the tapping: its height is needed, as water"),
            (
                {"process": "water", "open_to": "tapping", "tapping_m": Given(value=0.1)},
                "height of the second tapping: its height is needed, as water",
            ),
            (
                {"open_to": "tapping", "reference_process": "kerosene"},
                r"second tapping: .* kerosene .* \[reference\] height",
            ),
        ],
    )
    def test_a_liquid_must_say_where_it_ends(self, ideal, levels, changes, message):
        fluids = {k: liquid(v) if "process" in k else v for k, v in changes.items()}
        m = ideal("u-tube", "left", **fluids)
        with pytest.raises(InputError, match=message):
            prepare(m, levels({"left": 0.1, "right": 0.2}))


class TestReservoir:
    def test_an_unknown_one_costs_by_its_area_and_its_zero(self, ideal, levels):
        found = inputs(prepare(ideal("cistern", "cistern"), levels({"tube": 0.2})))
        assert found["ratio"].source.startswith("default")
        assert found["ratio"].standard_uncertainty > 0
        assert (found["zero"].value, found["zero"].standard_uncertainty) == (0.0, 5e-4)

    def test_a_stated_ratio_is_good_to_a_twentieth_of_itself(self, ideal, levels):
        m = ideal("cistern", "cistern", area_ratio=Given(value=0.04))
        found = inputs(prepare(m, levels({"tube": 0.2})))
        assert found["ratio"].standard_uncertainty == pytest.approx(0.002)

    def test_where_it_stood_at_zero_may_be_said_either_way(self, ideal, levels):
        for key in ("zero_m", "cistern_level_m"):
            m = ideal("cistern", "cistern", **{key: Given(value=0.03)})
            assert inputs(prepare(m, levels({"tube": 0.2})))["zero"].value == 0.03

    @pytest.mark.parametrize("arrangement", ["cistern", "barometer"])
    def test_one_set_to_a_mark_must_say_to_which(self, ideal, levels, arrangement):
        m = ideal(arrangement, "cistern", cistern_scale="adjusted")
        with pytest.raises(InputError, match="level of the reservoir on the scale is needed"):
            prepare(m, levels({"tube": 0.2}))


class TestFillings:
    def test_an_own_liquid_may_expand_otherwise(self, ideal, levels):
        oil = own_liquid("gauge oil", density_kg_m3=830.0)
        found = inputs(
            prepare(ideal("u-tube", "left", manometric=oil), levels({"left": 0, "right": 0.1}))
        )
        assert found["expansion of gauge oil"].standard_uncertainty > 0
        assert "expansion of water" not in found

    def test_every_filling_is_checked_at_its_own_limbs_temperature(self, ideal, levels, known):
        m = ideal(
            "u-tube",
            "left",
            manometric=liquid("water"),
            limb_temperatures_k={"left": known(293.15), "right": known(318.15)},
        )
        with pytest.raises(InputError, match=r"water: .* not at 45 degC"):
            prepare(m, levels({"left": 0.1, "right": 0.2}))

    def test_air_too_hot_for_its_formula_is_refused(self, ideal, levels, known):
        m = ideal("u-tube", "left", temperature_k=known(333.15))
        with pytest.raises(InputError, match="air: density is known from -10 to 50 degC"):
            prepare(m, levels({"left": 0.1, "right": 0.2}))

    def test_only_under_a_vacuum_vapour_counts(self, ideal, levels):
        mercury = liquid("mercury")
        barometer = ideal("barometer", "cistern", manometric=mercury, open_to="vacuum")
        found = inputs(prepare(barometer, levels({"tube": 0.76})))
        assert found["vapour"].standard_uncertainty == pytest.approx(0.3 * 0.17)
        tube = ideal("u-tube", "left", manometric=mercury)
        assert "vapour" not in keys(prepare(tube, levels({"left": 0.1, "right": 0.2})))

    def test_a_reference_between_tappings_holds_the_process_fluid_unless_told(
        self, between_tappings, levels
    ):
        found = prepare(between_tappings, levels({"left": 0.1, "right": 0.2}))
        assert found.fluids["beyond"] == liquid("water")

    def test_open_to_another_gas(self, ideal, levels):
        m = ideal("u-tube", "left", open_to="nitrogen")
        found = prepare(m, levels({"left": 0.1, "right": 0.2}))
        assert found.fluids["beyond"] == fluid("nitrogen")


def test_every_input_has_a_key_of_its_own_a_unit_and_a_source(ideal, levels):
    m = ideal(
        "u-tube", "left", manometric=liquid("mercury"), process=liquid("water"),
        tapping_m=Given(value=0.4),
    )  # fmt: skip
    found = prepare(m, levels({"left": 0.1, "right": 0.2})).inputs
    assert len({i.key for i in found}) == len(found)
    assert all(i.unit and i.source and i.name for i in found)
    assert all(i.standard_uncertainty >= 0 for i in found)
