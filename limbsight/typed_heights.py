"""Heights as people give them: by the name of a limb, as text or number, read by eye."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from limbsight.calib.instrument import Instrument
from limbsight.errors import InputError
from limbsight.level_heights import HeightComponent, LevelHeight
from limbsight.limb_names import names_of
from limbsight.units import parse_quantity

if TYPE_CHECKING:
    pass

Height = str | float
Heights = Height | Sequence[Height]
"""One level, or several of one limb, bottom to top."""
BY_EYE_DIVISIONS = 0.25
"""Half-width of a reading by eye, in divisions; common practice, no source."""


def limbs_given(
    instrument: Instrument,
    *,
    left: Heights | None = None,
    right: Heights | None = None,
    tube: Heights | None = None,
    limbs: Sequence[Heights] | None = None,
) -> tuple[Heights, ...]:
    """Put limbs given by name into order, left to right.

    Raises
    ------
    InputError
        If a limb is missing, or one is given that the instrument does not have.
    """
    if limbs is not None:
        if left is not None or right is not None or tube is not None:
            raise InputError("give limbs either by name or as one sequence")
        return tuple(limbs)
    named = {"left": left, "right": right, "tube": tube}
    if instrument.arrangement == "bank":
        raise InputError(
            f"{instrument.name}: a bank's limbs are given as limbs, left to right"
        )
    wanted = names_of(instrument)
    for name, heights in named.items():
        if (heights is not None) != (name in wanted):
            # one interface is enough for a two-liquid micromanometer
            if name in wanted and instrument.arrangement == "micromanometer":
                continue
            what = "is missing" if name in wanted else "does not exist"
            raise InputError(
                f"limb {name} {what}: a {instrument.arrangement} has {' and '.join(wanted)}"
            )
    return tuple(() if (heights := named[name]) is None else heights for name in wanted)


def read_heights(
    instrument: Instrument,
    limbs: Sequence[Heights],
    standard_uncertainty: str | float | None = None,
) -> tuple[tuple[LevelHeight, ...], ...]:
    """Turn heights as people give them into levels on the instrument's scale.

    Raises
    ------
    InputError
        If one is no height, or lies off the scale.
    """
    u = reading_uncertainty(instrument, standard_uncertainty)
    return tuple(
        tuple(by_eye(instrument, _on_scale(instrument, height), u) for height in _listed(limb))
        for limb in limbs
    )


def reading_uncertainty(
    instrument: Instrument, standard_uncertainty: str | float | None
) -> tuple[float, str]:
    """Standard uncertainty of one level in the scale's unit, and what it is called."""
    if standard_uncertainty is None:
        u = BY_EYE_DIVISIONS * instrument.scale.division / math.sqrt(3)
        return u, "by eye to 1/4 division"
    u = _on_scale(instrument, standard_uncertainty, check=False)
    if u < 0:
        raise InputError(f"the uncertainty of a level, {standard_uncertainty!r}, is negative")
    return u, "reading"


def by_eye(instrument: Instrument, value: Any, u: tuple[float, str]) -> LevelHeight:
    return LevelHeight(
        value=value,
        unit=instrument.scale.unit,
        components=(HeightComponent(name=u[1], standard_uncertainty=u[0]),),
    )


def _listed(heights: Heights) -> tuple[Height, ...]:
    return (heights,) if isinstance(heights, str | int | float) else tuple(heights)


def _on_scale(instrument: Instrument, height: Height, *, check: bool = True) -> float:
    """Scale value of a height given as text or number."""
    scale = instrument.scale
    if isinstance(height, str) and not _is_number(height):
        dimension, size = (
            ("length", scale.unit_m)
            if scale.unit_m is not None
            else ("pressure", scale.unit_pa)
        )
        assert size is not None
        value = parse_quantity(height, dimension) / size
    else:
        value = float(height)
    slack = scale.division
    if check and not scale.lowest - slack <= value <= scale.highest + slack:
        raise InputError(
            f"{height!r} is off the scale of {instrument.name} "
            f"({scale.lowest:g} to {scale.highest:g} {scale.unit}); read it again"
        )
    return value


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False
