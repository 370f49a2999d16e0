"""What an instrument file tells the eye: sizes with defaults, limbs, fillings, their optics.

Every default is stated here with what it costs in uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from limbsight.calib.heights import TubeGeometry
from limbsight.calib.instrument import (
    ArrangementName,
    CisternSpec,
    Instrument,
    LimitsSpec,
    LiquidSpec,
    LiquidsSpec,
    ReferenceSpec,
    ScaleSpec,
    SiteSpec,
    TappingSpec,
    TubeSpec,
)
from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics
from limbsight.liquid_optics import fluid_optics, interface_physics, is_gas, liquid_optics

STANDARD_GRAVITY_M_S2 = 9.80665
WATER_DENSITY_KG_M3 = 998.2
DEFAULT_OUTSIDE_DIAMETER_M = 9e-3
"""Middle of the usual 6 mm to 12 mm glass tubing (common practice, no source)."""
DEFAULT_BORE_SHARE = 0.72
U_BORE_SHARE = 0.08
"""Bore over outside diameter of usual manometer tubing, 0.58 to 0.86 (common practice)."""
U_SEEN_WIDTH = 0.1
"""Relative standard uncertainty of an outside diameter that the picture tells: standard
deviation 0.10 on 40 sample photos and 25 drawn ones of schools, 0.07 on 113 other drawn ones,
95 % within 0.20, 0.27 and 0.11; none trained on."""
U_GIVEN_LENGTH_M = 0.1e-3
"""Standard uncertainty of a tube dimension in the file: callipers, tubing tolerance."""
DEFAULT_AXIS_TO_SCALE_M = 5e-3
U_DEFAULT_AXIS_TO_SCALE_M = 2.9e-3
"""Depth unknown: rectangular from 0 (in the plane of the scale) to 10 mm."""
U_GIVEN_AXIS_TO_SCALE_M = 0.2e-3
GAP_BEFORE_LINES_M, U_GAP_BEFORE_LINES_M = 2.5e-3, 1.44e-3
"""Between a tube and the board behind it, where that bears the graduations: rectangular from 0
(it rests on the board, and can't be in it) to 5 mm, the length of usual clips (common
practice, no source)."""
MISTAKEN_FACE = 0.02
"""Share of the boards seen behind tubes that are strips beside them after all: 4 of 220 (40
traced, 320 drawn photos and 48 of benches)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """The instrument as far as reading its picture goes."""

    instrument: Instrument
    unit_m: float
    tube: TubeGeometry
    limb_count: int | None
    from_picture: bool = False
    """No instrument file: sizes, numbering and liquids are guesses from the picture."""
    fillings_seen: bool = False
    """The picture says mercury or not, and how many liquids."""
    upper_wets: bool = False
    """Of two liquids in contact the upper one wets the glass, mercury apart."""

    @property
    def incline_rad(self) -> float | None:
        """Of an inclined tube and the scale along it, above the horizontal."""
        inclined = self.instrument.arrangement == "inclined"
        return self.instrument.tube.incline_rad if inclined else None

    def limb_names(self, count: int) -> tuple[str, ...]:
        """Names of the limbs, left to right."""
        if self.instrument.arrangement == "bank":
            return tuple(str(k + 1) for k in range(count))
        if count == 1:
            return ("tube",)
        return ("left", "right")

    def fillings(self, limb: str) -> tuple[LiquidSpec, ...]:
        """What stands in a limb from the bottom up, the gas or process liquid last."""
        liquids = self.instrument.liquids
        tapped = self.instrument.tapped_limb
        last = liquids.process if limb == tapped or tapped is None else AIR
        return (liquids.manometric, *liquids.seals, last)

    def filling(self, limb: str, k: int) -> str:
        """Name of the k-th filling from the bottom."""
        return self.fillings(limb)[k].name

    def level_count(self, limb: str) -> int:
        """How many interfaces a limb has."""
        return len(self.fillings(limb)) - 1

    def optics(self, limb: str, k: int) -> FluidOptics:
        """How the k-th filling from the bottom treats light."""
        return fluid_optics(self.filling(limb, k))

    def interface(self, limb: str, k: int) -> MeniscusPhysics:
        """Shape of the meniscus between filling k and the one above."""
        below, above = self.fillings(limb)[k], self.fillings(limb)[k + 1]
        physics = interface_physics(
            below.name,
            above.name,
            density_below_kg_m3=_density(below),
            density_above_kg_m3=_density(above),
        )
        if not (self.upper_wets and self.is_between_liquids(limb, k)):
            return physics
        return replace(physics, contact_angle_rad=np.pi - physics.contact_angle_rad)

    def is_between_liquids(self, limb: str, k: int) -> bool:
        """Whether filling k, no mercury, stands under another liquid."""
        below, above = (self.fillings(limb)[i].name for i in (k, k + 1))
        return not (is_gas(above) or liquid_optics(below).opaque_mirror)

    def manometric_guesses(self) -> tuple[Knowledge, ...]:
        """Return this with each liquid the manometric one may be; itself where it is known."""
        if not self.from_picture or self.fillings_seen:
            return (self,)
        return tuple(
            replace(self, instrument=replace(self.instrument, liquids=_liquids(name)))
            for name in GUESSED_LIQUIDS
        )


AIR = LiquidSpec(name="air")
GUESSED_LIQUIDS = ("unknown liquid", "mercury")


def knowledge_from_picture(
    scale: ScaleSpec, axis_to_scale_m: float | None = None
) -> Knowledge:
    """State what a picture without instrument file leaves to assume."""
    instrument = Instrument(
        name="not given",
        arrangement="single-limb",
        tapped_limb=None,
        scale=scale,
        tube=TubeSpec(axis_to_scale_m=axis_to_scale_m),
        liquids=_liquids(GUESSED_LIQUIDS[0]),
        tapping=TappingSpec(),
        reference=ReferenceSpec(),
        cistern=CisternSpec(),
        site=SiteSpec(),
        limits=LimitsSpec(),
        path="",
    )
    return replace(knowledge_of(instrument), limb_count=None, from_picture=True)


def with_limbs(
    known: Knowledge, count: int, outside_diameter_m: float, *, before_lines: bool = False
) -> Knowledge:
    """Settle the number and width of the limbs found in the picture, and whether they stand
    before the graduations."""
    arrangement: ArrangementName = (
        "single-limb" if count == 1 else "u-tube" if count == 2 else "bank"
    )
    instrument = replace(
        known.instrument,
        arrangement=arrangement,
        tube=replace(known.instrument.tube, outside_diameter_m=outside_diameter_m),
    )
    tube = _tube(instrument)
    u_bore = float(np.hypot(U_BORE_SHARE, DEFAULT_BORE_SHARE * U_SEEN_WIDTH))
    tube = replace(tube, u_bore_radius_m=u_bore * tube.outer_radius_m)
    if before_lines and instrument.tube.axis_to_scale_m is None:
        tube = _before_board(tube)
    return replace(known, instrument=instrument, tube=tube, limb_count=count)


def _before_board(tube: TubeGeometry) -> TubeGeometry:
    """Place a tube before the board that bears the graduations, or as ever if that is none."""
    depth_m = tube.outer_radius_m + GAP_BEFORE_LINES_M
    parts = (
        U_GAP_BEFORE_LINES_M,
        U_SEEN_WIDTH * tube.outer_radius_m,
        np.sqrt(MISTAKEN_FACE) * U_DEFAULT_AXIS_TO_SCALE_M,
        np.sqrt(MISTAKEN_FACE) * (depth_m - DEFAULT_AXIS_TO_SCALE_M),
    )
    u_depth_m = float(np.sqrt(np.sum(np.square(parts))))
    return replace(tube, axis_to_scale_m=depth_m, u_axis_to_scale_m=u_depth_m)


def _liquids(name: str) -> LiquidsSpec:
    return LiquidsSpec(manometric=LiquidSpec(name=name), process=AIR)


def knowledge_of(instrument: Instrument) -> Knowledge:
    """Fill in what the file leaves out."""
    counts = {"single-limb": 1, "cistern": 1, "inclined": 1, "bank": None}
    return Knowledge(
        instrument=instrument,
        unit_m=_unit_m(instrument),
        tube=_tube(instrument),
        limb_count=counts.get(instrument.arrangement, 2),
    )


def _unit_m(instrument: Instrument) -> float:
    """Length of one scale unit; a scale in pressure counts columns of its own liquid."""
    scale = instrument.scale
    if scale.unit_m is not None:
        return scale.unit_m
    manometric = instrument.liquids.manometric
    density = _density(manometric) or liquid_optics(manometric.name).density_kg_m3
    assert scale.unit_pa is not None
    return scale.unit_pa / (density * STANDARD_GRAVITY_M_S2)


def _tube(instrument: Instrument) -> TubeGeometry:
    spec = instrument.tube
    outside = spec.outside_diameter_m
    bore, u_bore = spec.bore_m, U_GIVEN_LENGTH_M
    if outside is None:
        outside = bore / DEFAULT_BORE_SHARE if bore else DEFAULT_OUTSIDE_DIAMETER_M
    if bore is None:
        bore, u_bore = DEFAULT_BORE_SHARE * outside, U_BORE_SHARE * outside
    depth, u_depth = spec.axis_to_scale_m, U_GIVEN_AXIS_TO_SCALE_M
    if depth is None:
        depth, u_depth = DEFAULT_AXIS_TO_SCALE_M, U_DEFAULT_AXIS_TO_SCALE_M
    return TubeGeometry(
        bore_radius_m=bore / 2,
        u_bore_radius_m=u_bore / 2,
        outer_radius_m=outside / 2,
        axis_to_scale_m=depth,
        u_axis_to_scale_m=u_depth,
    )


def _density(liquid: LiquidSpec) -> float | None:
    if liquid.density_kg_m3 is not None:
        return liquid.density_kg_m3
    if liquid.specific_gravity is not None:
        return liquid.specific_gravity * WATER_DENSITY_KG_M3
    return None
