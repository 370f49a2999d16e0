"""Plain records that leave the road: what one photo came to.

Positions are pixels of the upright picture (EXIF orientation applied): ``x_px`` to the
right, ``y_px`` down, the centre of the first pixel at (0, 0). Scale values carry the unit
of the scale, levels run bottom to top, limbs left to right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Status = Literal["read", "check", "refused"]
PointPx = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a reading is doubtful or refused, and what to do about it."""

    code: str
    text: str
    limb: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReading:
    """One interface in one limb, carried to the scale."""

    value: float
    standard_uncertainty: float
    unit: str
    x_px: float
    y_px: float
    below: str
    above: str
    interval_px: tuple[PointPx, PointPx]
    """Lower and upper end of the 95 % interval on the tube's axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimbReading:
    """One limb as seen: its axis (lower end, upper end), outside width, and levels."""

    limb: str
    levels: tuple[LevelReading, ...]
    axis_px: tuple[PointPx, PointPx]
    width_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GraduationMark:
    """One graduation found: its two ends and the scale value it was given."""

    start_px: PointPx
    end_px: PointPx
    value: float
    numbered: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One contributor to the uncertainty of a pressure."""

    name: str
    value: float
    unit: str
    standard_uncertainty: float
    sensitivity: float
    contribution_pa: float
    kind: Literal["A", "B"]
    degrees_of_freedom: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureReading:
    """A pressure with expanded uncertainty; SI inside, converted on the way out."""

    kind: Literal["gauge", "absolute", "differential"]
    value_pa: float
    standard_uncertainty_pa: float
    coverage_factor: float
    coverage_probability: float
    effective_degrees_of_freedom: float
    budget: tuple[BudgetLine, ...]
    absolute: PressureReading | None = None
    zero_pa: float | None = None
    """What a zero reading was taken for and took off; None where none was subtracted."""

    @property
    def expanded_uncertainty_pa(self) -> float:
        """U = k u [Pa]."""
        return self.coverage_factor * self.standard_uncertainty_pa


@dataclass(frozen=True, slots=True, kw_only=True)
class ZeroUsed:
    """The photo whose levels were subtracted: both ends at one pressure."""

    photo: str
    sha256: str
    taken_at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one photo came to: heights and pressure, or reasons."""

    photo: str
    sha256: str
    taken_at: str | None
    status: Status
    reasons: tuple[Reason, ...]
    limbs: tuple[LimbReading, ...]
    graduations: tuple[GraduationMark, ...]
    pressure: PressureReading | None
    instrument: str | None
    program: str
    size_px: tuple[int, int]
    """Width and height of the upright picture."""
    pressures: tuple[tuple[str, PressureReading], ...] = ()
    """Of a bank, in place of ``pressure``: each limb's name and pressure."""
    zero: ZeroUsed | None = None
    """The zero photo that the pressure has taken off; None where there is none."""
