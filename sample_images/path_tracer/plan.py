"""The instrument before anything is put up: what it is, its tubes, its sizes.

Millimetres; x to the right, y up the tubes from the lower edge of the board, z out of its
face. Ranges are our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sample_images.path_tracer import graduation
from sample_images.path_tracer.draws import Rng, chance, log_uniform, pick
from sample_images.path_tracer.graduation import Graduation
from sample_images.path_tracer.kinds import is_negative

BARE_BOARDS = ("utube_behind", "bank")
"""Kinds whose lines run behind the tubes, over the board itself."""

LONGEST_PX, WIDEST_PX = 7000, 3200
"""Largest picture of a board: a quarter of a gigabyte while it is printed."""
GROOVE_FOOT_MM = 20
"""Foot of tubes that would be bent but for their groove."""

FLUIDS: dict[str, tuple[str, ...]] = {
    "utube_clear": ("water", "water", "kerosene", "kerosene"),
    "inclined": ("oil_red", "oil_red", "oil_amber", "water_blue", "kerosene"),
    "utube_leg": ("water_blue", "water_green", "water_pink", "mercury", "water_teal"),
    "utube_seal": ("mercury", "water_blue", "water_green", "glycol"),
    "bank": (
        "water_blue",
        "water_green",
        "water",
        "water_pink",
        "oil_red",
        "water_teal",
    ),
}
"""What the kinds hold that do not hold just any liquid."""
ANY_FLUID = (
    "water_blue",
    "water_green",
    "water_green",
    "water_pink",
    "water_teal",
    "oil_red",
    "oil_red",
    "oil_amber",
    "oil_dark",
    "glycol",
)

PLAIN_OTHERWISE = ("neg_broken", "neg_outofrange", "neg_glare")
"""Negatives of instruments whose levels would be plain but for what makes them negative."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Sizes of an instrument.

    Attributes
    ----------
    cls, kind : str
        Class of the photograph; arrangement of the instrument, the same but for negatives.
    inner_mm, outer_mm : float
        Radii of the tubes.
    limbs_mm : tuple of float
        x of the limbs; ``apart_mm`` is from one to the next.
    bend : bool
        Whether the limbs are one bent tube; otherwise a block joins them below.
    foot_mm : float
        Height of the middle of the bend, or above which the tubes come out of the block.
    axis_mm : float
        z of the tubes' axes.
    groove : bool
        Whether the board is hollowed for the tubes.
    px_per_mm : float
        Resolution of what is printed.
    """

    cls: str
    kind: str
    fluid: str
    inner_mm: float
    outer_mm: float
    glass_index: float
    scale: Graduation
    limbs_mm: tuple[float, ...]
    apart_mm: float
    bend: bool
    foot_mm: float
    lowest_mm: float
    strip_mm: float
    board_width_mm: float
    board_height_mm: float
    groove: bool
    axis_mm: float
    px_per_mm: float

    @property
    def highest_mm(self) -> float:
        """Height of the scale's upper end."""
        return self.lowest_mm + self.scale.length_mm

    @property
    def half_width_mm(self) -> float:
        return self.board_width_mm / 2

    @property
    def bare(self) -> bool:
        return self.kind in BARE_BOARDS

    @property
    def scaleless(self) -> bool:
        """A board without instrument, for photographs that show none."""
        return self.cls == "neg_missing"


def draw(rng: Rng, cls: str, finest_px_per_mm: float) -> Plan:
    """An instrument for a class of photographs."""
    kind = _kind(rng, cls)
    fluid = _fluid(rng, kind)
    inner = _bore_radius(rng, kind)
    outer = inner + rng.uniform(0.8, 2.0)
    glass_index = pick(rng, 1.473, 1.473, 1.52)  # borosilicate, soda-lime; from memory
    scale = graduation.draw(rng, cls, kind, fluid)
    bank_limbs = int(rng.integers(4, 9))
    count = {"single": 1, "inclined": 1, "bank": bank_limbs}.get(kind, 2)
    bend = count == 2 and chance(rng, 0.55)
    strip = rng.uniform(16, 30)
    apart = _apart(rng, kind, outer, strip)
    limbs = tuple(apart * (i - (count - 1) / 2) for i in range(count))
    foot = apart / 2 + outer + rng.uniform(6, 14) if bend else rng.uniform(34, 56)
    above = rng.uniform(30, 60)
    lowest = foot + rng.uniform(10, 22)
    height = lowest + scale.length_mm + above
    width = (count - 1) * apart + 2 * outer + _beside(rng, kind, strip)
    groove = kind not in BARE_BOARDS and chance(rng, 0.18)
    axis = outer * rng.uniform(-0.1, 0.5) if groove else outer + log_uniform(rng, 0.3, 7)
    if groove and bend:  # grooves are straight
        bend, foot = False, GROOVE_FOOT_MM
    return Plan(
        cls=cls,
        kind=kind,
        fluid=fluid,
        inner_mm=inner,
        outer_mm=outer,
        glass_index=glass_index,
        scale=replace(scale, y_zero_mm=scale.zero_mm(lowest)),
        limbs_mm=limbs,
        apart_mm=apart,
        bend=bend,
        foot_mm=foot,
        lowest_mm=lowest,
        strip_mm=strip,
        board_width_mm=width,
        board_height_mm=height,
        groove=groove,
        axis_mm=axis,
        px_per_mm=min(finest_px_per_mm, LONGEST_PX / height, WIDEST_PX / width),
    )


def _kind(rng: Rng, cls: str) -> str:
    if not is_negative(cls):
        return cls
    kind = pick(
        rng,
        "utube_colour",
        "utube_colour",
        "utube_behind",
        "utube_mercury",
        "utube_clear",
        "single",
        "utube_twoscale",
    )
    if cls in PLAIN_OTHERWISE:
        kind = pick(rng, "utube_colour", "utube_colour", "utube_twoscale", "single")
    return kind


def _fluid(rng: Rng, kind: str) -> str:
    if kind == "utube_mercury":
        return "mercury"
    last = "oil_amber" if kind == "utube_colour" else "mercury"
    return pick(rng, *FLUIDS.get(kind, (*ANY_FLUID, last)))


def _bore_radius(rng: Rng, kind: str) -> float:
    if kind not in ("bank", "inclined", "utube_mercury"):
        return rng.uniform(1.5, 6.0)
    # All three are drawn: see draws.py.
    narrow = {
        "bank": rng.uniform(1.8, 4),
        "inclined": rng.uniform(1.5, 2.8),
        "utube_mercury": rng.uniform(1.8, 4.5),
    }
    return narrow[kind]


def _apart(rng: Rng, kind: str, outer: float, strip: float) -> float:
    """From one limb to the next."""
    if kind == "utube_behind":
        return rng.uniform(22, 60)
    if kind == "bank":
        return 2 * outer + rng.uniform(6, 20)
    if kind == "utube_twoscale":
        return 2 * outer + rng.uniform(8, 60)
    return 2 * outer + strip + rng.uniform(1.5, 10)


def _beside(rng: Rng, kind: str, strip: float) -> float:
    """How much wider the board is than the limbs."""
    # All are drawn: see draws.py.
    wider = {
        "utube_behind": rng.uniform(24, 50),
        "bank": rng.uniform(26, 50),
        "utube_twoscale": 2 * strip + rng.uniform(8, 24),
        "single": 2 * strip + rng.uniform(16, 50),
        "inclined": 2 * strip + rng.uniform(8, 30),
    }
    return wider.get(kind, rng.uniform(16, 50))
