"""Levels of mercury by the rim of the dome (`limbsight.calib.rim`).

What the dome mirrors may hide its apex or pass for it; the rim shows whatever lamps there are.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from limbsight.calib.level_fits import mean_of_all
from limbsight.calib.level_glare import burnt_with_rims
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.meniscus import COVERAGE_FACTOR
from limbsight.calib.rim import Rim, apex_from_rim, find_rim

LEAST_REACH_PX = 2.0
"""How far a fit may come from where a rim says the apex is."""


def rim_seen(here: LevelStrip, row: float) -> Rim | None:
    """Look for the rim in columns clear of glare, and where they are too few next to it, too:
    a column of mercury that mirrors a lamp is burnt out up to its rim by nature."""
    search = partial(
        find_rim,
        here.strip,
        row,
        here.view(row),
        here.interface,
        aside_rad=here.aside_rad,
    )
    rim = search(unseen=burnt_with_rims(here))
    return search(unseen=here.burnt) if rim is None and here.burnt.any() else rim


def apex_by_rim(here: LevelStrip, rim: Rim, *, alone: bool) -> FoundApex | None:
    """Mean of what the rim says and of fits on and beside the axis, begun there.

    Lamps in the dome draw fits to places which the rim rules out.  Where no band that glare
    leaves looks like a meniscus the rim stands ``alone``, or not at all.
    """
    row, seen = apex_from_rim(rim, here.view(rim.row), here.interface)
    unseen = burnt_with_rims(here)
    reach = max(COVERAGE_FACTOR * seen.u_px, LEAST_REACH_PX)
    bands = [here.side(way) for way in (0, -1, 1)]
    clear = [band for band in bands if not unseen[band.columns].any()]
    fits = [(here.fit(row, reach, band), band) for band in clear]
    likely = [(fit, band) for fit, band in fits if fit.ok]
    if not likely:
        found = FoundApex(row=row, fit=seen, band=here.on_axis, clear_of_glare=True)
        return found if alone else None
    (first, band), *rest = likely
    fit = mean_of_all([mean_of_all([first, *(fit for fit, _ in rest)]), seen])
    return FoundApex(
        row=row,
        fit=fit,
        band=band,
        clear_of_glare=True,
        moved_px=fit.position_px - first.position_px,
    )


def borne_out_by_rim(here: LevelStrip, rim: Rim, found: FoundApex) -> FoundApex:
    """Take the mean with what the rim says."""
    row, seen = apex_from_rim(rim, here.view(rim.row), here.interface)
    seen = replace(seen, position_px=found.row - row)
    fit = mean_of_all([found.fit, seen])
    moved = found.moved_px + fit.position_px - found.fit.position_px
    return replace(found, fit=fit, moved_px=moved)
