"""Pressure units against NIST SP 811 and their exact digits."""

from __future__ import annotations

from limbsight.units import unit_factor

NAMES = {
    "atm": "atm",
    "at (kgf/cm2)": "at",
    "bar": "bar",
    "millibar": "mbar",
    "torr": "torr",
    "mmHg conventional": "mmHg",
    "cmHg conventional": "cmHg",
    "inHg 60F": "inHg_60F",
    "inHg conventional": "inHg",
    "cmH2O conventional": "cmH2O",
    "mmH2O conventional": "mmH2O",
    "inH2O 39.2F": "inH2O (4 degC)",
    "inH2O 60F": "inH2O at 60 degF",
    "inH2O conventional": "inH2O",
    "ftH2O 39.2F": "ftH2O @ 4 degC",
    "ftH2O conventional": "ftH2O",
    "psi": "psi",
    "psf": "psf",
    "kgf/m2": "kgf/m^2",
    "dyn/cm2": "dyn/cm^2",
}


def test_sp811(agrees, table):
    """SP 811 prints seven digits at most; inHg at 32 degF is cut there and left out."""
    rows = [
        (
            r["unit"],
            0.0,
            1e6 * (unit_factor(NAMES[r["unit"]], "pressure") / r["nist_sp811_Pa"] - 1),
        )
        for r in table("pressure_units.csv")
        if r["unit"] in NAMES
    ]
    assert len(rows) == len(NAMES)
    agrees(
        "pressure units",
        basis="published",
        source="NIST SP 811, appendix B.8 (as in CRAN NISTunits 1.0.1)",
        unit="ppm",
        rows=rows,
        tolerance=1.5,
    )


EXACT = {
    "mmHg": 133.322387415,
    "torr": 101325 / 760,
    "inH2O": 249.08891,
    "psi": 6894.757293168361,
    "atm": 101325.0,
    "inHg": 3386.388640341,
    "inH2O_4C": 249.08193551052,
    "inH2O_60F": 248.84007017891,
    "inH2O_20C": 998.20675 * 9.80665 * 0.0254,
}
"""Digits that follow from the definitions: 13595.1 x 9.80665 x 1 mm, 101325/760 and so on;
inH2O at 20 degC from Tanaka's density, 998.20675 kg/m3."""


def test_exact_digits(agrees):
    agrees(
        "pressure units, exact digits",
        basis="closed form",
        source="definitions",
        unit="relative",
        rows=[(u, 0.0, unit_factor(u, "pressure") / pa - 1) for u, pa in EXACT.items()],
        tolerance=1e-9,
    )


def test_torr_is_not_mmhg():
    assert abs(unit_factor("mmHg", "pressure") / unit_factor("torr", "pressure") - 1) > 1e-7
