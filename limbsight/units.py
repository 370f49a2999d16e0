"""Units at the edges: text in, text out. Inside the package everything is SI floats.

Pint does the work, and is loaded at the first call only. Pressure units whose name hides a
density carry that density's temperature in their own name; the conventional ones (mmHg,
inHg, mmH2O, inH2O without a temperature) are fixed multiples of the pascal.

Sources
-------
Conventional mmHg = 13595.1 kg/m3 x 9.80665 m/s2 x 1 mm = 133.322387415 Pa and conventional
inH2O = 249.08891 Pa: NIST SP 811, appendix B.8, to the digits printed there; the exact digits
are Pint's. inH2O_20C: density of water at 20 degC, Tanaka et al., Metrologia 38 (2001) 301.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from limbsight.errors import InputError

if TYPE_CHECKING:
    import pint

PressureKind = Literal["gauge", "absolute", "differential"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """A quantity as somebody gave it, in SI units; ``None``: no uncertainty was stated."""

    value: float
    standard_uncertainty: float | None = None


OWN_DEFINITIONS = (
    # pounds-force per square foot, absent from Pint
    "pound_force_per_square_foot = pound_force / foot**2 = psf",
    # 998.20675 kg/m3 (water at 20 degC, Tanaka 2001) x 9.80665 m/s2 x 25.4 mm
    "inch_H2O_20C = 998.20675 * kilogram / meter**3 * g_0 * inch = inH2O_20C",
    "meter_H2O_20C = 998.20675 * kilogram / meter**3 * g_0 * meter = mH2O_20C",
    # 999.972 kg/m3: water at 39.2 degF (4 degC), as in NIST SP 811 B.8
    "meter_H2O_4C = 999.972 * kilogram / meter**3 * g_0 * meter = mH2O_4C",
)
"""Units of the trade that Pint does not define."""

DIMENSIONS = {
    "length": ("m", "mm"),
    "angle": ("rad", "deg"),
    "temperature": ("K", "degC"),
    "temperature difference": ("delta_degC", "K"),
    "pressure": ("Pa", "kPa"),
    "density": ("kg/m^3", "kg/m^3"),
    "expansion": ("1/K", "1/K"),
    "acceleration": ("m/s^2", "m/s^2"),
    "surface tension": ("N/m", "mN/m"),
    "ratio": ("", "%"),
    "area": ("m^2", "mm^2"),
}
"""Kind of quantity: its SI unit inside, and a unit to suggest in messages."""

_NUMBER = re.compile(r"^\s*([-+\u2212]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_TEMPERATURE_NAMED = re.compile(
    r"^(?P<unit>[A-Za-z0-9_]+)\s*(?:@|at|\()\s*(?P<t>\d+(?:\.\d+)?)\s*"
    r"(?:deg|\u00b0)\s*(?P<scale>[CF])\)?$"
)
_KIND_WORDS: dict[str, tuple[PressureKind, int]] = {
    "gauge": ("gauge", 1),
    "g": ("gauge", 1),
    "absolute": ("absolute", 1),
    "abs": ("absolute", 1),
    "vacuum": ("gauge", -1),
    "vac": ("gauge", -1),
    "differential": ("differential", 1),
}


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry[Any]:
    """Return the one unit registry, loaded at the first call.

    Pint keeps its parsed definitions in the user's cache folder, which saves half a second;
    where there is no such folder to write to, or what is there can't be loaded, as while
    another process writes it, it parses them.
    """
    try:
        return _loaded_registry(cache_folder=":auto:")
    except Exception:  # a file half written can fail in any way
        return _loaded_registry()


def _loaded_registry(**options: Any) -> pint.UnitRegistry[Any]:
    import pint

    known: pint.UnitRegistry[Any] = pint.UnitRegistry(**options)
    for line in OWN_DEFINITIONS:
        known.define(line)
    return known


def split_quantity(text: str) -> tuple[float, str]:
    """Split ``"120.5 mm"`` into number and unit text.

    Raises
    ------
    InputError
        If there is no number in front, or no unit after it.
    """
    match = _NUMBER.match(text)
    if match is None:
        raise InputError(f"{text!r} is not a number with a unit; write it like '120.5 mm'")
    number, unit = match.groups()
    if unit.startswith(",") and unit[1:2].isdigit():
        raise InputError(f"{text!r}: write the decimal with a point, like '120.5 mm'")
    return float(number.replace("\u2212", "-")), unit


def unit_factor(unit: str, dimension: str) -> float:
    """SI value of one ``unit`` of a kind that has no offset (all but temperature).

    Raises
    ------
    InputError
        If the unit is unknown or of another kind.
    """
    return parse_quantity(f"1 {unit}", dimension)


@lru_cache(maxsize=512)
def parse_quantity(text: str, dimension: str) -> float:
    """Read a quantity such as ``"120.5 mm"`` as an SI float.

    Parameters
    ----------
    text
        Number and unit.
    dimension
        A key of ``DIMENSIONS``.

    Returns
    -------
    float
        The value in the SI unit of that kind.

    Raises
    ------
    InputError
        If the text, the unit or its kind is wrong; the message says what would be right.
    """
    import pint

    number, unit = split_quantity(text)
    si_unit, example = DIMENSIONS[dimension]
    if not unit and dimension != "ratio":
        raise InputError(f"{text!r} has no unit; write a {dimension} like '{text} {example}'")
    if dimension == "temperature difference":
        unit = re.sub(r"^(?:deg|\u00b0)([CF])$", r"delta_deg\1", unit)
    try:
        value = registry().Quantity(number, _normalised(unit)).to(si_unit).magnitude
    except pint.UndefinedUnitError as error:
        raise InputError(
            f"{text!r}: unknown unit {unit!r}; a {dimension} is written in {example}, say"
        ) from error
    except (pint.DimensionalityError, pint.OffsetUnitCalculusError, ValueError) as error:
        raise InputError(
            f"{text!r} is no {dimension}; it needs a unit such as {example}"
        ) from error
    except Exception as error:  # Pint hands on tokenizer and attribute errors for odd text
        raise InputError(
            f"{text!r}: {unit!r} is no unit; use one such as {example}"
        ) from error
    if not math.isfinite(value):
        raise InputError(f"{text!r} is not a finite number")
    return float(value)


def parse_pressure(text: str) -> tuple[float, PressureKind | None]:
    """Read a pressure with an optional word for its kind.

    ``"5 inHg vacuum"`` is -16.9 kPa gauge, ``"1009 hPa absolute"`` is absolute, and
    ``"1.2 kPa"`` says nothing about its kind.

    Raises
    ------
    InputError
        If the text is no pressure.
    """
    words = text.split()
    if len(words) > 1 and words[-1].lower() in _KIND_WORDS:
        kind, sign = _KIND_WORDS[words[-1].lower()]
        value = parse_quantity(" ".join(words[:-1]), "pressure")
        if sign < 0 and value < 0:
            raise InputError(f"{text!r}: a vacuum is written as a positive number")
        return sign * value, kind
    return parse_quantity(text, "pressure"), None


def check_pressure_unit(unit: str) -> float:
    """Pascals in one ``unit``.

    Raises
    ------
    InputError
        If it is not a unit of pressure.
    """
    return unit_factor(unit, "pressure")


def convert_pressure(value_pa: float, unit: str) -> float:
    """Convert a pressure or pressure difference from pascals.

    Raises
    ------
    InputError
        If ``unit`` is not a unit of pressure.
    """
    return value_pa / check_pressure_unit(unit)


def decimals_for(expanded_uncertainty: float, significant: int = 2) -> int:
    """Decimal places that leave ``significant`` digits of the uncertainty.

    Notes
    -----
    JCGM 100:2008, 7.2.6: at most two significant digits of U; the estimate is rounded to
    the same place. Negative places are tens, hundreds and so on.
    """
    if not math.isfinite(expanded_uncertainty) or expanded_uncertainty <= 0:
        return 6
    places = significant - 1 - math.floor(math.log10(expanded_uncertainty))
    rounded = round(expanded_uncertainty, places)
    # 0.0996 rounds to 0.10, which has one digit more than asked
    return significant - 1 - math.floor(math.log10(rounded)) if rounded > 0 else places


def format_number(value: float, places: int) -> str:
    """Write ``value`` rounded to ``places`` decimals, without a negative zero."""
    rounded = round(value, places) + 0.0
    return f"{rounded:.{max(places, 0)}f}"


def format_quantity(value: float, expanded_uncertainty: float, unit: str) -> str:
    """Write ``value`` with its expanded uncertainty, rounded by the GUM's rule.

    Examples
    --------
    >>> format_quantity(1.24337, 0.01213, "kPa")
    '1.243 ± 0.012 kPa'
    """
    places = decimals_for(expanded_uncertainty)
    value_text = format_number(value, places)
    return f"{value_text} ± {format_number(expanded_uncertainty, places)} {unit}".rstrip()


def format_pressure(
    value_pa: float, expanded_uncertainty_pa: float, unit: str, kind: PressureKind
) -> str:
    """Write a pressure in ``unit`` with its kind, and as a vacuum where it is one.

    Examples
    --------
    >>> format_pressure(-1230.0, 21.0, "kPa", "gauge")
    '-1.230 ± 0.021 kPa gauge (1.230 kPa vacuum)'
    """
    value = convert_pressure(value_pa, unit)
    expanded = convert_pressure(expanded_uncertainty_pa, unit)
    places = decimals_for(expanded)
    text = f"{format_quantity(value, expanded, unit)} {kind}"
    if kind == "gauge" and round(value, places) < 0:
        text += f" ({format_number(-value, places)} {unit} vacuum)"
    return text


def _normalised(unit: str) -> str:
    """Unit text as Pint knows it: ``inH2O at 20 degC`` becomes ``inH2O_20C``."""
    unit = unit.replace("\u00b0", "deg").replace("\u00b5", "u").strip()
    match = _TEMPERATURE_NAMED.match(unit)
    if match:
        temperature = {"39.2F": "4C", "39F": "4C", "68F": "20C"}
        named = f"{float(match['t']):g}{match['scale']}"
        return f"{match['unit']}_{temperature.get(named, named)}"
    unit = re.sub(r"(?<=[A-Za-z])([23])(?![A-Za-z0-9_])", r"**\1", unit)
    return f"1 {unit}" if unit.startswith("/") else unit
