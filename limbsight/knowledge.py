"""What an instrument file tells the eye: sizes with defaults, limbs, fillings, their optics.

Every default is stated here with what it costs in uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

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
from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics, TubeGeometry
from limbsight.liquid_optics import (
    fluid_optics,
    interface_physics,
    is_gas,
    is_watery,
    liquid_optics,
)
from limbsight.plain_numbers import unit_length_m
from limbsight.reduce.constants import default
from limbsight.walls import PLASTIC, Wetting, wetting_of

WATER_DENSITY_KG_M3 = 998.2
DEFAULT_OUTSIDE_DIAMETER_M = 9e-3
"""Middle of the usual 6 mm to 12 mm glass tubing (common practice, no source)."""
LEAST_WALL_M, WALL_SHARE, U_WALL = 0.8e-3, 0.04, 0.3
"""Wall of glass tubing, 1.0 mm at 6 mm outside diameter and 1.4 mm at 16 mm (standard
laboratory tubing, from memory); relative standard uncertainty, for light and heavy walls, 0.6
to 2 mm. On 304 sample and drawn photos walls so taken put the bore 0.3 mm (standard deviation;
of benches, with capillaries among them, 0.5) from the true one, a constant share of the
diameter 0.35 (0.7)."""
MOST_WALL_SHARE = 0.25
"""Of the outside diameter, in narrower tubing than that (common practice, no source)."""
U_SEEN_WIDTH = 0.1
"""Relative standard uncertainty of an outside diameter that the picture tells: standard
deviation 0.10 on 40 sample photos and 25 drawn ones of schools, 0.07 on 113 other drawn ones,
95 % within 0.20, 0.27 and 0.11; none trained on."""
U_GIVEN_LENGTH_M = 0.1e-3
"""Standard uncertainty of a tube dimension in the file: callipers, tubing tolerance."""
DEFAULT_AXIS_TO_SCALE_M = 5e-3
U_DEFAULT_AXIS_TO_SCALE_M = 2.9e-3
"""Depth unknown, with a file: rectangular from 0 (in the plane of the scale) to 10 mm."""
U_GIVEN_AXIS_TO_SCALE_M = 0.2e-3
GAP_BEFORE_BOARD_M, U_GAP_BEFORE_BOARD_M = 2.5e-3, 1.44e-3
"""Between a tube and the board behind it: rectangular from 0 (it rests on the board) to 5 mm,
the length of usual clips (common practice, no source)."""
LET_IN = 0.1
"""Share of tubes that are let into the board instead, in a groove up to a radius deep
(common practice, no source): 155 of 1102 path-traced photos, none of 84 others. Where
it was left out 40 of 55 levels in such tubes, before the board that bears the graduations,
were in their interval, of 589 in others 552."""
MISTAKEN_FACE = 0.02
"""Share of the boards seen behind tubes that are strips beside them after all: 4 of 220 (40
traced, 320 drawn photos and 48 of benches)."""
UNSEEN_FACE = 0.15
"""Share of boards that bear the graduations where none is seen to go on behind the tubes: 47
of 319 (the same and as many again)."""


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
        unwetted = self.wetting if is_watery(below.name) else None
        if self.is_between_liquids(limb, k):
            # A wall that water does not wet is wetted by the oil above it.
            if not (self.upper_wets or unwetted):
                return physics
            return replace(physics, contact_angle_rad=np.pi - physics.contact_angle_rad)
        if below.contact_angle_rad is not None:
            u_rad = math.radians(default("own_contact_angle_standard_uncertainty_deg"))
            return _meeting(physics, below.contact_angle_rad, u_rad)
        if unwetted:
            return _meeting(physics, unwetted.contact_angle_rad, unwetted.u_rad)
        return physics

    @property
    def wetting(self) -> Wetting | None:
        """Of walls that water does not wet; None of others."""
        return wetting_of(self.instrument)

    @property
    def wall_told(self) -> bool:
        """Whether it is settled what the walls are."""
        return self.instrument.tube.material is not None

    def of_wall(self, material: str) -> Knowledge:
        """This with tubes of a material."""
        tube = replace(self.instrument.tube, material=material)
        return replace(self, instrument=replace(self.instrument, tube=tube))

    def of_plastic(self) -> Knowledge:
        """This with tubes of plastic; of a liquid that nobody named that says it is watery."""
        return _named(self, UNKNOWN, WATERY).of_wall(PLASTIC)

    def if_unwetted(self, limb: str, k: int) -> MeniscusPhysics | None:
        """The meniscus between filling k and the gas above in a tube of plastic; None where
        that would be no other, or it is settled what the walls are."""
        if self.wall_told or not is_gas(self.filling(limb, k + 1)):
            return None
        other = self.of_plastic().interface(limb, k)
        return None if other == self.interface(limb, k) else other

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
UNKNOWN = "unknown liquid"
GUESSED_LIQUIDS = (UNKNOWN, "mercury")
WATERY = "unknown water-based liquid"
"""By this word ``limbsight.liquid_optics`` takes it for water."""


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
    known: Knowledge,
    count: int,
    outside_diameter_m: float,
    *,
    before_lines: bool | None = None,
) -> Knowledge:
    """Settle the number and width of the limbs found in the picture, and whether they stand
    before the graduations: None where that was not looked for yet."""
    arrangement: ArrangementName = (
        "single-limb" if count == 1 else "u-tube" if count == 2 else "bank"
    )
    instrument = replace(
        known.instrument,
        arrangement=arrangement,
        tube=replace(known.instrument.tube, outside_diameter_m=outside_diameter_m),
    )
    tube = _tube(instrument)
    u_bore_m = float(np.hypot(tube.u_bore_radius_m, U_SEEN_WIDTH * tube.bore_radius_m))
    tube = replace(tube, u_bore_radius_m=u_bore_m)
    if before_lines is not None and instrument.tube.axis_to_scale_m is None:
        board, own = _before_board(tube.outer_radius_m), _before_own_face(tube.outer_radius_m)
        depth_m, u_depth_m = (
            _either(board, own, MISTAKEN_FACE)
            if before_lines
            else _either(own, board, UNSEEN_FACE)
        )
        tube = replace(tube, axis_to_scale_m=depth_m, u_axis_to_scale_m=u_depth_m)
    return replace(known, instrument=instrument, tube=tube, limb_count=count)


def _before_board(outer_radius_m: float) -> tuple[float, float]:
    """Depth of a tube before the board that bears the graduations, with its uncertainty.

    Let into it, it has its axis between the face and a radius before that, rectangular.
    """
    let_in = (outer_radius_m / 2, outer_radius_m / np.sqrt(12.0))
    return _either(_resting_on_board(outer_radius_m), let_in, LET_IN)


def _resting_on_board(outer_radius_m: float) -> tuple[float, float]:
    u_m = float(np.hypot(U_GAP_BEFORE_BOARD_M, U_SEEN_WIDTH * outer_radius_m))
    return outer_radius_m + GAP_BEFORE_BOARD_M, u_m


def _before_own_face(outer_radius_m: float) -> tuple[float, float]:
    """The same before a stick, rule or plate on that board.

    Its face may be anywhere from the board (a sheet of paper) to the plane of the axes, and
    rectangular over what the gap leaves. Of tubes that are let in it is as near to that plane
    on either side, half a radius at most.
    """
    board_m, u_board_m = _resting_on_board(outer_radius_m)
    mean_square = (board_m**2 + u_board_m**2) / 3
    before = (board_m / 2, float(np.sqrt(mean_square - (board_m / 2) ** 2)))
    return _either(before, (0.0, outer_radius_m / np.sqrt(12.0)), LET_IN)


def _either(
    likely: tuple[float, float], other: tuple[float, float], share: float
) -> tuple[float, float]:
    """Mean and standard uncertainty of what is the other with a probability of ``share``."""
    mean = (1 - share) * likely[0] + share * other[0]
    apart = share * (1 - share) * (likely[0] - other[0]) ** 2
    variance = (1 - share) * likely[1] ** 2 + share * other[1] ** 2 + apart
    return mean, float(np.sqrt(variance))


def _named(known: Knowledge, before: str, name: str) -> Knowledge:
    """That with another name for the manometric liquid, if it has the one before."""
    liquids = known.instrument.liquids
    if liquids.manometric.name != before:
        return known
    liquids = replace(liquids, manometric=replace(liquids.manometric, name=name))
    return replace(known, instrument=replace(known.instrument, liquids=liquids))


def _meeting(physics: MeniscusPhysics, angle_rad: float, u_rad: float) -> MeniscusPhysics:
    """A meniscus that meets the wall at an angle."""
    return replace(physics, contact_angle_rad=angle_rad, u_contact_angle_rad=u_rad)


def _liquids(name: str) -> LiquidsSpec:
    return LiquidsSpec(manometric=LiquidSpec(name=name), process=AIR)


def knowledge_of(instrument: Instrument) -> Knowledge:
    """Fill in what the file leaves out."""
    counts = {"single-limb": 1, "cistern": 1, "inclined": 1, "bank": None}
    return Knowledge(
        instrument=instrument,
        unit_m=unit_length_m(instrument),
        tube=_tube(instrument),
        limb_count=counts.get(instrument.arrangement, 2),
    )


def _tube(instrument: Instrument) -> TubeGeometry:
    spec = instrument.tube
    outside = spec.outside_diameter_m
    bore, u_bore = spec.bore_m, U_GIVEN_LENGTH_M
    if outside is None:
        outside = _outside_m(bore) if bore else DEFAULT_OUTSIDE_DIAMETER_M
    if bore is None:
        wall = _wall_m(outside)
        bore, u_bore = outside - 2 * wall, 2 * U_WALL * wall
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


def _wall_m(outside_m: float) -> float:
    return min(LEAST_WALL_M + WALL_SHARE * outside_m, MOST_WALL_SHARE * outside_m)


def _outside_m(bore_m: float) -> float:
    """Outside diameter of usual tubing of that bore."""
    usual = (bore_m + 2 * LEAST_WALL_M) / (1 - 2 * WALL_SHARE)
    return min(usual, bore_m / (1 - 2 * MOST_WALL_SHARE))


def _density(liquid: LiquidSpec) -> float | None:
    if liquid.density_kg_m3 is not None:
        return liquid.density_kg_m3
    if liquid.specific_gravity is not None:
        return liquid.specific_gravity * WATER_DENSITY_KG_M3
    return None
