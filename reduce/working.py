"""The working of one reading: the chain in symbols, then in numbers, then the result."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from limbsight.reduce.arrangements import DATUM, RESERVOIR, TAPPING
from limbsight.reduce.elementary import Number
from limbsight.reduce.legs import Leg
from limbsight.reduce.reduction import BEND, BEYOND, MANOMETRIC, PROCESS, WANTED, Reduction
from limbsight.reduce.uncertainty import Estimate
from limbsight.reduce.zero import zero_pressure
from limbsight.units import format_number, format_pressure

HEIGHT_PLACES_MM = 3
DENSITY_PLACES = 4
"""Places shown: a micrometre of water is 0.01 Pa, finer than any reading by eye or photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One leg with its numbers."""

    leg: Leg
    fluid: str
    density_kg_m3: float
    start_m: float
    end_m: float
    pressure_pa: float


def steps(reduction: Reduction) -> tuple[float, tuple[Step, ...]]:
    """Gravity, and each leg with its density, heights and share of the pressure."""
    q: dict[str, Number] = {i.key: float(i.value) for i in reduction.inputs}
    z = {point: float(height) for point, height in reduction.heights(q).items()}
    densities = {k: float(v) for k, v in reduction.densities(q).items()}
    g = float(q["gravity"])
    chain = tuple(
        Step(
            leg=leg,
            fluid=reduction.fluids[leg.fluid].name,
            density_kg_m3=densities[leg.fluid, leg.limb],
            start_m=z[leg.start],
            end_m=z[leg.end],
            pressure_pa=g * densities[leg.fluid, leg.limb] * (z[leg.end] - z[leg.start]),
        )
        for leg in reduction.legs
    )
    # legs without height or density explain nothing
    return g, tuple(step for step in chain if step.pressure_pa != 0) or chain


def working_text(reduction: Reduction, estimate: Estimate, unit: str) -> str:
    """Write the working as plain text.

    Parameters
    ----------
    reduction, estimate
        The prepared reading and its result.
    unit
        Unit of pressure for the result.

    Returns
    -------
    str
        Heights, densities, the chain in symbols, in numbers, and the result.
    """
    g, chain = steps(reduction)
    names = _fluid_symbols(chain, "ρ_{}".format)
    points = _points(chain)
    lines = [f"Datum: the scale's zero, upward. g = {g:.5f} m/s²", "", "Heights"]
    rises = reduction.rises
    for label, height in points:
        rise = rises[label].value_m if label in rises else 0.0
        note = f"   ({_mm(rise)} mm of capillary rise taken off)" if rise else ""
        lines.append(f"  {f'z({label})':<24} = {_mm(height)} mm{note}")
    lines += ["", "Densities"]
    lines += [f"  {symbol:<24} = {_density(rho)} kg/m³" for symbol, rho in names.values()]
    lines += ["", f"{_left_side(reduction)} = g · Σ ρ · (z_end - z_start)"]
    for sign, step in zip(_signs(chain), chain, strict=True):
        climb = f"(z({_label(step.leg.end)}) - z({_label(step.leg.start)}))"
        lines.append(f"  {sign} g · {names[_key(step)][0]} · {climb}")
    lines.append("")
    for sign, step in zip(_signs(chain), chain, strict=True):
        lines.append(
            f"  {sign} {g:.5f} · {_density(step.density_kg_m3)} · "
            f"({_mm(step.end_m)} - ({_mm(step.start_m)})) mm = {step.pressure_pa:.2f} Pa"
        )
    rest = _rest(reduction)
    lines += [f"  + {rest:.2f} Pa (vapour over the column)"] if rest else []
    if reduction.zero is not None:
        lines.append(f"  - ({_zero(reduction):.2f}) Pa (zero reading)")
    lines += ["", f"  = {estimate.value:.2f} Pa", f"  = {_result(reduction, estimate, unit)}"]
    return "\n".join(lines)


def working_latex(reduction: Reduction, estimate: Estimate, unit: str) -> str:
    """Write the working as LaTeX (packages amsmath); arguments as ``working_text``."""
    g, chain = steps(reduction)
    names = _fluid_symbols(chain, lambda name: rf"\rho_{{\text{{{_escaped(name)}}}}}")
    lines = [r"\begin{align*}"]
    for label, height in _points(chain):
        lines.append(rf"  z_{{\text{{{label}}}}} &= {_mm(height)}\ \text{{mm}}\\")
    for symbol, rho in names.values():
        lines.append(rf"  {symbol} &= {_density(rho)}\ \text{{kg/m}}^3\\")
    symbols = " + ".join(
        rf"{names[_key(s)][0]}\,(z_{{\text{{{_label(s.leg.end)}}}}} - "
        rf"z_{{\text{{{_label(s.leg.start)}}}}})"
        for s in chain
    )
    numbers = " + ".join(
        rf"{_density(s.density_kg_m3)}\,({_mm(s.end_m)} - ({_mm(s.start_m)}))\cdot 10^{{-3}}"
        for s in chain
    )
    result = _result(reduction, estimate, unit).replace("±", r"\pm")
    value, _, words = result.partition(f" {unit} ")
    rest = _rest(reduction)
    vapour = f" + {rest:.2f}" if rest else ""
    zero = "" if reduction.zero is None else f" - ({_zero(reduction):.2f})"
    lines += [
        rf"  {_left_side(reduction, latex=True)} &= g\,\bigl[{symbols}\bigr]"
        + (r" + p_{\text{vapour}}" if rest else "")
        + (r" - p_{\text{zero}}" if zero else "")
        + r"\\",
        rf"  &= {g:.5f}\,\bigl[{numbers}\bigr]{vapour}{zero}\ \text{{Pa}}\\",
        rf"  &= {estimate.value:.2f}\ \text{{Pa}}\\",
        rf"  &= {value}\ \text{{{unit} {words}}}",
        r"\end{align*}",
    ]
    return "\n".join(lines)


def _left_side(reduction: Reduction, *, latex: bool = False) -> str:
    where = "where wanted" if reduction.legs[0].start == WANTED else TAPPING
    if reduction.kind == "absolute":
        return rf"p_{{\text{{{where}}}}}" if latex else f"p({where})"
    other = "second tapping" if reduction.kind == "differential" else "open air"
    if latex:
        return rf"p_{{\text{{{where}}}}} - p_{{\text{{{other}}}}}"
    return f"p({where}) - p({other})"


def _label(point: str) -> str:
    return {
        TAPPING: "tapping",
        DATUM: "reference",
        RESERVOIR: "reservoir",
        WANTED: "wanted",
        BEND: "bend",
    }.get(point, point)


def _points(chain: Sequence[Step]) -> list[tuple[str, float]]:
    heights: dict[str, float] = {}
    for step in chain:
        heights[_label(step.leg.start)] = step.start_m
        heights[_label(step.leg.end)] = step.end_m
    return list(heights.items())


def _key(step: Step) -> tuple[str, float]:
    return step.fluid, step.density_kg_m3


def _fluid_symbols(
    chain: Sequence[Step], symbol: Callable[[str], str]
) -> dict[tuple[str, float], tuple[str, float]]:
    """Symbol and density of each filling; one fluid at two densities has two symbols."""
    roles = {MANOMETRIC: "", PROCESS: " (line)", BEYOND: " (open)"}
    found: dict[tuple[str, float], tuple[str, float]] = {}
    for step in chain:
        twins = {s.density_kg_m3 for s in chain if s.fluid == step.fluid}
        suffix = roles.get(step.leg.fluid, "") if len(twins) > 1 else ""
        found.setdefault(_key(step), (symbol(step.fluid + suffix), step.density_kg_m3))
    return found


def _escaped(name: str) -> str:
    """A fluid's name as LaTeX text: its owner may have called it anything."""
    return re.sub(r"([#$%&_{}])", r"\\\1", re.sub(r"[\\^~]", " ", name))


def _signs(chain: Sequence[Step]) -> list[str]:
    return ["=", *("+" for _ in chain[1:])]


def _zero(reduction: Reduction) -> float:
    return 0.0 if reduction.zero is None else zero_pressure(reduction.zero)


def _rest(reduction: Reduction) -> float:
    return sum(float(i.value) for i in reduction.inputs if i.key == "vapour")


def _mm(height_m: float) -> str:
    return format_number(1e3 * height_m, HEIGHT_PLACES_MM)


def _density(rho: float) -> str:
    return format_number(rho, DENSITY_PLACES)


def _result(reduction: Reduction, estimate: Estimate, unit: str) -> str:
    return format_pressure(estimate.value, estimate.expanded_uncertainty, unit, reduction.kind)
