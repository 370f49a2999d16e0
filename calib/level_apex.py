"""Where the apex of one level is: a first fit on the axis, held against what else shows it.

Columns beside glare and reflections, the rim of mercury, the picture without lines and without
colours bear the fit out, move it, widen it or leave it in doubt.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from limbsight.calib.level_fits import settled, widened
from limbsight.calib.level_glare import beside_burnt, dome_beside_burnt
from limbsight.calib.level_reflections import (
    by_both_sides,
    clear_of_streaks,
    in_stead_of_axis,
    mirrors_room,
    with_both_sides,
    with_reflection,
)
from limbsight.calib.level_rim import apex_by_rim, borne_out_by_rim, rim_seen
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.meniscus import AMBIGUOUS, UNLIKE
from limbsight.vision.dark_line import dark_line

DOME_SHOWN, NO_DOME = 1.5, 1.0
"""Beside glare a column may be a sleeve of metal, whose end is no more than an edge.  Of 85
ends of sleeves and tape drawn over levels of mercury 79 differ from one by less than 1.5 times
the scatter, 48 by less than the scatter; of 120 levels 26 and four, all of them in small bores
or seen from below."""
WETTED_LINE = 0.8
"""The dark line of a deep bowl, which only a wetted wall makes: 13 of 22 levels of sample
photos have it, none of 110 in tubes of plastic (18 of them in photos of 12 megapixels), where
the darkest is 0.67.  A graduation behind the tube may be as dark."""
COARSE_COLOURS_BORE_PX, COLOURS_REACH_PX = 24.0, 3.0
"""A JPEG keeps colours of every second pixel.  In bores of fewer pixels the apex is fitted in
brightness alone, too, as far as colours may have moved it.  Of 154 levels of sample photos
made smaller 93 % were in their interval, 98 % with what the two differ by; of 125 in larger
bores all were."""


def find_apex(here: LevelStrip, row: float) -> FoundApex:
    """Find the apex; of a mirror from the rim of its dome, where that is seen."""
    rim = rim_seen(here, row) if here.below.opaque_mirror else None
    # Of the apex, not of the step of colour.
    expected = row
    if not here.apex_seen:
        expected -= here.search.apex_above_step * here.bore_rows
    if rim is None:
        return _compared(here, expected)
    glare = bool(here.burnt.any())
    if not glare or rim.beyond_edge >= DOME_SHOWN:
        by_rim = apex_by_rim(here, rim, alone=glare)
        if by_rim:
            return by_rim
    found = _compared(here, expected)
    if found.fit.ok:
        found = borne_out_by_rim(here, rim, found)
    if glare and rim.beyond_edge < NO_DOME:
        found = replace(found, clear_of_glare=False)
    return found


def _first_fit(here: LevelStrip, row: float) -> FoundApex:
    """Fit about the place expected; once more about the apex where that did not hold."""
    # Glare passes for a flatter or a deeper bowl.
    burnt = here.burnt[here.on_axis.columns].any()
    wetted = here.unwetted is not None and _shows_wetted(here, row)
    unwetted = None if burnt or wetted else here.unwetted
    fit = here.fit(row, here.first_reach, here.on_axis, unwetted=unwetted)
    for_wetting = math.inf if wetted else fit.for_wetting
    if not fit.ok and np.isfinite(fit.position_px):
        # The window was laid about a guess; about the apex itself the picture is clearer.
        # Rivals must stay in the search: none is disproved by not being looked at.
        row -= fit.position_px
        rivals = fit.reason == AMBIGUOUS
        fit = here.fit(row, here.first_reach if rivals else here.second_reach, here.on_axis)
    return FoundApex(row=row, fit=fit, band=here.on_axis, for_wetting=for_wetting)


def _shows_wetted(here: LevelStrip, row: float) -> bool:
    """Whether the dark line alone says that the liquid wets the wall."""
    if here.line_pitch_m:
        return False
    line = dark_line(here.strip, row, here.bore_rows, burnt=here.burnt)
    return line is not None and line.darkness >= WETTED_LINE


def _compared(here: LevelStrip, expected: float) -> FoundApex:
    """Hold a first fit against what other columns, and those without lines or colours, say."""
    found = _first_fit(here, expected)
    aside = clear_of_streaks(here.strip, here.axis, found.row, here.bore_rows)
    ambiguous = found.fit.reason == AMBIGUOUS
    if here.burnt[here.on_axis.columns].any():
        if here.below.opaque_mirror:
            found = dome_beside_burnt(here, found)
        else:
            found = beside_burnt(here, found, expected)
    elif found.fit.is_likely and mirrors_room(here, found):
        found = with_both_sides(here, found, streak=aside > 0.0)
    elif found.fit.reason in UNLIKE and here.below.opaque_mirror:
        found = by_both_sides(here, found)
    elif found.fit.reason in UNLIKE:
        found = in_stead_of_axis(here, found, expected)
    elif found.fit.ok and aside:
        other = here.fit(found.apex_row, here.first_reach, here.beside(aside))
        found = replace(found, fit=with_reflection(found.fit, other))
    elif ambiguous:
        sides = here.side_fits(found.apex_row, here.second_reach)
        found = replace(found, fit=settled(found.fit, sides))
    if here.line_pitch_m and found.has_place:
        plain = here.fit(found.own_row, here.first_reach, found.band, with_lines=False)
        found = replace(found, fit=widened(found.fit, "lines behind", plain.position_px))
    if here.bore_rows < COARSE_COLOURS_BORE_PX and found.has_place:
        grey = here.fit(found.own_row, COLOURS_REACH_PX, found.band, with_colours=False)
        found = replace(found, fit=widened(found.fit, "colours", grey.position_px))
    return found
