"""Text in, text out: quantities, kinds of pressure, rounding."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.errors import InputError
from limbsight.units import (
    convert_pressure,
    decimals_for,
    format_pressure,
    format_quantity,
    parse_pressure,
    parse_quantity,
    registry,
    unit_factor,
)

UNITS = ["Pa", "kPa", "mbar", "psi", "mmHg", "inHg", "inH2O", "inH2O_4C", "psf", "torr", "atm"]


@given(st.floats(-1e6, 1e6), st.sampled_from(UNITS))
def test_pressures_come_back(value, unit):
    pa = parse_quantity(f"{value!r} {unit}", "pressure")
    assert convert_pressure(pa, unit) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("120.5 mm", "length", 0.1205),
        ("12 in", "length", 0.3048),
        ("-40 degF", "temperature", 233.15),
        ("0.5 degC", "temperature difference", 0.5),
        ("1 delta_degF", "temperature difference", 5 / 9),
        ("7e-4 / K", "expansion", 7e-4),
        ("0.826 g/cm3", "density", 826.0),
        ("51.6 lb/ft^3", "density", 826.548),
        ("12 deg", "angle", math.radians(12)),
        ("9.8126 m/s2", "acceleration", 9.8126),
        ("72.7 mN/m", "surface tension", 0.0727),
        ("50 %", "ratio", 0.5),
        ("\u22125 \u00b0C", "temperature", 268.15),
    ],
)
def test_quantities(text, dimension, si):
    assert parse_quantity(text, dimension) == pytest.approx(si, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("mm", "not a number with a unit"),
        ("12", "has no unit; write a length like '12 mm'"),
        ("12 parsnips", "unknown unit 'parsnips'"),
        ("12 kg", "is no length"),
        ("1,5 mm", "write the decimal with a point"),
        ("1 )(", "is no"),
        ("1e999 mm", "not a finite number"),
    ],
)
def test_errors(text, message):
    with pytest.raises(InputError, match=message.replace("(", r"\(").replace(")", r"\)")):
        parse_quantity(text, "length")


@pytest.mark.parametrize(
    ("text", "pa", "kind"),
    [
        ("5 inHg vacuum", -5 * 3386.388640341, "gauge"),
        ("1.2 kPa gauge", 1200.0, "gauge"),
        ("1009 hPa absolute", 100900.0, "absolute"),
        ("20 Pa differential", 20.0, "differential"),
        ("20 Pa", 20.0, None),
    ],
)
def test_kinds_of_pressure(text, pa, kind):
    value, found = parse_pressure(text)
    assert value == pytest.approx(pa)
    assert found == kind


def test_a_negative_vacuum_is_refused():
    with pytest.raises(InputError, match="vacuum is written as a positive number"):
        parse_pressure("-5 inHg vacuum")


def test_the_temperature_in_the_unit_matters():
    names = ("inH2O", "inH2O at 4 degC", "inH2O (60 degF)", "inH2O @ 20 degC", "inH2O_20C")
    factors = [unit_factor(name, "pressure") for name in names]
    assert factors[3] == factors[4]
    assert len({round(f, 3) for f in factors}) == 4


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (1.24337, 0.01213, "1.243 ± 0.012 kPa"),
        (1.24337, 0.00996, "1.243 ± 0.010 kPa"),
        (12345.6, 234.0, "12350 ± 230 kPa"),
        (-0.0004, 0.1, "0.00 ± 0.10 kPa"),
        (9.996, 0.95, "10.00 ± 0.95 kPa"),
    ],
)
def test_two_digits_of_u(value, expanded, text):
    assert format_quantity(value, expanded, "kPa") == text


@given(st.floats(1e-9, 1e9))
def test_u_keeps_two_digits(expanded):
    places = decimals_for(expanded)
    assert 10 <= round(round(expanded, places) * 10.0**places) <= 99


def test_a_cache_that_cannot_be_loaded_is_done_without(monkeypatch):
    def registry_that_needs_no_cache(**options):
        if options:
            raise EOFError("half written")
        return without_cache()

    without_cache = pint.UnitRegistry
    monkeypatch.setattr(pint, "UnitRegistry", registry_that_needs_no_cache)
    registry.cache_clear()
    try:
        assert registry().Quantity(1.0, "cm").to("m").magnitude == pytest.approx(0.01)
    finally:
        registry.cache_clear()


def test_vacuum_in_words():
    assert format_pressure(-1230.0, 21.0, "kPa", "gauge") == (
        "-1.230 ± 0.021 kPa gauge (1.230 kPa vacuum)"
    )
    assert "vacuum" not in format_pressure(-1.0, 210.0, "kPa", "gauge")
    assert "vacuum" not in format_pressure(-1230.0, 21.0, "kPa", "differential")
