"""Tubes that lean against the scale: read along their axes, and what that says of plumb.

Tubes held by clamps beside a ruler, or a paper scale pasted on by hand, are seldom parallel to
a degree. The columns of the straightened board then follow the tubes, while rows stay those of
one scale value. Which of the two is plumb no photo tells: levels in two limbs, read square to
a scale that leans, differ by their distance times the lean, so the pressure allows for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from limbsight.calib.numbering import NamedScale
from limbsight.find_limbs import OF_WRONG_PLACES
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.read_limb import Limb, incline_of
from limbsight.reduce.constants import default
from limbsight.units import Given
from limbsight.vision.tube_lean import lean_of

MOST_TUBES = 3
"""So many of a bank tell how all of them lean."""


def lean_against_scale(limbs: Sequence[Limb], view: View, known: Knowledge) -> float:
    """Return how far tubes that stand move across for each unit up the scale; 0 if hardly."""
    if not limbs or incline_of(view, known) is not None:
        return 0.0
    apart = max((len(limbs) - 1) // (MOST_TUBES - 1), 1)
    return lean_of([limb.tube.clean for limb in limbs[::apart][:MOST_TUBES]])


def leaning(scale: NamedScale, lean: float) -> NamedScale:
    """The scale, whose uprights follow tubes that lean by so much."""
    if lean == 0.0:
        return scale
    return replace(scale, map=replace(scale.map, lean=scale.map.lean + lean))


def doubts_of_place(limbs: Sequence[Limb]) -> int:
    """Count the limbs that may not be where they were looked for."""
    codes = OF_WRONG_PLACES | {"limb_uncertain"}
    return sum(any(one.code in codes for one in limb.reasons) for limb in limbs)


def with_plumb_in_doubt(known: Knowledge, lean: float) -> Knowledge:
    """Let the scale be as far from plumb as tubes lean against it, unless a file says how far.

    Anything from none of the lean to all of it may be the scale's (rectangular), either way.
    """
    site = known.instrument.site
    if lean == 0.0 or site.plumb_rad is not None:
        return known
    usual = math.radians(default("plumb_standard_uncertainty_deg"))
    given = Given(
        value=0.0,
        standard_uncertainty=math.hypot(usual, math.atan(lean) / math.sqrt(3.0)),
    )
    instrument = replace(known.instrument, site=replace(site, plumb_rad=given))
    return replace(known, instrument=instrument)
