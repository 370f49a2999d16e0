"""From heights on the scale of one instrument to a pressure with its budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from limbsight.calib.instrument import Instrument, SiteSpec
from limbsight.calib.instrument_file import load_instrument
from limbsight.level_heights import LevelHeight
from limbsight.limb_names import limb_names
from limbsight.pressure_model import reduction_of
from limbsight.records import BudgetLine, PressureReading
from limbsight.typed_heights import Heights, limbs_given, read_heights

if TYPE_CHECKING:
    from limbsight.reduce.reduction import Reduction
    from limbsight.reduce.uncertainty import Estimate


def pressure_from_levels(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    covariance: Any = None,
    zero: Sequence[Sequence[LevelHeight]] | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
    probability: float | None = None,
) -> PressureReading:
    """Pressure at the tapping from the levels in each limb.

    Parameters
    ----------
    instrument
        The instrument's description.
    limbs
        Levels of each limb: limbs left to right, levels bottom to top.
    covariance : array_like, shape (N, N), optional
        Covariance of all N levels in the square of the scale's unit, limb by limb; it takes
        the place of the levels' components.
    zero
        Levels with both ends at one pressure, to be subtracted; what they share with
        ``limbs`` (tilt, bores, densities, components of one shared key) cancels as far as it
        acts alike on both.
    site
        Surroundings of this reading; what it leaves out comes from the instrument file.
    tapped_limb
        Overrides the instrument file's; for a bank the limb wanted, counted from "1".
    probability
        Coverage probability, by default 95.45 % (k = 2 for many degrees of freedom).

    Returns
    -------
    PressureReading
        Gauge (with ``absolute`` beside it), absolute, or differential.

    Raises
    ------
    InputError
        If the levels do not fit the instrument.
    InstrumentError
        If the instrument file lacks something the pressure needs.
    """
    reduction = reduction_of(
        instrument,
        limbs,
        covariance=covariance,
        zero=zero,
        site=site,
        tapped_limb=tapped_limb,
    )
    return reading_of(reduction, probability=probability)


def reduce_heights(
    instrument: Instrument | str | Path,
    *,
    left: Heights | None = None,
    right: Heights | None = None,
    tube: Heights | None = None,
    limbs: Sequence[Heights] | None = None,
    zero: Sequence[Heights] | None = None,
    standard_uncertainty: str | float | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
    probability: float | None = None,
) -> PressureReading:
    """Pressure from heights read by eye or typed in, no photo needed.

    Parameters
    ----------
    instrument
        The instrument's description, or the path of its file.
    left, right, tube
        Level of each limb: text with a unit (``"120.5 mm"``) or a number in the scale's
        unit; a sequence of them, bottom to top, where a limb has several.
    limbs
        All limbs, left to right, in place of the three above; needed for a bank.
    zero
        Levels of the same limbs with both ends at one pressure, to be subtracted.
    standard_uncertainty
        Of each level; by default that of a reading by eye to a quarter of a division.
    site, tapped_limb, probability
        As for :func:`pressure_from_levels`.

    Returns
    -------
    PressureReading

    Raises
    ------
    InputError, InstrumentError
        If heights, or the instrument file, are wrong.

    Examples
    --------
    >>> import limbsight
    >>> reading = limbsight.reduce_heights("fan.toml", left="-50.2 mm", right="51 mm")
    ... # doctest: +SKIP
    """
    found = instrument if isinstance(instrument, Instrument) else load_instrument(instrument)
    given = limbs_given(found, left=left, right=right, tube=tube, limbs=limbs)
    return pressure_from_levels(
        found,
        read_heights(found, given, standard_uncertainty),
        zero=None if zero is None else read_heights(found, zero, standard_uncertainty),
        site=site,
        tapped_limb=tapped_limb,
        probability=probability,
    )


def bank_pressures(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    zero: Sequence[Sequence[LevelHeight]] | None = None,
    site: SiteSpec | None = None,
    probability: float | None = None,
) -> dict[str, PressureReading]:
    """Pressure of every tube of a bank, by its number from the left.

    Raises
    ------
    InputError, InstrumentError
        As for :func:`pressure_from_levels`.
    """
    reference = instrument.reference.limb
    return {
        name: pressure_from_levels(
            instrument,
            limbs,
            zero=zero,
            site=site,
            tapped_limb=name,
            probability=probability,
        )
        for name in limb_names(instrument, len(limbs))
        if name != f"limb {reference}"
    }


def reading_of(reduction: Reduction, *, probability: float | None = None) -> PressureReading:
    """Evaluate a prepared reduction with its linear budget."""
    from limbsight.reduce.uncertainty import COVERAGE_PROBABILITY, propagate
    from limbsight.reduce.zero import zero_pressure

    p = COVERAGE_PROBABILITY if probability is None else probability
    zero_pa = None if reduction.zero is None else zero_pressure(reduction.zero)
    if reduction.kind == "gauge":
        absolute = _record(propagate(reduction.absolute, reduction.inputs, probability=p))
        gauge = _record(propagate(reduction.difference, reduction.inputs, probability=p))
        absolute = replace(absolute, kind="absolute")
        return replace(gauge, kind="gauge", absolute=absolute, zero_pa=zero_pa)
    found = _record(propagate(reduction.difference, reduction.inputs, probability=p))
    return replace(found, kind=reduction.kind, zero_pa=zero_pa)


def _record(estimate: Estimate) -> PressureReading:
    """Estimate as the plain record; the caller sets the kind."""
    return PressureReading(
        kind="gauge",
        value_pa=estimate.value,
        standard_uncertainty_pa=estimate.standard_uncertainty,
        coverage_factor=estimate.coverage_factor,
        coverage_probability=estimate.coverage_probability,
        effective_degrees_of_freedom=estimate.effective_degrees_of_freedom,
        budget=tuple(
            BudgetLine(
                name=c.input.name,
                value=float(c.input.value),
                unit=c.input.unit,
                standard_uncertainty=c.input.standard_uncertainty,
                sensitivity=c.sensitivity,
                contribution_pa=c.contribution,
                kind=c.input.kind,
                degrees_of_freedom=c.input.degrees_of_freedom,
                source=c.input.source,
            )
            for c in estimate.contributions
            if c.contribution != 0
        ),
    )
