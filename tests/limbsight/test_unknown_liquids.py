"""What liquids that nobody named add to the uncertainty of a level between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.heights import LevelFit
from limbsight.calib.instrument import LiquidSpec, LiquidsSpec
from limbsight.calib.meniscus import ApexFit
from limbsight.knowledge import WATERY, knowledge_from_picture, with_limbs
from limbsight.unknown_liquids import (
    HEAVY,
    HEAVY_SHARE,
    OIL,
    OIL_WETS_SHARE,
    explained,
    widened,
)
from tests.helpers.scales import millimetres


def known():
    base = with_limbs(knowledge_from_picture(millimetres(0.0, 100.0)), 2, 9e-3)
    liquids = LiquidsSpec(
        manometric=LiquidSpec(name=WATERY),
        process=LiquidSpec(name="air"),
        seals=(LiquidSpec(name=OIL),),
    )
    return replace(base, instrument=replace(base.instrument, liquids=liquids))


APEX = ApexFit(
    position_px=0.0,
    u_statistical_px=0.1,
    u_components_px={},
    u_model_px=0.0,
    misfit=0.02,
    ok=True,
    reason="",
    blur_px=1.0,
)


def level_at(height: float, *, ok: bool = True) -> LevelFit:
    return LevelFit(
        height=height, x_px=0.0, y_px=0.0, components=(), apex=replace(APEX, ok=ok)
    )


def components(answers, *, ok=True, between_liquids=True):
    """Components of a level at 50 whose other fits give what ``answers`` says of them."""
    found = widened(
        level_at(50.0),
        known(),
        lambda other: level_at(answers(other), ok=ok),
        between_liquids=between_liquids,
    )
    return {c.name: c.standard_uncertainty for c in found.components}


def u_bore() -> float:
    """Relative standard uncertainty of the bore."""
    return float(known().tube.u_bore_radius_m / known().tube.bore_radius_m)


def test_another_bore_counts_as_a_standard_uncertainty():
    bore = known().tube.bore_radius_m

    def wider_is_higher(other):
        return 50.0 + 2.0 * (other.tube.bore_radius_m / bore - 1)

    assert components(wider_is_higher) == pytest.approx(
        {"unknown bore": 2.0 * u_bore(), "unknown liquids": 0.0}
    )


@pytest.mark.parametrize(
    ("is_other", "share"),
    [
        (lambda other: other.filling("left", 0) == HEAVY, HEAVY_SHARE),
        (lambda other: other.upper_wets, OIL_WETS_SHARE),
    ],
)
def test_other_liquids_count_by_their_share(is_other, share):
    """Two answers of probability p and 1 - p, drawn at random, scatter like this."""
    found = components(lambda other: 51.0 if is_other(other) else 50.0)
    drawn = np.random.default_rng(1).random(200_000) < share
    assert found["unknown liquids"] == pytest.approx(float(np.std(drawn)), rel=0.01)
    assert found["unknown bore"] == 0.0


@pytest.mark.parametrize(("ratio", "less"), [(1.0, 1.0), (1.4, 0.55), (0.8, 1.4)])
def test_oil_that_wets_counts_less_where_it_looks_less_so(ratio, less):
    """Odds of one in nine grow by the inverse fourth power of the ratio of misfits."""

    def fit(other):
        level = level_at(51.0 if other.upper_wets else 50.0)
        misfit = 0.1 * (ratio if other.upper_wets else 1.0)
        return replace(level, apex=replace(level.apex, misfit=misfit))

    found = widened(fit(known()), known(), fit, between_liquids=True)
    u = {c.name: c.standard_uncertainty for c in found.components}["unknown liquids"]
    assert u == pytest.approx(less * np.sqrt(0.1 * 0.9), rel=0.1)


def test_what_looks_like_no_meniscus_is_no_answer():
    assert set(components(lambda other: 60.0, ok=False).values()) == {0.0}


def test_under_gas_no_other_liquids_are_tried():
    assert set(components(lambda other: 50.0, between_liquids=False)) == {"unknown bore"}


@pytest.mark.parametrize(
    ("under_gas", "under_water", "half_way"),
    [(0.08, 0.02, 0.5), (0.08, 0.05, None), (0.02, 0.002, None)],
)
def test_a_level_much_more_like_one_under_water_may_be_that(under_gas, under_water, half_way):
    unnamed = with_limbs(knowledge_from_picture(millimetres(0.0, 100.0)), 2, 9e-3)

    def fit(other):
        is_water = other.filling("left", 1) == WATERY
        level = level_at(51.0 if is_water else 50.0)
        misfit = under_water if is_water else under_gas
        return replace(level, apex=replace(level.apex, misfit=misfit))

    found = widened(fit(unnamed), unnamed, fit, between_liquids=False)
    u = {c.name: c.standard_uncertainty for c in found.components}
    assert u.get("liquid above") == half_way


def unnamed_level(*, water, oil, ok=True):
    """A level at 50 and its components, which is at other places with other liquids.

    ``water`` and ``oil`` are height and misfit.
    """
    unnamed = with_limbs(knowledge_from_picture(millimetres(0.0, 100.0)), 2, 9e-3)

    def fit(other):
        name = other.filling("left", 0)
        height, misfit = {WATERY: water, OIL: oil}.get(name, (50.0, 0.02))
        level = level_at(height, ok=ok or name == unnamed.filling("left", 0))
        return replace(level, apex=replace(level.apex, misfit=misfit))

    found = widened(fit(unnamed), unnamed, fit, between_liquids=False)
    return found.height, {c.name: c.standard_uncertainty for c in found.components}


def test_a_level_of_water_or_oil_lies_between_them():
    height, u = unnamed_level(water=(50.2, 0.02), oil=(50.6, 0.02))
    assert height == pytest.approx(50.4)
    assert u == pytest.approx({"unknown liquid": 0.2, "unknown bore": 0.0})


def test_a_level_lies_nearer_to_the_liquid_that_explains_it_better():
    height, u = unnamed_level(water=(50.2, 0.02), oil=(50.6, 0.06))
    share = (0.01**2 + 0.02**2) / (0.02**2 + 0.06**2 + 2 * 0.01**2)
    drawn = np.random.default_rng(1).random(200_000) < share
    assert height == pytest.approx(50.2 + 0.4 * share)
    assert u["unknown liquid"] == pytest.approx(0.4 * float(np.std(drawn)), rel=0.01)


def test_what_looks_like_neither_stays():
    assert unnamed_level(water=(50.2, 0.02), oil=(50.6, 0.02), ok=False)[0] == 50.0


def test_the_liquid_that_wets_turns_the_meniscus_over():
    concave, convex = known(), replace(known(), upper_wets=True)
    angles = [k.interface("left", 0).contact_angle_rad for k in (concave, convex)]
    assert sum(angles) == pytest.approx(np.pi)
    assert angles[0] < np.pi / 2
    under_gas = [k.interface("left", 1).contact_angle_rad for k in (concave, convex)]
    assert under_gas[0] == under_gas[1]


class TestExplained:
    def answers(self, *, ok_at):
        """A fit that gives the ratio of bores and the liquid as height, fine where told."""
        bore = known().tube.bore_radius_m

        def fit(other):
            ratio = other.tube.bore_radius_m / bore
            return level_at(50.0 + ratio, ok=ok_at(ratio))

        return fit

    def test_by_another_bore_with_the_difference_as_a_component(self):
        found = explained(
            level_at(50.0, ok=False), known(), self.answers(ok_at=lambda ratio: ratio > 1)
        )
        assert found.apex.ok
        assert found.height == pytest.approx(51.0 + u_bore())
        (component,) = found.components
        assert component.standard_uncertainty == pytest.approx(1.0 + u_bore())

    def test_not_at_all(self):
        level = level_at(50.0, ok=False)
        assert explained(level, known(), self.answers(ok_at=lambda ratio: False)) is level
