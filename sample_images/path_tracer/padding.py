"""Finishes rounded to few values and padded to one set, so that scenes differ in data alone.

The renderer compiles constants of surfaces, and how many there are of each kind, into its
kernel. Compiling takes many times as long as a photograph; with the same constants and
counts in every scene one kernel serves all of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from sample_images.path_tracer.materials import MATT, METAL, PLASTIC
from sample_images.path_tracer.stage import Clear, Coat, Finish

ROUGHNESSES = (0.06, 0.12, 0.2, 0.35)
SMOOTHEST = 0.01
GLASSES, FLUIDS = (1.473, 1.52), (1.0, 1.333, 1.43, 1.44, 1.47)
INDEX_PAIRS = (
    *((glass, 1.0) for glass in GLASSES),
    *((fluid, glass) for glass in GLASSES for fluid in FLUIDS),
    *((fluid, 1.0) for fluid in FLUIDS[1:]),
    (1.333, 1.44),
    (1.333, 1.47),
    (1.43, 1.47),
)
"""Every boundary of two clear media that instruments have."""

CLEAR, MIRROR, CUTOUT = "dielectric", "conductor", "mask"
COUNTS = {CLEAR: 40, PLASTIC: 30, METAL: 24, MATT: 8, CUTOUT: 5, MIRROR: 5}
"""How many finishes of each kind a scene has after padding; more than any needs."""
PARTS = 260
LIQUIDS = 5

GREY = np.full((1, 1, 3), 128, np.uint8)
WHOLE = np.full((1, 1), 255, np.uint8)
STANDARD, SPARE = "standard", "spare"


def kind_of(finish: Finish) -> str:
    """The renderer's name for the kind of a finish."""
    if isinstance(finish, Clear):
        return CLEAR
    return finish.kind if finish.cutout is None else CUTOUT


def rounded(finish: Finish) -> Finish:
    """The finish with the nearest roughness that there is."""
    if isinstance(finish, Clear):
        return finish
    roughness = max(finish.roughness, SMOOTHEST)
    nearest = min(ROUGHNESSES, key=lambda r: abs(math.log(r / roughness)))
    return replace(finish, roughness=nearest)


def standard_finishes() -> list[Finish]:
    """One finish for each constant that may be compiled in."""
    coats = [Coat(k, GREY, r) for k in (METAL, PLASTIC) for r in ROUGHNESSES]
    others = [Coat(MIRROR, GREY), Coat(MATT, GREY), Coat(MATT, GREY, cutout=WHOLE)]
    return [*(Clear(*pair) for pair in INDEX_PAIRS), *coats, *others]


def standard_names() -> list[str]:
    return [f"{STANDARD}{i}" for i in range(len(standard_finishes()))]


def padded(finishes: Mapping[str, Finish]) -> dict[str, Finish]:
    """A scene's finishes, the standard ones, and spare ones, in the order of their kinds."""
    standard = standard_finishes()
    named = dict(finishes) | dict(zip(standard_names(), standard, strict=True))
    for kind, count in COUNTS.items():
        some = next(finish for finish in standard if kind_of(finish) == kind)
        missing = count - sum(kind_of(finish) == kind for finish in named.values())
        named |= {f"{SPARE}_{kind}{i}": some for i in range(missing)}
    return dict(_in_order(named))


def _in_order(named: Mapping[str, Finish]) -> Iterator[tuple[str, Finish]]:
    order = list(COUNTS)

    def place(item: tuple[str, Finish]) -> tuple[int, float]:
        name, finish = item
        kind = order.index(kind_of(finish))
        if isinstance(finish, Coat) and name.startswith(STANDARD):
            return kind, finish.roughness
        return kind, -1.0

    yield from sorted(named.items(), key=place)
