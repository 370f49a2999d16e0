"""Gravity against tables and measurements; the barometer's corrections as published."""

from __future__ import annotations

import math

import pytest

from limbsight.reduce.fluids import Liquid, liquid, own_liquid
from limbsight.reduce.gravity import normal_gravity

BRASS_PER_K = 1.84e-5


def test_wgs84_table(agrees, table):
    agrees(
        "normal gravity, WGS84",
        basis="computed",
        source="constants of NIMA TR8350.2, evaluated apart; 0 and 1000 m",
        unit="m/s2",
        rows=[
            (
                f"{r['lat_deg']} deg, {h} m",
                r[column],
                normal_gravity(math.radians(r["lat_deg"]), h),
            )
            for r in table("normal_gravity.csv")
            for h, column in ((0.0, "wgs84_h0"), (1000.0, "wgs84_series_h1000"))
        ],
        tolerance=2e-10,
    )


def test_closed_form_of_another_library(agrees, table):
    agrees(
        "normal gravity at 1000 m, closed form",
        basis="computed",
        source="boule 0.6.0, Li and Goetze",
        unit="ppm",
        rows=[
            (
                str(r["lat_deg"]),
                0.0,
                1e6
                * (
                    normal_gravity(math.radians(r["lat_deg"]), 1000.0) / r["boule_wgs84_h1000"]
                    - 1
                ),
            )
            for r in table("normal_gravity.csv")
        ],
        tolerance=0.02,
    )


HEIGHTS_M = {"NBS/NIST Gaithersburg": 138.0, "BIPM Sevres": 66.0}
"""Heights of the sites, from memory: 10 m are 3 ppm."""


def test_measured_gravity(agrees, table):
    """The program's 50 ppm for latitude and height alone must cover what was measured."""
    rows = []
    for r in table("gravity_measured.csv"):
        for site, height in HEIGHTS_M.items():
            if str(r["site"]).startswith(site):
                got = normal_gravity(math.radians(r["lat"]), height)
                rows.append((r["site"], 0.0, 1e6 * (got / r["g_m_s2"] - 1)))
    assert len(rows) == 3
    agrees(
        "measured gravity",
        basis="published",
        source="Tate, J. Res. NBS 70C (1966) 149; ICAG-2001 at the BIPM",
        unit="ppm",
        rows=rows,
        tolerance=100.0,
    )


CONVENTIONAL = own_liquid(
    "conventional mercury", density_kg_m3=13595.1, at_k=273.15, expansion_per_k=1.818e-4
)
"""Expansion from memory; the published corrections confirm it."""


def to_zero(mercury: Liquid, reading: float, t_c: float, brass_true_c: float = 0.0) -> float:
    """Reading at t less the height of mercury at 0 degC that balances it."""
    growth = 1 + BRASS_PER_K * (t_c - brass_true_c)
    shrunk = mercury.density(273.15 + t_c) / mercury.density(273.15)
    return float(reading - reading * growth * shrunk)


@pytest.mark.parametrize(
    ("name", "mercury", "tolerance"),
    [
        ("conventional mercury", CONVENTIONAL, 0.006),
        # the convention's expansion is 1.5 ppm off the measured one at 20 degC: 0.0011 mm
        ("the program's mercury", liquid("mercury"), 0.007),
    ],
)
def test_barometer_corrections_mm(agrees, table, name, mercury, tolerance):
    rows = []
    for r in table("barometer_correction_published_mmHg.csv"):
        # the column headed 780 in the source holds the values of 790, see the data file
        reading = 790.0 if r["B_mmHg_as_labelled"] == 780 else r["B_mmHg_as_labelled"]
        got = to_zero(mercury, reading, r["t_C"])
        rows.append((f"{reading} mmHg, {r['t_C']} degC", r["published_subtract"], got))
    agrees(
        f"barometer, brass scale true at 0 degC, {name}",
        basis="published",
        source="CRC Handbook excerpt (Univ. of Wisconsin); its 780 column is that of 790",
        unit="mmHg",
        rows=rows,
        tolerance=tolerance,
    )


def test_mislabelled_column_is_not_reproduced(table):
    wrong = [
        r
        for r in table("barometer_correction_published_mmHg.csv")
        if r["B_mmHg_as_labelled"] == 780
    ]
    assert len(wrong) == 4
    for r in wrong:
        assert abs(to_zero(CONVENTIONAL, 780.0, r["t_C"]) - r["published_subtract"]) > 0.02


def test_barometer_corrections_inches(agrees, table):
    rows = []
    for r in table("barometer_correction_published_inHg.csv"):
        t_c = (r["t_F"] - 32) / 1.8
        got = -to_zero(liquid("mercury"), r["B_inHg"], t_c, brass_true_c=(62 - 32) / 1.8)
        rows.append((f"{r['B_inHg']} in, {r['t_F']} degF", r["published_C"], got))
    agrees(
        "barometer, English scale true at 62 degF",
        basis="published",
        source="Ward, Practical Exercises in Elementary Meteorology (1899), table III",
        unit="inHg",
        rows=rows,
        tolerance=0.001,
    )
