"""Arrangements: which chain of legs an instrument makes.

An arrangement is data (which limbs have levels, which has a reservoir) and one small
function from a ``Plan`` to its two ``Limb``s. Adding one: write that function, put it into
``ARRANGEMENTS``, and where a level is not seen but follows from the one that is, give a
function for it in ``Arrangement.derived``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from limbsight.errors import InputError
from limbsight.reduce.elementary import Number
from limbsight.reduce.legs import Leg

TAPPING = "tapping"
DATUM = "datum"
"""Where the reference pressure holds: the open air at the tapping's height, or the second
tapping."""
RESERVOIR = "cistern"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limb:
    """One way up from the bend: its levels, and the fluid beyond each of them."""

    name: str
    points: tuple[str, ...]
    layers: tuple[str, ...]
    end: str


def point_name(limb: str, number: int, count: int) -> str:
    """Name of a limb's level, counted from the bend: the limb's own if it is the only one."""
    return limb if count == 1 else f"{limb} {number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What an arrangement needs to know to lay its chain."""

    tapped: str
    reference: str
    levels: Mapping[str, int]
    """Number of levels seen in each limb."""
    seals: tuple[str, ...]
    process: str
    beyond: str
    """Fluid between the reference limb's last level and the reference."""

    def limb(self, name: str, outermost: str, end: str) -> Limb:
        """Limb whose levels are seen: manometric liquid, seals, then ``outermost``.

        Raises
        ------
        InputError
            If its levels do not fit the seal liquids.
        """
        seen, wanted = self.levels.get(name, 0), len(self.seals) + 1
        if seen != wanted:
            raise InputError(
                f"limb {name}: {seen} level(s) given, the liquids of the instrument file "
                f"make {wanted}; read every interface, bottom to top, or mend [liquids]"
            )
        points = tuple(point_name(name, i, seen) for i in range(1, seen + 1))
        return Limb(name=name, points=points, layers=(*self.seals, outermost), end=end)

    def reservoir(self, outermost: str, end: str) -> Limb:
        """Limb whose one level is derived or given."""
        return Limb(name=RESERVOIR, points=(RESERVOIR,), layers=(outermost,), end=end)


Derived = Callable[
    [
        tuple[Limb, Limb],
        Mapping[str, Number],
        Mapping[str, Number],
        Callable[[Number], Number],
    ],
    dict[str, Number],
]
"""Heights of levels that are not seen, from the limbs, the lengths along the tube of those
that are, the inputs, and the function that makes a height of a length."""


def nothing_derived(
    limbs: tuple[Limb, Limb],
    lengths: Mapping[str, Number],
    q: Mapping[str, Number],
    height: Callable[[Number], Number],
) -> dict[str, Number]:
    """Every level is seen."""
    return {}


def one_reservoir(
    limbs: tuple[Limb, Limb],
    lengths: Mapping[str, Number],
    q: Mapping[str, Number],
    height: Callable[[Number], Number],
) -> dict[str, Number]:
    """Level of a reservoir: given, or it has lost what the tube gained, by the areas."""
    if "cistern level" in q:
        return {RESERVOIR: height(q["cistern level"])}
    if "zero" not in q:
        return {}
    (tube,) = (limb.points[0] for limb in limbs if limb.points[0] in lengths)
    return {RESERVOIR: height(q["zero"]) - q["ratio"] * (lengths[tube] - q["zero"])}


def two_reservoirs(
    limbs: tuple[Limb, Limb],
    lengths: Mapping[str, Number],
    q: Mapping[str, Number],
    height: Callable[[Number], Number],
) -> dict[str, Number]:
    """Two-liquid micromanometer: each reservoir moves with the interface, by the areas.

    Both are put at the height of the zero: only their difference from it matters, as the
    liquids balance at zero. A limb without an interface moves against the other.
    """
    moved = {
        limb.name: lengths[limb.points[0]] - q["zero"]
        for limb in limbs
        if limb.points[0] in lengths
    }
    levels = {}
    for limb, other in (limbs, limbs[::-1]):
        move = moved[limb.name] if limb.name in moved else -moved[other.name]
        levels[limb.points[-1]] = height(q["zero"]) + q["ratio"] * move
    return levels


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """One arrangement: how its limbs are laid out, and what is not seen of them."""

    limbs: Callable[[Plan], tuple[Limb, Limb]]
    """The tapped and the reference limb."""
    derived: Derived = nothing_derived
    from_top: bool = False
    """Levels count from the bend, and the bend is on top."""
    zeroed: bool = False
    """The scale's zero was set in this tube, so its own capillarity is in it."""


def two_limbs(plan: Plan) -> tuple[Limb, Limb]:
    """U-tube, upright or inverted, open or between two tappings."""
    return (
        plan.limb(plan.tapped, plan.process, TAPPING),
        plan.limb(plan.reference, plan.beyond, DATUM),
    )


def one_limb(plan: Plan) -> tuple[Limb, Limb]:
    """Piezometer: the manometric liquid itself stands from the tapping to the level."""
    bottom = Limb(name=plan.tapped, points=(), layers=(), end=TAPPING)
    return bottom, plan.limb(plan.reference, plan.beyond, DATUM)


def tube_and_reservoir(plan: Plan) -> tuple[Limb, Limb]:
    """Cistern, inclined tube, barometer: one limb seen, the other a reservoir."""
    if plan.tapped == RESERVOIR:
        return (
            plan.reservoir(plan.process, TAPPING),
            plan.limb(plan.reference, plan.beyond, DATUM),
        )
    return plan.limb(plan.tapped, plan.process, TAPPING), plan.reservoir(plan.beyond, DATUM)


def bank_tube(plan: Plan) -> tuple[Limb, Limb]:
    """One tube of a bank against an open tube of it, or against the common reservoir."""
    tapped = plan.limb(plan.tapped, plan.process, TAPPING)
    if plan.reference == RESERVOIR:
        return tapped, plan.reservoir(plan.beyond, DATUM)
    return tapped, plan.limb(plan.reference, plan.beyond, DATUM)


def interface_and_reservoirs(plan: Plan) -> tuple[Limb, Limb]:
    """Two-liquid micromanometer: the lighter (seal) liquid over an interface, wide ends."""
    if len(plan.seals) != 1:
        raise InputError("a micromanometer needs one lighter liquid under [liquids] seal")

    def side(name: str, outermost: str, end: str) -> Limb:
        wide = f"{name} reservoir"
        if plan.levels.get(name, 0) == 0:
            return Limb(name=name, points=(wide,), layers=(outermost,), end=end)
        seen = replace(plan, seals=()).limb(name, outermost, end)
        return replace(seen, points=(*seen.points, wide), layers=(*plan.seals, outermost))

    if not any(plan.levels.values()):
        raise InputError("a micromanometer needs the interface of at least one limb")
    return (
        side(plan.tapped, plan.process, TAPPING),
        side(plan.reference, plan.beyond, DATUM),
    )


ARRANGEMENTS: dict[str, Arrangement] = {
    "u-tube": Arrangement(limbs=two_limbs),
    "inverted-u-tube": Arrangement(limbs=two_limbs, from_top=True),
    "single-limb": Arrangement(limbs=one_limb),
    "cistern": Arrangement(limbs=tube_and_reservoir, derived=one_reservoir, zeroed=True),
    "inclined": Arrangement(limbs=tube_and_reservoir, derived=one_reservoir, zeroed=True),
    "barometer": Arrangement(limbs=tube_and_reservoir, derived=one_reservoir),
    "bank": Arrangement(limbs=bank_tube, derived=one_reservoir),
    "micromanometer": Arrangement(
        limbs=interface_and_reservoirs, derived=two_reservoirs, zeroed=True
    ),
}


def chain(tapped: Limb, reference: Limb, manometric: str) -> tuple[Leg, ...]:
    """Lay the legs from the tapping, through the bend, to the reference."""
    inward = (tapped.end, *reversed(tapped.points))
    outward = (*reference.points, reference.end)
    legs = [
        Leg(fluid=fluid, start=start, end=end, limb=tapped.name)
        for fluid, (start, end) in zip(reversed(tapped.layers), pairwise(inward), strict=True)
    ]
    legs.append(Leg(fluid=manometric, start=inward[-1], end=outward[0], limb=reference.name))
    legs += [
        Leg(fluid=fluid, start=start, end=end, limb=reference.name)
        for fluid, (start, end) in zip(reference.layers, pairwise(outward), strict=True)
    ]
    return tuple(legs)
