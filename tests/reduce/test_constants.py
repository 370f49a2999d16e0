"""The data file: figures that follow from each other, sources, and names that are one thing's.

Densities, gravity, air are compared with outside tables in tests/reference.
"""

from __future__ import annotations

import math
from collections import Counter

import pytest

from limbsight.reduce.constants import CELSIUS_ZERO_K, constants, convention, default

LIQUIDS, GASES = constants()["liquid"], constants()["gas"]
MATERIALS = constants()["material"]


def test_exact_conventions():
    """3rd CGPM (1901), 10th CGPM (1954), ITS-90; CODATA 2018: k N_A with both exact."""
    assert convention("standard_gravity_m_s2") == 9.80665
    assert convention("standard_atmosphere_pa") == 101325.0
    assert convention("celsius_zero_k") == CELSIUS_ZERO_K == 273.15
    boltzmann_j_k, avogadro_per_mol = 1.380649e-23, 6.02214076e23
    assert convention("gas_constant_j_mol_k") == pytest.approx(
        boltzmann_j_k * avogadro_per_mol, rel=1e-10
    )


def test_conventional_mercury_makes_the_atmosphere():
    """760 mm of it under standard gravity, to the digits it is printed with."""
    column = 0.76 * convention("mercury_density_kg_m3") * convention("standard_gravity_m_s2")
    assert column == pytest.approx(convention("standard_atmosphere_pa"), rel=1e-6)


def test_the_ellipsoid_hangs_together():
    """Derived constants of WGS84 from its four defining ones, NIMA TR8350.2 (2000), table 3.1:
    a, 1/f, GM and the rate of rotation (the last two from memory)."""
    g = constants()["gravity"]
    a, f = g["semi_major_axis_m"], g["flattening"]
    b = a * (1 - f)
    assert f == pytest.approx(1 / 298.257223563, rel=1e-12)
    assert g["eccentricity_squared"] == pytest.approx(f * (2 - f), rel=1e-11)
    assert g["m"] == pytest.approx(7.292115e-5**2 * a * a * b / 3.986004418e14, rel=1e-9)
    pole, equator = g["highest_latitude_m_s2"], g["lowest_latitude_m_s2"]
    assert g["somigliana_k"] == pytest.approx(b * pole / (a * equator) - 1, rel=1e-7)
    assert equator == g["equator_m_s2"]


@pytest.mark.parametrize("name", LIQUIDS)
def test_every_liquid_has_a_source_and_a_range_about_room_temperature(name):
    entry = LIQUIDS[name]
    assert len(entry["source"]) > 10
    low, high = entry["valid_c"]
    assert low < 20.0 < high
    assert low <= entry.get("at_c", 20.0) <= high
    assert 0 < entry["relative_standard_uncertainty"] < 0.1


@pytest.mark.parametrize("name", GASES)
def test_gases_weigh_what_their_elements_do(name):
    """IUPAC atomic weights (from memory), a tenth of a per mille."""
    atoms = {"H": 1.008, "He": 4.0026, "C": 12.011, "N": 14.007, "O": 15.999, "S": 32.06,
             "F": 18.998, "Ar": 39.95}  # fmt: skip
    formula = {
        "nitrogen": "NN", "carbon dioxide": "COO", "methane": "CHHHH", "hydrogen": "HH",
        "sulfur hexafluoride": "SFFFFFF",
    }  # fmt: skip
    symbols = {"helium": ["He"], "argon": ["Ar"]}.get(name, list(formula.get(name, "")))
    entry = GASES[name]
    assert entry["relative_standard_uncertainty"] > 0
    if symbols:
        weight = sum(atoms[symbol] for symbol in symbols)
        assert 1e3 * entry["molar_mass_kg_mol"] == pytest.approx(weight, rel=2e-4)
    else:
        assert entry["relative_standard_uncertainty"] > 0.01


@pytest.mark.parametrize("kinds", [(LIQUIDS, GASES), (MATERIALS,)])
def test_a_name_is_one_things(kinds):
    names = [
        one.lower()
        for kind in kinds
        for name, entry in kind.items()
        for one in {name.lower(), *(alias.lower() for alias in entry["aliases"])}
    ]
    assert [name for name, count in Counter(names).items() if count > 1] == []
    assert not {"air", "vacuum"} & set(names)


@pytest.mark.parametrize("name", MATERIALS)
def test_materials_expand_by_more_than_their_spread(name):
    entry = MATERIALS[name]
    assert 0 < entry["half_width_per_k"] < entry["expansion_per_k"] < 3e-4


def test_no_default_is_exact_by_mistake():
    """Whatever stands in for something left out costs something."""
    uncertainties = {k: v for k, v in constants()["default"].items() if "uncertainty" in k}
    assert len(uncertainties) > 20
    assert all(default(key) > 0 and math.isfinite(default(key)) for key in uncertainties)


@pytest.mark.parametrize("table", [default, convention])
def test_a_name_that_is_not_there(table):
    with pytest.raises(KeyError, match="no such thing"):
        table("no such thing")
