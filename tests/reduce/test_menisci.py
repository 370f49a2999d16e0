"""What is taken off a level for capillarity, and what that leaves uncertain."""

from __future__ import annotations

import math
from typing import Any

import pytest

from limbsight.errors import InputError
from limbsight.reduce.capillarity import meniscus
from limbsight.reduce.fluids import fluid, liquid
from limbsight.reduce.manometer import Manometer
from limbsight.reduce.prepare import prepare
from limbsight.units import Given

WATER, MERCURY, OIL = liquid("distilled water"), liquid("mercury"), liquid("kerosene")
BORE_M = 4e-3
G = 9.80665


def prepared(levels, limbs=None, **changes):
    settings: dict[str, Any] = {
        "arrangement": "u-tube",
        "tapped_limb": "left",
        "manometric": WATER,
        "bore_m": BORE_M,
        "tapping_m": Given(value=0.5),
        "gravity_m_s2": Given(value=G),
    }
    m = Manometer(**settings | changes)
    reduction = prepare(m, levels(limbs or {"left": 0.1, "right": 0.2}))
    return reduction, {i.key: i for i in reduction.inputs}


def air_density():
    return fluid("air").density(293.15, 101325.0, 0.5)


def alone(low, difference, bore=BORE_M, angle=None):
    return meniscus(
        bore / 2,
        low.contact_angle_rad if angle is None else angle,
        low.surface_tension_n_m,
        difference,
        G,
    )


@pytest.mark.parametrize("low", [WATER, MERCURY])
def test_under_gas_it_is_the_meniscus_of_that_bore(levels, low):
    reduction, q = prepared(levels, manometric=low)
    wanted = alone(low, low.density(293.15) - air_density())
    for limb in ("left", "right"):
        rise = reduction.rises[limb]
        assert rise.value_m == pytest.approx(wanted.rise_m, rel=1e-6)
        slopes = dict(rise.terms)
        assert slopes[f"angle {low.name}"] == pytest.approx(wanted.rise_by_angle)
        assert slopes[f"tension {low.name}"] == pytest.approx(wanted.rise_by_tension)
        assert slopes["radius"] == slopes[f"radius {limb}"]
        assert slopes["radius"] == pytest.approx(wanted.rise_by_radius)
        assert all(q[key].standard_uncertainty > 0 for key in slopes)


def test_both_limbs_share_what_is_the_liquids_and_not_what_is_theirs(levels):
    reduction, _ = prepared(levels)
    left, right = (
        {key for key, _ in reduction.rises[limb].terms} for limb in ("left", "right")
    )
    assert left & right == {"angle distilled water", "tension distilled water", "radius"}
    assert left - right == {"own angle left", "radius left"}


@pytest.mark.parametrize("arrangement", ["cistern", "inclined"])
def test_where_the_zero_was_set_in_the_tube_only_what_changes_counts(levels, arrangement):
    incline = Given(value=0.4) if arrangement == "inclined" else None
    reduction, q = prepared(
        levels,
        {"tube": 0.3},
        arrangement=arrangement,
        tapped_limb="cistern",
        incline_rad=incline,
    )
    (rise,) = reduction.rises.values()
    assert rise.value_m == 0.0
    assert [key for key, _ in rise.terms] == ["own angle tube"]
    assert "radius" not in q


class TestMeasuredHeight:
    @pytest.mark.parametrize(("low", "angle"), [(WATER, 0.7), (WATER, 0.1), (MERCURY, 2.2)])
    def test_the_angle_is_the_one_that_makes_it(self, levels, low, angle):
        difference = low.density(293.15) - air_density()
        wanted = alone(low, difference, angle=angle)
        height = Given(value=abs(wanted.height_m), standard_uncertainty=2e-5)
        reduction, q = prepared(levels, manometric=low, meniscus_height_m=height)
        assert reduction.rises["left"].value_m == pytest.approx(wanted.rise_m, rel=1e-5)
        # by its slope, from one height to another
        step = 1e-3
        apart = (
            alone(low, difference, angle=angle + step).height_m
            - alone(low, difference, angle=angle - step).height_m
        )
        assert q[f"angle {low.name}"].standard_uncertainty == pytest.approx(
            2e-5 * 2 * step / abs(apart), rel=0.02
        )
        assert q[f"angle {low.name}"].source == "meniscus height"

    def test_an_impossible_one_says_what_to_do(self, levels):
        with pytest.raises(InputError, match=r"bore of 4 mm .* measure it again"):
            prepared(levels, meniscus_height_m=Given(value=3e-3))


class TestBore:
    def test_a_given_one_is_surer(self, levels):
        given = prepared(levels)[1]["radius"]
        default = prepared(levels, bore_m=None)[1]["radius"]
        assert given.standard_uncertainty < default.standard_uncertainty
        assert given.source.startswith("given")
        assert default.source == "default: bore not given"
        # gauge glass of 4 to 10 mm about 7
        assert default.standard_uncertainty == pytest.approx(1e-3)

    def test_each_limb_has_its_own(self, levels):
        reduction, _ = prepared(levels, bores_m={"left": 3e-3, "right": 8e-3})
        difference = WATER.density(293.15) - air_density()
        for limb, bore in (("left", 3e-3), ("right", 8e-3)):
            wanted = alone(WATER, difference, bore).rise_m
            assert reduction.rises[limb].value_m == pytest.approx(wanted, rel=1e-6)


class TestBetweenLiquids:
    def test_wetting_either_way_is_within_what_it_costs(self, levels):
        """No correction; rectangular from full wetting by one to full wetting by the other."""
        reduction, q = prepared(levels, process=OIL)
        rise = reduction.rises["left"]
        assert rise.value_m == 0.0
        # Antonow (1907): the difference of the two tensions
        tension = WATER.surface_tension_n_m - OIL.surface_tension_n_m
        difference = WATER.density(293.15) - OIL.density(293.15)
        full = meniscus(BORE_M / 2, 0.0, tension, difference, G).rise_m
        u = math.hypot(*(slope * q[key].standard_uncertainty for key, slope in rise.terms))
        assert u == pytest.approx(full / math.sqrt(3), rel=1e-6)

    def test_like_liquids_have_some_tension_all_the_same(self, levels):
        heavy = liquid("carbon tetrachloride")
        reduction, q = prepared(levels, manometric=heavy, process=OIL)
        rise = reduction.rises["left"]
        u = math.hypot(*(slope * q[key].standard_uncertainty for key, slope in rise.terms))
        difference = heavy.density(293.15) - OIL.density(293.15)
        full = meniscus(BORE_M / 2, 0.0, 0.02, difference, G).rise_m
        assert abs(heavy.surface_tension_n_m - OIL.surface_tension_n_m) < 0.02
        assert u == pytest.approx(full / math.sqrt(3), rel=1e-6)

    def test_mercury_stays_convex_with_a_tension_less_the_others(self, levels):
        reduction, q = prepared(levels, manometric=MERCURY, process=WATER)
        tension = MERCURY.surface_tension_n_m - WATER.surface_tension_n_m
        difference = MERCURY.density(293.15) - WATER.density(293.15)
        wanted = meniscus(BORE_M / 2, MERCURY.contact_angle_rad, tension, difference, G)
        assert reduction.rises["left"].value_m == pytest.approx(wanted.rise_m, rel=1e-6)
        under, alone_ = q["angle mercury and distilled water"], q["angle mercury"]
        assert under.standard_uncertainty > alone_.standard_uncertainty

    def test_a_height_measured_under_gas_says_nothing_here(self, levels):
        height = Given(value=0.7e-3, standard_uncertainty=1e-5)
        reduction, q = prepared(
            levels, manometric=MERCURY, process=WATER, meniscus_height_m=height
        )
        assert q["angle mercury"].source == "meniscus height"
        assert q["angle mercury and distilled water"].source == "liquid"
        without, _ = prepared(levels, manometric=MERCURY, process=WATER)
        assert reduction.rises["left"].value_m == without.rises["left"].value_m
        assert reduction.rises["right"].value_m != without.rises["right"].value_m


def test_under_an_inverted_u_tube_the_process_liquid_rises(levels):
    """Air on top: the lower fluid is the one beyond the level."""
    reduction, _ = prepared(
        levels,
        arrangement="inverted-u-tube",
        manometric=fluid("air"),
        process=WATER,
        open_to="tapping",
        reference_tapping_m=Given(value=-0.1),
    )
    wanted = alone(WATER, WATER.density(293.15) - air_density())
    assert reduction.rises["left"].value_m == pytest.approx(wanted.rise_m, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"manometric": OIL, "process": WATER},
            "limb left: kerosene lies under distilled water",
        ),
        ({"seals": (MERCURY,)}, "distilled water lies under mercury but is not heavier"),
    ],
)
def test_the_lighter_under_the_heavier_is_refused(levels, changes, message):
    limbs = {"left": (0.1, 0.2), "right": (0.2, 0.3)} if "seals" in changes else None
    with pytest.raises(InputError, match=f"{message}.*") as caught:
        prepared(levels, limbs, **changes)
    assert r"mend the order of [liquids]" in str(caught.value)
