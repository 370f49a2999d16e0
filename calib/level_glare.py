"""Levels at which the axis is burnt out: what columns beside glare say.

The lower edge of glare passes for a meniscus, but ends where the glare does; a level goes on
beside it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from limbsight.calib.level_columns import BESIDE_SHARE, SEEN_SHARE, Band, clear_band
from limbsight.calib.level_fits import ROOT3, is_spoilt, same_level, widened
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.meniscus import ApexFit
from limbsight.calib.meniscus_surroundings import is_gas
from limbsight.vision.clipping import burnt_heights
from limbsight.vision.dark_line import DarkLine, dark_line, stands_out

TRACED_SHARE = 0.9
"""Part of the bore in which a level can be fitted: of 58 levels under gas, seen in columns at
0.85 of the bore's radius, 56 look like a meniscus, 0.07 bores off the axis' fit at most."""
GLARE_REACH, GLARE_MIDDLE, GLARE_HEIGHT = 1.5, 1 / 3, 0.2
"""Glare within this many bores of a level, across this part of the bore, and together this
many bores high, may stand where the meniscus is: the meniscus is about as high. Of 120 photos
none that was read had so much; burnt spots drawn over menisci did (all but thin streaks)."""
GLARE_RIM, LEAST_RIM_PX = 0.05, 2
"""Beside what is burnt out a column is next to it for so many bores, and pixels, by which a
photo is blurred. Rims of spots that fade over a tenth of their width, not burnt out
themselves, were taken for levels in six of 450 photos with spots and streaks drawn beside
levels."""


def burnt_columns(
    linear: NDArray[np.float32], rows: tuple[float, float], bore_rows: float
) -> NDArray[np.bool_]:
    """Columns that are burnt out between two rows, as high as a meniscus or more."""
    return np.asarray(burnt_heights(linear, rows) >= GLARE_HEIGHT * bore_rows)


def beside_burnt(here: LevelStrip, found: FoundApex, expected: float) -> FoundApex:
    """Let columns beside what is burnt out bear the level out, or show it in its stead.

    They look about the row ``expected`` where the fit of what is burnt out, which goes
    anywhere, does not look like a meniscus.
    """
    beside = clear_band(burnt_with_rims(here), here.axis, here.bore_rows, TRACED_SHARE)
    # Few columns see what the rim of a spot leaves: they bear a fit out, no more.
    likely = found.fit.is_likely
    if beside is not None and found.has_place and (likely or _is_whole(here, beside)):
        begun = found.apex_row if likely else expected
        other = here.fit(begun, here.first_reach, beside)
        if likely:
            borne_out = _borne_out(here, found, other)
            if borne_out.clear_of_glare:
                return borne_out
        elif other.ok:
            seen = FoundApex(row=begun, fit=other, band=beside)
            in_its_stead = _in_its_stead(here, seen)
            if in_its_stead is not None:
                return in_its_stead
    return _next_to_burnt(here, found)


def dome_beside_burnt(here: LevelStrip, found: FoundApex) -> FoundApex:
    """Let columns beside what is burnt out bear the level of a mirror out.

    A column of mercury mirrors lamps up to its level, which burns it out by nature: columns
    next to that see the level as well, unless those farther off see another.  What a dome
    shows beside its axis is another part of the room: alone it is no witness.
    """
    bands = [
        clear_band(out, here.axis, here.bore_rows, SEEN_SHARE)
        for out in (here.burnt, burnt_with_rims(here))
    ]
    whole = [band for band in bands if band is not None and _is_whole(here, band)]
    if not whole or not found.fit.ok:
        return replace(found, clear_of_glare=False)
    others = [here.fit(found.apex_row, here.first_reach, band) for band in whole]
    borne_out = [_borne_out(here, found, other) for other in others]
    clear = borne_out[0].clear_of_glare and all(
        one.clear_of_glare or not other.ok
        for one, other in zip(borne_out, others, strict=True)
    )
    return replace(borne_out[0], clear_of_glare=clear)


def burnt_with_rims(here: LevelStrip) -> NDArray[np.bool_]:
    """Columns that are burnt out, and those next to them."""
    rim = max(round(GLARE_RIM * here.bore_rows), LEAST_RIM_PX)
    return np.asarray(binary_dilation(here.burnt, iterations=rim))


def _next_to_burnt(here: LevelStrip, found: FoundApex) -> FoundApex:
    """Let columns next to what is burnt out bear a level under gas out by its dark line.

    What is added there rises and falls as the rim of a spot does, and may pass for a meniscus;
    but light that is added makes nothing darker than what is above and below it.
    """
    row = found.apex_row
    seen = found.fit.is_likely and is_gas(here.above) and _shows_dark_line(here, row)
    next_to = clear_band(here.burnt, here.axis, here.bore_rows, TRACED_SHARE)
    if next_to is None or not seen:
        return replace(found, clear_of_glare=seen)
    other = here.fit(row, here.first_reach, next_to)
    return _borne_out(here, found, replace(other, ok=other.ok or is_spoilt(other)))


def _shows_dark_line(here: LevelStrip, row: float) -> bool:
    """Whether columns that are not burnt out show one, or those that are so above it only, or
    below it only: there gas or a clear liquid shows an overexposed board."""
    bore = here.bore_rows

    def line_at(bores: float, burnt: NDArray[np.bool_]) -> DarkLine | None:
        return dark_line(here.strip, row + bores * bore, bore, burnt=burnt)

    burnt_too = (here.burnt, *(_burnt_from(here, row, way) for way in (1, -1)))
    return any(stands_out(partial(line_at, burnt=burnt)) for burnt in burnt_too)


def _burnt_from(here: LevelStrip, row: float, way: int) -> NDArray[np.bool_]:
    """Columns that are burnt out at an apex, or below (1) or above (-1) it."""
    bore = here.bore_rows
    over_it = burnt_heights(here.strip, (row, row)) > 0
    first, last = sorted((row, row + way * GLARE_REACH * bore))
    return over_it | burnt_columns(here.strip, (first, last), bore)


def _borne_out(here: LevelStrip, found: FoundApex, other: ApexFit) -> FoundApex:
    """Widen a fit by what one beside glare differs, and say whether that is the same level."""
    return replace(
        found,
        fit=widened(found.fit, "reflection", other.position_px),
        clear_of_glare=same_level(found.fit, other, BESIDE_SHARE * here.bore_rows),
    )


def _is_whole(here: LevelStrip, band: Band) -> bool:
    """Whether a band has as many columns as the one on the axis."""
    return len(band.columns) >= len(here.on_axis.columns)


def _in_its_stead(here: LevelStrip, beside: FoundApex) -> FoundApex | None:
    """Take the level that columns beside glare show, where the axis shows none.

    They were searched about where the axis had something else, and the window may have cut
    the meniscus: about the level itself they must show it again.
    """
    again = here.fit(beside.apex_row, here.first_reach, beside.band)
    u_beside = BESIDE_SHARE * here.bore_rows
    if not (again.ok and same_level(beside.fit, again, u_beside)):
        return None
    off = here.u_axis_m / here.tube.bore_radius_m * beside.band.off(here.axis)
    return replace(
        beside,
        row=beside.apex_row,
        fit=_beside_glare(again, off, u_beside),
        clear_of_glare=True,
    )


def _beside_glare(other: ApexFit, u_axis_px: float, u_beside_px: float) -> ApexFit:
    """Take over a fit of columns beside glare, where nothing was seen through it.

    Where they lie on one side, a doubt about the axis moves them up or down the meniscus,
    which is at most as steep as a sphere as wide as the bore.
    """
    fit = widened(other, "axis beside glare", u_axis_px * ROOT3)
    return widened(fit, "beside glare", u_beside_px * ROOT3)
