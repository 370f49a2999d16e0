"""Lamps and rooms that a level reflects, and what columns beside the axis say of it then.

A lamp draws a streak along the tube, mercury mirrors the room, and so does a level between
liquids that bends light back. Beside the axis they lie elsewhere or not at all.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.level_columns import (
    ASIDE,
    BESIDE_SHARE,
    SEEN_SHARE,
    band_at,
    columns_about,
)
from limbsight.calib.level_fits import ROOT3, agree, is_spoilt, mean_of, mean_of_all, widened
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.meniscus import COVERAGE_FACTOR, ApexFit
from limbsight.calib.meniscus_surroundings import is_gas

LAMP_HEIGHT = 0.05
"""Bores over which a level is brighter than its liquids where it mirrors a lamp: a fifth of
its own height, more than the halo of a sharpened edge."""
STREAK = 0.1
"""Brighter than most of the bore by so much of its brightness, in all colours: three times
what the model may miss."""


def mirrors_room(here: LevelStrip, found: FoundApex) -> bool:
    """Whether a level throws light back, so that it shows what is before the tube."""
    return here.below.opaque_mirror or _shows_lamp(here, found)


def _shows_lamp(here: LevelStrip, found: FoundApex) -> bool:
    """Whether a level between liquids is brighter, in some colour, than both of them are.

    They only take light from the board: what is added is a lamp's, thrown back where the
    lower liquid bends light less than the upper one.
    """
    if is_gas(here.above) or not found.has_place:
        return False
    bore, row = here.bore_rows, found.apex_row
    across = np.median(here.strip[:, here.on_axis.columns], axis=1)

    def rows(first: float, last: float) -> NDArray[np.float32]:
        low, high = (max(round(row + bores * bore), 0) for bores in (first, last))
        return across[low : high + 1]

    above, level, below = rows(-1.2, -0.7), rows(-0.6, 0.4), rows(0.5, 1.0)
    count = max(round(LAMP_HEIGHT * bore), 2)
    if min(len(above), len(level) - count, len(below)) < 1:
        return False
    liquids = np.maximum(np.median(above, axis=0), np.median(below, axis=0))
    shown = np.sort(level, axis=0)[-count]
    return bool(np.max(shown - liquids) > STREAK * liquids.max())


def clear_of_streaks(
    strip: NDArray[np.float32], axis: float, row: float, bore_rows: float
) -> float:
    """How far from the axis there is no reflection of a lamp [columns]; 0 if there is none
    at the axis, or one everywhere.

    A streak is brighter than most of the bore, over most of the rows above or below.
    """
    radius, middle = 0.5 * bore_rows, round(row)
    cut = strip[max(middle - round(bore_rows), 0) : middle + round(bore_rows)]
    if len(cut) < bore_rows:
        return 0.0
    most = np.median(cut[:, columns_about(axis, SEEN_SHARE * radius)], axis=1)
    level = max(float(np.median(most)), 1e-6)

    def streak(aside: float) -> float:
        over = np.median(cut[:, band_at(axis, bore_rows, aside).columns], axis=1) - most
        parts = np.array_split(over.min(axis=1), 2)
        return max(float(np.median(part)) for part in parts) / level

    places = ASIDE * radius * np.array([0.0, -1.0, 1.0])
    found = np.array([streak(float(place)) for place in places])
    if found[0] < STREAK or found.min() > 0.5 * found[0]:
        return 0.0
    return float(places[found.argmin()])


def with_both_sides(here: LevelStrip, found: FoundApex, *, streak: bool) -> FoundApex:
    """Let fits left and right of the axis have their say, where a level mirrors the room.

    Beside the axis a dome shows the room in other directions, and lamps and windows that can
    be taken for its crown or hide it lie elsewhere or not at all.  Those fits must be free to
    find what the axis has missed.
    """
    sides = here.side_fits(found.apex_row, here.first_reach)
    if streak and not any(side.ok for side in sides):
        # The reflection may have been fitted.
        return replace(found, fit=replace(found.fit, ok=False, reason=sides[0].reason))
    return _averaged(found, [side for side in sides if np.isfinite(side.position_px)])


def by_both_sides(here: LevelStrip, found: FoundApex) -> FoundApex:
    """Let fits left and right of the axis show the level of a mirror that the axis hides.

    There mercury shows the room behind the camera, which may be as bright as the board, or a
    lamp; aside, other parts of the room.
    """
    sides = here.side_fits(found.apex_row, here.first_reach)
    return _averaged(found, sides) if agree(*sides) else found


def in_stead_of_axis(here: LevelStrip, found: FoundApex, expected: float) -> FoundApex:
    """Let fits left and right of the axis show a level under gas or liquid that something on
    the axis spoils, if both see it at one height about the row ``expected``.

    What the fit on the axis makes of a streak or a drop says nothing then.  Where grain or
    dirt spoils all three, a level between liquids is where they all find it; one under gas
    has its dark line for that.
    """
    u_beside = BESIDE_SHARE * here.bore_rows
    fits, band = here.side_fits(expected, here.first_reach), here.side(-1)
    if not agree(*fits):
        on_axis = replace(found.fit, position_px=expected - found.apex_row)
        fits, band = [on_axis, *fits], here.on_axis
        if is_gas(here.above) or not _find_one_place(fits, u_beside):
            return found
    fit = widened(mean_of_all(fits), "beside the axis", ROOT3 * u_beside)
    return replace(found, row=expected, fit=fit, band=band)


def _find_one_place(fits: list[ApexFit], u_beside_px: float) -> bool:
    """Whether fits that may be spoilt differ no more than menisci do beside the axis."""
    apart = float(np.ptp([fit.position_px for fit in fits]))
    return apart <= COVERAGE_FACTOR * u_beside_px and all(
        fit.is_likely or is_spoilt(fit) for fit in fits
    )


def with_reflection(fit: ApexFit, other: ApexFit) -> ApexFit:
    """Widen a fit through a reflection by how far one beside it, begun there, differs.

    Which of them is right is not known: rectangular, the difference its half width.  Beside
    the axis the picture is traced less exactly, so its position is not taken over.  Where
    nothing like a meniscus is seen beside it, the reflection may have been fitted.
    """
    if not other.ok:
        return replace(fit, ok=False, reason=other.reason)
    return widened(fit, "reflection", other.position_px)


def _averaged(found: FoundApex, sides: list[ApexFit]) -> FoundApex:
    """Take the mean with fits begun there, and keep what the columns say by themselves."""
    fit = mean_of(found.fit, sides)
    return replace(found, fit=fit, moved_px=fit.position_px - found.fit.position_px)
