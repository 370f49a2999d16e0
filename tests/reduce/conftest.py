"""An ideal manometer: everything known exactly, no capillarity, upright."""

from __future__ import annotations

import pytest

from limbsight.reduce.fluids import liquid as known_liquid
from limbsight.reduce.fluids import own_liquid
from limbsight.reduce.manometer import Level, Manometer, Scale
from limbsight.reduce.prepare import prepare
from limbsight.units import Given

G = 9.81
WIDE_BORE_M = 0.5
"""So wide that a meniscus is flat in its middle."""


def exactly(value: float) -> Given:
    return Given(value=value, standard_uncertainty=0.0)


def liquid(name: str, density_kg_m3: float):
    return own_liquid(
        name,
        density_kg_m3=density_kg_m3,
        at_k=293.15,
        expansion_per_k=0.0,
        standard_uncertainty_kg_m3=0.0,
    )


@pytest.fixture(scope="session")
def ideal():
    """Make a manometer that is known exactly, and change what a test is about."""

    def make(arrangement: str, tapped_limb: str, **changes) -> Manometer:
        settings = {
            "manometric": liquid("heavy", 13600.0),
            "scale": Scale(
                expansion_per_k=exactly(0.0),
                true_at_k=293.15,
                standard_uncertainty_m=0.0,
                bottom_m=0.0,
                top_m=1.0,
            ),
            "temperature_k": exactly(293.15),
            "gravity_m_s2": exactly(G),
            "barometer_pa": exactly(101325.0),
            "relative_humidity": exactly(0.5),
            "plumb_rad": exactly(0.0),
            "bore_m": WIDE_BORE_M,
        }
        return Manometer(
            arrangement=arrangement, tapped_limb=tapped_limb, **settings | changes
        )

    return make


@pytest.fixture(scope="session")
def barometer(ideal):
    """Make one whose cistern stays at the scale's zero, and change what a test is about."""

    def make(**changes) -> Manometer:
        zero = {"area_ratio": exactly(0.0), "zero_m": exactly(0.0)}
        made: Manometer = ideal(
            "barometer", "cistern", **{"open_to": "vacuum"} | zero | changes
        )
        return made

    return make


@pytest.fixture(scope="session")
def between_tappings(ideal) -> Manometer:
    """Open to another tapping, with water in both lines."""
    made: Manometer = ideal(
        "u-tube",
        "left",
        process=known_liquid("water"),
        open_to="tapping",
        tapping_m=exactly(0.5),
        reference_tapping_m=exactly(0.5),
    )
    return made


@pytest.fixture(scope="session")
def pressure():
    """Pressure of heights, each limb a level or several, bottom to top [Pa]."""

    def compute(manometer: Manometer, zero=None, **limbs) -> float:
        reduction = prepare(manometer, levels_of(limbs))
        return float(reduction.difference({i.key: i.value for i in reduction.inputs}))

    return compute


@pytest.fixture(scope="session")
def levels():
    return levels_of


def levels_of(limbs) -> dict[str, tuple[Level, ...]]:
    return {
        name: tuple(Level(value_m=v) for v in (h if isinstance(h, tuple) else (h,)))
        for name, h in limbs.items()
    }


@pytest.fixture(scope="session")
def known():
    return exactly


@pytest.fixture(scope="session")
def filling():
    return liquid
