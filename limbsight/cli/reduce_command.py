"""``limbsight reduce``: heights in, pressure out, no photo needed."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from limbsight import __version__
from limbsight.cli.options import json_option, unit_option
from limbsight.errors import InputError
from limbsight.units import Given, parse_quantity

if TYPE_CHECKING:
    from limbsight.calib.instrument import Instrument, LimitsSpec, SiteSpec
    from limbsight.level_heights import LevelHeight
    from limbsight.records import PressureReading
    from limbsight.reduce.montecarlo import Agreement, MonteCarlo
    from limbsight.reduce.reduction import Reduction
    from limbsight.reduce.uncertainty import Estimate

ADAPTIVE = "auto"
NEGLIGIBLE = 1e-3
"""Share of the combined uncertainty below which lines of the table are summed up: together
with a hundred others such a line would change it by 5e-5."""
WIDE = 150
"""Columns of the budget where the output is no terminal."""

EPILOG = """\b
Examples:
  limbsight reduce --instrument fan.toml --left "-50.2 mm" --right "51 mm"
  limbsight reduce -i fan.toml --left -50.2 --right 51 --budget --working text
  limbsight reduce -i bank.toml --limb 12.1 --limb 9.8 --limb 4.4 --tapped 2

Several levels of one limb: repeat the option, bottom to top.
"""


@click.command(
    name="reduce", epilog=EPILOG, context_settings={"ignore_unknown_options": False}
)
@click.option(
    "-i",
    "--instrument",
    "instrument_path",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="Instrument file (TOML).",
)
@click.option("--left", multiple=True, metavar="HEIGHT", help="Level in the left limb.")
@click.option("--right", multiple=True, metavar="HEIGHT", help="Level in the right limb.")
@click.option("--tube", multiple=True, metavar="HEIGHT", help="Level in the one tube seen.")
@click.option(
    "--limb",
    multiple=True,
    metavar="HEIGHT",
    help="Bank: one level per limb, left to right.",
)
@click.option(
    "--zero",
    multiple=True,
    metavar="HEIGHT",
    help="Level per limb, left to right, with both ends at one pressure; subtracted.",
)
@click.option("--tapped", metavar="LIMB", help="Limb the process acts on.")
@click.option(
    "--height-uncertainty",
    metavar="HEIGHT",
    help="Standard uncertainty of each level.  [default: 1/4 division, rectangular]",
)
@click.option("--temperature", metavar="T", help='Of the instrument, such as "22 degC".')
@click.option("--barometer", metavar="P", help='Absolute, not reduced, such as "1009 hPa".')
@click.option("--latitude", metavar="ANGLE", help='Such as "52 deg".')
@click.option("--elevation", metavar="H", help='Above sea level, such as "40 m".')
@click.option("--gravity", metavar="G", help='Such as "9.8126 m/s^2".')
@click.option(
    "--coverage",
    type=click.FloatRange(0.5, 0.999, clamp=False),
    metavar="P",
    help="Coverage probability of U.  [default: 0.9545, k = 2]",
)
@unit_option
@json_option
@click.option("--budget", is_flag=True, help="List every contributor to the uncertainty.")
@click.option(
    "--monte-carlo",
    metavar="N",
    help="Also draw N times (JCGM 101), or `auto` until settled, and compare.",
)
@click.option("--seed", default=0, show_default=True, help="Of the draws.")
@click.option(
    "--working",
    type=click.Choice(["text", "latex"]),
    help="Write the chain out: symbols, numbers, result.",
)
def reduce(
    instrument_path: Path,
    left: tuple[str, ...],
    right: tuple[str, ...],
    tube: tuple[str, ...],
    limb: tuple[str, ...],
    zero: tuple[str, ...],
    tapped: str | None,
    height_uncertainty: str | None,
    temperature: str | None,
    barometer: str | None,
    latitude: str | None,
    elevation: str | None,
    gravity: str | None,
    coverage: float | None,
    unit: str,
    as_json: bool,
    budget: bool,
    monte_carlo: str | None,
    seed: int,
    working: str | None,
) -> None:
    """Reduce heights read by eye to a pressure ± U, as a photo of them would be.

    HEIGHT is a number in the scale's unit or a text with a unit, such as "120.5 mm".
    """
    from limbsight.calib.instrument_file import load_instrument
    from limbsight.pressure_model import reduction_of
    from limbsight.typed_heights import limbs_given, read_heights

    instrument = load_instrument(instrument_path)
    given = limbs_given(
        instrument,
        left=left or None,
        right=right or None,
        tube=tube or None,
        limbs=limb or None,
    )
    levels = read_heights(instrument, given, height_uncertainty)
    zero_levels = read_heights(instrument, zero, height_uncertainty) if zero else None
    site = _site(temperature, barometer, latitude, elevation, gravity)
    results = [
        _Result.of(
            reduction_of(instrument, levels, zero=zero_levels, site=site, tapped_limb=name),
            coverage=coverage,
            draws=monte_carlo,
            seed=seed,
        )
        for name in _tapped_limbs(instrument, len(levels), tapped)
    ]
    if as_json:
        written = _as_json(instrument, levels, results, unit, working)
        click.echo(json.dumps(written, indent=2, ensure_ascii=False, allow_nan=False))
        return
    _print_levels(instrument, levels)
    for result in results:
        if len(results) > 1:
            click.echo(f"\n{result.reduction.manometer.tapped_limb}")
        _print_result(result, unit, instrument.limits, with_budget=budget)
        if working:
            click.echo("\n" + _working(result, unit, working))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Result:
    """One pressure, and what was asked for beside it."""

    reduction: Reduction
    reading: PressureReading
    estimate: Estimate
    drawn: MonteCarlo | None
    agreement: Agreement | None

    @classmethod
    def of(
        cls, reduction: Reduction, *, coverage: float | None, draws: str | None, seed: int
    ) -> _Result:
        from limbsight.pressure import reading_of
        from limbsight.reduce.montecarlo import compare
        from limbsight.reduce.uncertainty import COVERAGE_PROBABILITY, propagate

        probability = COVERAGE_PROBABILITY if coverage is None else coverage
        estimate = propagate(reduction.difference, reduction.inputs, probability=probability)
        drawn = None if draws is None else _draw(reduction, draws, seed, probability)
        return cls(
            reduction=reduction,
            reading=reading_of(reduction, probability=probability),
            estimate=estimate,
            drawn=drawn,
            agreement=None if drawn is None else compare(estimate, drawn),
        )


def _tapped_limbs(
    instrument: Instrument, count: int, tapped: str | None
) -> tuple[str | None, ...]:
    """The limb asked for; for a bank without one, every tube but the reference."""
    if instrument.arrangement != "bank" or tapped or instrument.tapped_limb:
        return (tapped,)
    from limbsight.limb_names import limb_names

    return tuple(
        name
        for name in limb_names(instrument, count)
        if name != f"limb {instrument.reference.limb}"
    )


def _site(
    temperature: str | None,
    barometer: str | None,
    latitude: str | None,
    elevation: str | None,
    gravity: str | None,
) -> SiteSpec:
    from limbsight.calib.instrument import SiteSpec

    def given(option: str, text: str | None, dimension: str) -> Given | None:
        value = number(option, text, dimension)
        return None if value is None else Given(value=value)

    def number(option: str, text: str | None, dimension: str) -> float | None:
        try:
            return None if text is None else parse_quantity(text, dimension)
        except InputError as error:
            raise InputError(f"--{option}: {error}") from error

    return SiteSpec(
        temperature_k=given("temperature", temperature, "temperature"),
        barometer_pa=given("barometer", barometer, "pressure"),
        latitude_rad=number("latitude", latitude, "angle"),
        elevation_m=number("elevation", elevation, "length"),
        gravity_m_s2=given("gravity", gravity, "acceleration"),
    )


def _draw(reduction: Reduction, asked: str, seed: int, probability: float) -> MonteCarlo:
    from limbsight.reduce.montecarlo import FEWEST_DRAWS, MOST_DRAWS, monte_carlo

    if asked != ADAPTIVE and not (
        asked.isdigit() and FEWEST_DRAWS <= int(asked) <= MOST_DRAWS
    ):
        raise InputError(
            f"--monte-carlo {asked}: give a whole number from {FEWEST_DRAWS} to "
            f"{MOST_DRAWS}, or `{ADAPTIVE}`"
        )
    return monte_carlo(
        reduction.difference,
        reduction.inputs,
        draws=None if asked == ADAPTIVE else int(asked),
        probability=probability,
        seed=seed,
    )


def _working(result: _Result, unit: str, form: str) -> str:
    from limbsight.reduce.working import working_latex, working_text

    write = working_latex if form == "latex" else working_text
    return write(result.reduction, result.estimate, unit)


def _as_json(
    instrument: Instrument,
    levels: tuple[tuple[LevelHeight, ...], ...],
    results: list[_Result],
    unit: str,
    working: str | None,
) -> dict[str, Any]:
    """The shape of a photo's reading, without what only a photo has.

    A bank has ``pressures`` by limb in place of ``pressure``.
    """
    from limbsight.limb_names import limb_names

    names = limb_names(instrument, len(levels))
    pressures = {
        result.reduction.manometer.tapped_limb: _pressure_json(
            result, unit, working, instrument.limits
        )
        for result in results
    }
    one = len(results) == 1
    return {
        "status": "read",
        "reasons": [],
        "limbs": [
            {
                "limb": name,
                "levels": [
                    {
                        "value": level.value,
                        "standard_uncertainty": _level_uncertainty(level),
                        "unit": level.unit,
                    }
                    for level in limb
                ],
            }
            for name, limb in zip(names, levels, strict=True)
        ],
        **({"pressure": next(iter(pressures.values()))} if one else {"pressures": pressures}),
        "instrument": instrument.name,
        "program": f"limbsight {__version__}",
    }


def _pressure_json(
    result: _Result, unit: str, working: str | None, limits: LimitsSpec
) -> dict[str, Any]:
    from limbsight.report import pressure_to_dict

    written = pressure_to_dict(result.reading, unit=unit, limits=limits)
    if result.drawn and result.agreement:
        written["monte_carlo"] = _drawn_json(result.drawn, result.agreement, unit)
    if working:
        written["working"] = _working(result, unit, working)
    return written


def _level_uncertainty(level: LevelHeight) -> float:
    return math.hypot(*(c.standard_uncertainty for c in level.components))


def _drawn_json(drawn: MonteCarlo, agreement: Agreement, unit: str) -> dict[str, Any]:
    from limbsight.units import convert_pressure

    def value(pa: float) -> float:
        return convert_pressure(pa, unit)

    return {
        "draws": drawn.draws,
        "mean": value(drawn.mean),
        "standard_uncertainty": value(drawn.standard_uncertainty),
        "shortest_interval": [value(drawn.low), value(drawn.high)],
        "symmetric_interval": [value(drawn.symmetric_low), value(drawn.symmetric_high)],
        "coverage_probability": drawn.coverage_probability,
        "unit": unit,
        "converged": drawn.converged,
        "agrees": agreement.agrees,
        "advice": agreement.advice,
    }


def _drawn_text(drawn: MonteCarlo, agreement: Agreement, unit: str) -> str:
    from limbsight.units import convert_pressure, decimals_for, format_number

    places = decimals_for(convert_pressure(drawn.standard_uncertainty, unit))
    mean, u, low, high = (
        format_number(convert_pressure(pa, unit), places)
        for pa in (drawn.mean, drawn.standard_uncertainty, drawn.low, drawn.high)
    )
    return (
        f"Monte Carlo, {drawn.draws} draws: {mean} {unit}, u = {u} {unit}, shortest "
        f"{100 * drawn.coverage_probability:.4g} % interval {low} to {high} {unit}\n"
        f"{agreement.advice}"
    )


def _print_levels(instrument: Instrument, levels: tuple[tuple[LevelHeight, ...], ...]) -> None:
    from limbsight.limb_names import limb_names
    from limbsight.units import format_quantity

    names = limb_names(instrument, len(levels))
    for name, limb in zip(names, levels, strict=True):
        heights = (
            format_quantity(level.value, 2 * _level_uncertainty(level), level.unit)
            for level in limb
        )
        click.echo(f"{name:<8} {', '.join(heights)}")


def _print_result(
    result: _Result, unit: str, limits: LimitsSpec, *, with_budget: bool
) -> None:
    from rich.console import Console

    from limbsight.limits import limits_text
    from limbsight.report import largest_contributors, pressure_text

    reading = result.reading
    console = Console(highlight=False, soft_wrap=True)
    if with_budget and not console.is_terminal:
        console = Console(highlight=False, width=WIDE)
    console.print(
        f"[bold]{pressure_text(reading, unit)}[/bold]   "
        f"({100 * reading.coverage_probability:.4g} %, k = {reading.coverage_factor:.2f})"
    )
    standing = limits_text(reading, limits, unit)
    if standing:
        console.print(standing)
    if reading.absolute:
        console.print(pressure_text(reading.absolute, unit))
    if with_budget:
        console.print(_budget_table(reading, unit))
    else:
        largest = ", ".join(
            f"{line.name} {share:.0%}" for line, share in largest_contributors(reading)
        )
        console.print(f"± mostly from: {largest}")
    if result.drawn and result.agreement:
        click.echo(_drawn_text(result.drawn, result.agreement, unit))


def _budget_table(reading: PressureReading, unit: str) -> Any:
    from rich.table import Table

    from limbsight.units import convert_pressure

    table = Table(box=None, padding=(0, 1))
    for heading, justify in (
        ("input", "left"),
        ("value", "right"),
        ("u", "right"),
        ("unit", "left"),
        ("sensitivity", "right"),
        (f"part, {unit}", "right"),
        ("type", "left"),
        ("dof", "right"),
        ("source", "left"),
    ):
        table.add_column(heading, justify=justify, no_wrap=heading != "source")  # type: ignore[arg-type]
    least = NEGLIGIBLE * reading.standard_uncertainty_pa
    small = [line for line in reading.budget if abs(line.contribution_pa) < least]
    for line in reading.budget:
        if abs(line.contribution_pa) >= least:
            table.add_row(
                line.name,
                f"{line.value:.6g}",
                f"{line.standard_uncertainty:.2g}",
                line.unit,
                f"{convert_pressure(line.sensitivity, unit):.3g}",
                f"{convert_pressure(line.contribution_pa, unit):.2g}",
                line.kind,
                _dof_text(line.degrees_of_freedom),
                line.source,
            )
    if small:
        together = math.hypot(*(line.contribution_pa for line in small))
        part = f"{convert_pressure(together, unit):.1g}"
        table.add_row(f"{len(small)} smaller ones together", "", "", "", "", part, "", "", "")
    combined = f"{convert_pressure(reading.standard_uncertainty_pa, unit):.2g}"
    dof = _dof_text(reading.effective_degrees_of_freedom)
    table.add_row("combined", "", "", "", "", combined, "", dof, "", style="bold")
    return table


def _dof_text(dof: float) -> str:
    return "∞" if math.isinf(dof) else f"{dof:.1f}"
