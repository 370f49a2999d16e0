"""What is known about one manometer: the records that its instrument file makes.

Units are SI. Names of liquids and materials stay names: which of them the program knows is
decided where pressure is computed. Everything optional is ``None`` when left out; the default,
and what it costs in uncertainty, is applied there too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from limbsight.units import Given

ArrangementName = Literal[
    "u-tube",
    "inverted-u-tube",
    "single-limb",
    "cistern",
    "inclined",
    "bank",
    "barometer",
    "micromanometer",
]
Numbers = Literal["upward", "downward", "away-from-zero"]
CisternScale = Literal["true", "compensated", "adjusted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleSpec:
    """The graduated scale. Values are as printed; ``lowest`` and ``highest`` carry a sign."""

    unit: str
    division: float
    numbered_every: float
    lowest: float
    highest: float
    numbers: Numbers
    material: str | None
    true_at_k: float | None
    standard_uncertainty_m: float | None
    unit_m: float | None
    """Metres per unit of the scale; None where the scale counts a unit of pressure."""
    unit_pa: float | None
    """Pascals per unit of the scale; None where it counts a length."""

    @property
    def upward(self) -> int:
        """+1 where printed values grow upward, -1 where they grow downward."""
        return -1 if self.numbers == "downward" else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSpec:
    """The tubes: whatever the file leaves out is None."""

    material: str | None = None
    """Of the wall, by name: whether water wets it."""

    bore_m: float | None = None
    bores_m: tuple[float, ...] | None = None
    """One bore per limb, left to right, where they differ."""
    outside_diameter_m: float | None = None
    axis_to_scale_m: float | None = None
    incline_rad: float | None = None
    incline_standard_uncertainty_rad: float | None = None
    meniscus_height: Given | None = None
    """Rim to apex of the meniscus under gas [m], measured: better than a contact angle."""
    limb_spacing_m: float | None = None
    """Between the axes of the outer limbs: with the tilt it shifts their levels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidSpec:
    """A liquid by name, or by its own density or specific gravity."""

    name: str
    density_kg_m3: float | None = None
    specific_gravity: float | None = None
    at_k: float | None = None
    expansion_per_k: float | None = None
    standard_uncertainty_kg_m3: float | None = None
    surface_tension_n_m: float | None = None
    contact_angle_rad: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidsSpec:
    """What fills the instrument; ``seals`` from the manometric liquid outwards."""

    manometric: LiquidSpec
    process: LiquidSpec
    seals: tuple[LiquidSpec, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TappingSpec:
    """The tapping point, as a height on the instrument's scale [m, upward from its zero].

    Upright, also where the scale itself lies along an inclined tube.
    """

    height: Given | None = None
    wanted_at: Given | None = None
    """Where the pressure is wanted, if not at the tapping itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSpec:
    """The other end: open to a gas, to a vacuum, or a second tapping."""

    open_to: str = "air"
    """A gas of the surroundings, ``"vacuum"``, or ``"tapping"``."""
    process: LiquidSpec | None = None
    height: Given | None = None
    limb: int | None = None
    """Bank: the limb, counted from 1 at the left, that is open to the reference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CisternSpec:
    """Reservoir of a cistern, inclined, bank, barometer or micromanometer instrument."""

    area_ratio: Given | None = None
    """Cross-section of the tube over that of the reservoir."""
    scale: CisternScale = "true"
    level: Given | None = None
    """Level in the reservoir when the tube reads ``zero`` [m on the scale]."""
    zero: Given | None = None
    """Level in the tube when both ends are at one pressure [m on the scale]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSpec:
    """Surroundings; each may also come with the photo or the round."""

    temperature_k: Given | None = None
    limb_temperatures_k: tuple[Given, ...] | None = None
    latitude_rad: float | None = None
    elevation_m: float | None = None
    gravity_m_s2: Given | None = None
    barometer_pa: Given | None = None
    relative_humidity: Given | None = None
    plumb_rad: Given | None = None
    """Tilt of the board from plumb, in its own plane; right limb up is positive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsSpec:
    """Alarm limits, gauge unless the arrangement is absolute or differential."""

    low_pa: float | None = None
    high_pa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSpec:
    """A printed label on the board: an AprilTag of the family 36h11."""

    number: int
    size_m: float | None = None
    """Edge of its black square."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One manometer as its file describes it."""

    name: str
    arrangement: ArrangementName
    tapped_limb: str | None
    scale: ScaleSpec
    tube: TubeSpec
    liquids: LiquidsSpec
    tapping: TappingSpec
    reference: ReferenceSpec
    cistern: CisternSpec
    site: SiteSpec
    limits: LimitsSpec
    path: str
    """Where it was read from, for messages."""
    label: LabelSpec | None = None
