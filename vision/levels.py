"""Where the filling of one tube changes: interfaces, and what hides them.

The tube is handed in as an upright strip centred on its axis. A level changes most of the
bore at one height and lasts on both sides; a reflection changes a few columns; a clip, a cap
or a hand changes the picture outside of the tube as well, and a clip leaves the same filling
above and below it. So:

1. for each row the step of the colour between a window above and one below, in several
   columns of the bore, of which a low quantile is taken (`level_steps`);
2. rows whose surroundings depart from the board are set aside as hidden (`tube_covers`);
3. so are stretches no wider than the tube with one filling above and below
   (`narrow_covers`);
4. of all peaks of the step, the set is chosen that leaves the fillings between them most
   alike (`filling_choice`);
5. what is hidden between two different fillings may be a level (`hidden_levels`).

Rows count downward; row 0 is the top of the strip.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.filling_choice import choose_interfaces
from limbsight.vision.fillings import noise, unlikeness
from limbsight.vision.hidden_levels import hidden_change
from limbsight.vision.layers import Interface, Layers
from limbsight.vision.level_steps import peaks_of, row_of, steps_of
from limbsight.vision.narrow_covers import bands_between, heart_of
from limbsight.vision.row_sets import runs_of
from limbsight.vision.tube_covers import SIDE_REACHES, cover_edge, hidden_rows, sides_of
from limbsight.vision.tube_strip import TubeStrip, bore_colours, window_rows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def find_layers(strip: TubeStrip, count: int, rows: tuple[int, int]) -> Layers:
    """Split a tube into fillings.

    Parameters
    ----------
    strip
    count
        Number of interfaces the instrument has in this limb.
    rows
        First and last row in which an interface may lie (the range of the scale and a
        margin).

    Returns
    -------
    Layers
        With fewer than ``count`` interfaces where no more were seen.
    """
    colours = bore_colours(strip)
    beside = np.stack([sides_of(strip, reach) for reach in SIDE_REACHES])
    hidden = hidden_rows(strip, colours, beside)
    visible = _visible_range(strip, hidden, rows)
    steps = steps_of(_carried_over(colours, hidden), strip)
    peaks = peaks_of(steps, strip, hidden, visible)
    usable = _only(~hidden & strip.inside_picture, visible)
    narrow = np.zeros_like(hidden)
    for first, last in bands_between(colours, usable, sorted(peaks), steps.either, strip):
        narrow[first : last + 1] = True
    usable, hidden = usable & ~narrow, hidden | narrow
    hearts = [heart_of(row, sorted(peaks), colours, strip) for row in peaks if not narrow[row]]
    chosen, rival = choose_interfaces(
        colours,
        usable,
        list(dict.fromkeys(hearts)),
        steps.either,
        count,
        noise(colours, usable, window_rows(strip)[1]),
    )
    stretches = tuple(runs_of(_only(hidden, visible)))
    interfaces = tuple(
        Interface(row=row_of(p, steps, strip), step=float(steps.either[p]))
        for p in sorted(chosen, reverse=True)
    )
    return Layers(
        interfaces=interfaces,
        hidden=stretches,
        hidden_change=hidden_change(colours, usable, chosen, stretches, strip)
        or cover_edge(strip, beside[0], interfaces),
        rival=rival,
        visible=visible,
        unexplained=unlikeness(colours, usable, tuple(sorted(chosen)))
        / max(unlikeness(colours, usable, ()), 1e-9),
    )


def _carried_over(colours: FloatArray, hidden: BoolArray) -> FloatArray:
    """Give the rows of each hidden stretch the colours at its ends, to its middle each."""
    filled = colours.copy()
    for first, last in runs_of(hidden):
        middle = (first + last + 1) // 2
        if last + 1 < len(colours):
            filled[middle : last + 1] = colours[last + 1]
        if first > 0:
            filled[first:middle] = colours[first - 1]
    return filled


def _visible_range(
    strip: TubeStrip, hidden: BoolArray, rows: tuple[int, int]
) -> tuple[int, int]:
    """Cut the allowed range at the cap and the block, which hide an end of the strip."""
    seen = strip.inside_picture & ~hidden
    first, last = max(rows[0], 0), min(rows[1], len(seen) - 1)
    inside = np.flatnonzero(seen[first : last + 1])
    if len(inside) == 0:
        return first, first
    return first + int(inside[0]), first + int(inside[-1])


def _only(rows: BoolArray, visible: tuple[int, int]) -> BoolArray:
    """Those of some rows that are in the visible range."""
    inside = rows.copy()
    inside[: visible[0]] = False
    inside[visible[1] + 1 :] = False
    return inside
