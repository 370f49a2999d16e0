"""Where a column of mercury ends at the front wall: the rim of its dome.

The column mirrors the room through the front wall, and what it shows changes from side to side
but not along the tube, up to the contact line; there, in every direction, it changes to what
the dome shows.  So the lowest change, at one height in many columns, is the front of the
contact line, whatever lamps stand in dome or column, and the apex is the height of the dome
(Young-Laplace) above it.

The line is seen through the glass alone: Snell's law at the upright outer wall, with the
inclination kept, gives where it lies across the picture (lengths along the sight are those of
a horizontal section).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from limbsight.calib.meniscus import (
    GLASS_REFRACTIVE_INDEX,
    ApexFit,
    MeniscusPhysics,
    TubeView,
)
from limbsight.calib.meniscus_outcome import COMPONENTS, MISFIT_LIMIT, U_TONE_PX
from limbsight.calib.meniscus_shape import meniscus_surface

Array = NDArray[np.float64]

FARTHEST_TURN_RAD = math.radians(80.0)
"""Columns are used that show the room to the camera's side: beyond a right angle the mirror
shows the board, with its graduations."""
GROUPS, GROUP_COLUMNS = 10, 2
"""Columns are averaged in so many groups, of so many columns at least."""
CHANGED = 3.0
"""Change against what is below, over its scatter, in two rows running.  Of 138 levels of
mercury in drawn and traced photos (bores of 13 to 64 px), among them 37 that glare left
unread, the change that most groups share is within two rows of the contact line in all but one
of those whose columns can be searched."""
LEAST_CHANGE, LEAST_LIGHT = 0.02, 0.002
"""What no surface is more even than, as part of its light, and in linear light."""
ABOVE_BORES, BELOW_BORES = 0.08, 0.8
"""Compared with each other: half of a flat dome, and a stretch of column."""
SEARCH_BORES = (0.35, 0.75)
"""Above and below the strongest step, between which the contact line lies: by 0.25 and 0.55
bores at most at those levels."""
ALIKE_BORES, ALIKE_ROWS = 0.05, 2.0
"""Groups that change within so many bores, and rows at least, see one line."""
LEAST_GROUPS, LEAST_SHARE = 4, 0.6
"""Groups, and share of those that change at all, that must see it: of three, all at the edge
of a bore full of glare, the change was once 3.6 mm off."""
EDGE_REACH, EDGE_STEP = (7.0, 2.0), 0.1
"""Rows above and below the change in which the edge is looked for, in steps of so many."""
EDGE_BLURS = (0.7, 1.0, 1.4, 2.0)
EDGE_ROWS_ABOVE, EDGE_BORES_BELOW, LEAST_ROWS_BELOW = 3.0, 0.4, 6
"""Rows above the edge that tell its place, and below.  Farther up lamps and the far side of
the dome begin: with six rows the edge scatters by 0.60 instead of 0.58 rows at those levels,
without a ramp by 0.82."""
RAMP_PRIOR, EDGE_CAUCHY = 1e-2, 3.0
ALIKE_GROUPS = 2.0
"""Root of how many neighbouring groups a lamp in the dome moves alike: with it 0.98 of those
levels are within two standard uncertainties, the farthest 2.3 off."""
GAS_BORES, LEAST_GAS_ROWS = (0.45, 0.12), 3
"""Gas above the apex that the dome is compared with."""
BESIDE_DOME_BORES = 0.1
END_BOWS, END_WIDTH = np.linspace(-0.14, 0.14, 15), 1.15
"""Bows of a cover's end over the tube's outside diameter, and its width: those of sleeves
drawn over tubes reach 0.12, and 1.3."""
END_LEANS = np.linspace(-0.03, 0.03, 5)
END_REACH, END_STEP = 6.0, 0.2
"""Rows beyond dome and line in which the edge is looked for, in steps of so many."""
U_EDGE_ROWS = 0.5
"""What the dome shows next to the line, thin streaks of light and dark, moves the edge by so
much: root mean square 0.58 rows at those levels, groups' scatter included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rim:
    """The contact line as seen.

    Attributes
    ----------
    row
        Of its height on the axis, in rows of the strip.
    u_row
        From the scatter of the groups.
    beyond_edge
        Root mean square by which the picture differs from that of one blurred edge between
        column and gas, in units of scatter; nan where too little of the gas is seen, or
        nothing of the dome.  The end of a cover is no more than such an edge, whatever it
        looks like below.
    """

    row: float
    u_row: float
    beyond_edge: float


def find_rim(
    strip: NDArray[np.float32],
    row: float,
    view: TubeView,
    interface: MeniscusPhysics,
    *,
    aside_rad: float,
    unseen: NDArray[np.bool_],
) -> Rim | None:
    """Look for the front of the contact line about a step of the picture.

    Parameters
    ----------
    strip : ndarray, shape (R, C, 3), float32
        Linear light, the tube's axis in the middle column, the top first.
    row
        The strongest step, roughly.
    view, interface
        The tube and the camera, the dome; ``px_per_m`` is that of rows and columns.
    aside_rad
        Direction of the sight against the board's normal, positive toward later columns.
    unseen : ndarray, shape (C,), bool
        Columns to be left out.

    Returns
    -------
    Rim or None
        None where too few columns agree.
    """
    bore = 2 * view.bore_radius_m * view.px_per_m
    columns = _columns(strip.shape[1], view, aside_rad, unseen)
    if len(columns) < LEAST_GROUPS:
        return None
    groups = np.stack([part.light(strip) for part in columns], axis=1)
    drop = float(rim_drop(np.zeros(1), view)[0])
    rows = _rows_to_search(row - drop, bore, len(groups))
    if rows is None:
        return None
    change = _lowest_changes(groups, rows, bore)
    alike = _most_alike(change, max(ALIKE_BORES * bore, ALIKE_ROWS))
    if alike.sum() < max(LEAST_GROUPS, LEAST_SHARE * np.isfinite(change).sum()):
        return None
    place, u_place = _edge(groups[:, alike], float(np.median(change[alike])), bore)
    off = np.array([part.off for part in columns])
    seen = _Seen(
        groups=groups[:, alike],
        off=off[alike],
        drop=rim_drop(off[alike] * math.cos(aside_rad), view) - drop,
        bore=bore,
        outer=2 * view.outer_radius_m * view.px_per_m,
    )
    dome = _dome_rows(view, interface, 0.0, 0.0, 0.0) + drop
    return Rim(row=place, u_row=u_place, beyond_edge=_beyond_edge(seen, place, dome))


def rim_drop(aside: Array, view: TubeView) -> Array:
    """Rows by which the front of a level circle on the bore's wall is seen below its height.

    Parameters
    ----------
    aside : ndarray, shape (N,)
        Distances from the axis across the sight, in rows.
    """
    bore, outer = (r * view.px_per_m for r in (view.bore_radius_m, view.outer_radius_m))
    x = np.minimum(np.abs(aside), 0.999 * outer)
    inside = np.minimum(x / GLASS_REFRACTIVE_INDEX, 0.999 * bore)
    before = np.sqrt(outer**2 - x**2)
    glass = np.sqrt(outer**2 - inside**2) - np.sqrt(bore**2 - inside**2)
    sine = math.sin(view.elevation_rad) / GLASS_REFRACTIVE_INDEX
    slope = sine / math.sqrt(1.0 - sine**2)
    return np.asarray(before * math.tan(view.elevation_rad) - glass * slope)


def apex_from_rim(
    rim: Rim, view: TubeView, interface: MeniscusPhysics
) -> tuple[float, ApexFit]:
    """Row of the apex, and what is known of it, as of a fit that found it in that row.

    No dome was compared with the picture: the misfit is the worst that passes, so that no
    other liquid is ruled out by it.
    """
    usual = _dome_rows(view, interface, 0.0, 0.0, 0.0)
    moved = {
        "contact_angle": _dome_rows(view, interface, interface.u_contact_angle_rad, 0.0, 0.0),
        "capillary_length": _dome_rows(
            view, interface, 0.0, interface.u_capillary_length_m, 0.0
        ),
        "bore": _dome_rows(view, interface, 0.0, 0.0, view.u_bore_radius_m),
    }
    components = dict.fromkeys(COMPONENTS, 0.0)
    components.update({name: abs(rows - usual) for name, rows in moved.items()})
    components["elevation"] = view.u_elevation_rad * view.outer_radius_m * view.px_per_m
    components["brightness"] = U_EDGE_ROWS
    components.update(tone=U_TONE_PX, dome=0.0, ambiguity=0.0)
    fit = ApexFit(
        position_px=0.0,
        u_statistical_px=rim.u_row,
        u_model_px=math.sqrt(sum(u * u for u in components.values())),
        u_components_px=components,
        misfit=MISFIT_LIMIT,
        ok=True,
        reason="",
        blur_px=math.nan,
    )
    return rim.row - usual, fit


def _dome_rows(
    view: TubeView, interface: MeniscusPhysics, angle: float, length: float, radius: float
) -> float:
    """Height of the dome with angle [rad], capillary length and bore radius [m] off by so
    much."""
    surface = meniscus_surface(
        min(view.bore_radius_m + radius, 0.98 * view.outer_radius_m),
        interface.capillary_length_m + length,
        min(interface.contact_angle_rad + angle, math.pi),
    )
    return -surface.wall_height_m * view.px_per_m


# --- columns --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Columns:
    """Neighbouring columns: numbers, distance of their middle from the axis, and rows by which
    the line is lower in each than on the axis."""

    numbers: NDArray[np.intp]
    off: float
    drop: Array

    def light(self, strip: NDArray[np.float32]) -> Array:
        """Their mean (R, 3), moved so that the line lies in one row in all columns."""
        moved = [
            _moved_up(strip[:, c], float(rows))
            for c, rows in zip(self.numbers, self.drop, strict=True)
        ]
        return np.asarray(np.mean(moved, axis=0))


def _columns(
    count: int, view: TubeView, aside_rad: float, unseen: NDArray[np.bool_]
) -> list[_Columns]:
    """Groups of columns that show the room."""
    off = np.arange(count, dtype=np.float64) - 0.5 * (count - 1)
    across: Array = off * math.cos(aside_rad)
    numbers = np.flatnonzero(~unseen & _shows_room(across, view))
    groups = min(GROUPS, len(numbers) // GROUP_COLUMNS)
    drop = rim_drop(across, view) + off * math.sin(aside_rad) * math.tan(view.elevation_rad)
    parts = np.array_split(numbers, groups) if groups else []
    return [
        _Columns(numbers=part, off=float(np.mean(off[part])), drop=drop[part])
        for part in parts
    ]


def _shows_room(across: Array, view: TubeView) -> NDArray[np.bool_]:
    """Whether the mirror shows what is on the camera's side, glass and all."""
    bore, outer = (r * view.px_per_m for r in (view.bore_radius_m, view.outer_radius_m))
    n, x = GLASS_REFRACTIVE_INDEX, np.abs(across)
    on_mirror = x < min(n * bore, outer)
    x = np.minimum(x, min(n * bore, outer))
    turn = 2 * (np.arcsin(x / outer) + np.arcsin(x / (n * outer)) - np.arcsin(x / (n * bore)))
    return np.asarray(on_mirror & (turn <= FARTHEST_TURN_RAD))


def _moved_up(column: NDArray[np.float32], rows: float) -> Array:
    """A column (R, 3) whose row r is what was in row r + ``rows``; ends go on."""
    at = np.clip(np.arange(len(column)) + rows, 0, len(column) - 1)
    low = np.minimum(at.astype(int), len(column) - 2)
    part = (at - low)[:, None]
    return np.asarray(column[low] * (1.0 - part) + column[low + 1] * part)


# --- the lowest change ----------------------------------------------------------------------


def _rows_to_search(step: float, bore: float, count: int) -> range | None:
    above, below = SEARCH_BORES
    first = max(round(step - above * bore), _rows_above(bore) + 2)
    last = min(round(step + below * bore), count - _rows_below(bore) - 3)
    return range(first, last + 1) if last > first else None


def _rows_above(bore: float) -> int:
    return max(round(ABOVE_BORES * bore), 2)


def _rows_below(bore: float) -> int:
    return max(round(BELOW_BORES * bore), 6)


def _lowest_changes(groups: Array, rows: range, bore: float) -> Array:
    """Row in which each group, looked at from below, first differs from what is below; nan
    where none does."""
    above, below = _rows_above(bore), _rows_below(bore)
    out = np.full(groups.shape[1], np.nan)
    before = np.zeros(groups.shape[1], dtype=bool)
    for row in reversed(rows):
        column, scatter = _column(groups[row + 2 : row + 2 + below])
        sigma = np.hypot(scatter * math.sqrt(2 / above + 2 / below), LEAST_CHANGE * column)
        over = (groups[row - above : row].mean(axis=0) - column) / sigma
        now = np.sqrt(np.mean(np.square(over), axis=1)) > CHANGED
        found = now & before & np.isnan(out)
        out[found] = row + 1
        before = now
    return out


def _column(stretch: Array) -> tuple[Array, Array]:
    """Light of a stretch of column in each group and colour, and its scatter, (G, 3) each."""
    middle = np.median(stretch, axis=0)
    scatter = 1.4826 * np.median(np.abs(stretch - middle), axis=0)
    return middle, np.maximum(scatter, LEAST_LIGHT)


def _most_alike(change: Array, reach: float) -> NDArray[np.bool_]:
    """Groups of the place that most of them share; of the lower one of two."""
    near = np.abs(change[:, None] - change) <= reach
    score = near.sum(axis=0) + 1e-6 * np.nan_to_num(change)
    return np.asarray(near[:, int(np.argmax(score))])


# --- the edge -------------------------------------------------------------------------------


def _edge(groups: Array, change: float, bore: float) -> tuple[float, float]:
    """Place of the line, with its uncertainty by scatter, by a blurred step and a ramp above
    it, fitted to groups (R, G, 3) twice: over more rows, then over few above the line."""
    stretch = slice(round(change) + 3, round(change) + 3 + _rows_below(bore))
    column, scatter = _column(groups[stretch])
    sigma = np.hypot(scatter, LEAST_CHANGE * column)
    low = max(round(EDGE_BORES_BELOW * bore), LEAST_ROWS_BELOW)

    def fitted(first: float, middle: float, places: Array) -> tuple[float, Array]:
        rows = np.arange(max(round(first), 0), min(int(middle) + low, len(groups)))
        return _best_step(groups[rows] / sigma, rows, places)

    up, down = EDGE_REACH
    wide = np.arange(change - up, change + down, EDGE_STEP)
    above = max(1.5 * _rows_above(bore), EDGE_ROWS_ABOVE) + 2.0
    place, _ = fitted(change - 1.5 - above, change, wide)
    narrow = np.arange(place - 2.5, place + 2.5, EDGE_STEP)
    place, own = fitted(place - EDGE_ROWS_ABOVE, place, narrow)
    scatter_rows = 1.4826 * float(np.median(np.abs(own - np.median(own))))
    return place, ALIKE_GROUPS * scatter_rows / math.sqrt(len(own))


def _best_step(groups: Array, rows: NDArray[np.int_], places: Array) -> tuple[float, Array]:
    """Place of the step that all groups (N, G, 3), in units of their scatter, fit best, and
    that of each."""
    flat = groups.reshape(len(rows), -1)
    cost = np.empty((len(EDGE_BLURS), len(places), groups.shape[1]))
    for k, blur in enumerate(EDGE_BLURS):
        columns = _step_and_ramp(places[:, None] - rows, blur)
        turned = columns.transpose(0, 2, 1)
        normal = turned @ columns + np.diag([0.0, 1e-6, RAMP_PRIOR])
        rest = flat - columns @ np.linalg.solve(normal, turned @ flat)
        robust = np.log1p(np.square(rest / EDGE_CAUCHY))
        cost[k] = robust.sum(axis=1).reshape(len(places), -1, 3).sum(axis=2)
    blur = int(np.argmin(cost.sum(axis=2).min(axis=1)))
    together = cost[blur].sum(axis=1)
    return float(places[np.argmin(together)]), places[np.argmin(cost[blur], axis=0)]


def _step_and_ramp(above: Array, blur: float) -> Array:
    """Constant, blurred step and ramp, (P, N, 3), of rows ``above`` the line (P, N)."""
    t = above / blur
    step = 0.5 * (1.0 + erf(t / math.sqrt(2.0)))
    ramp = blur * (t * step + np.exp(-0.5 * t**2) / math.sqrt(2.0 * math.pi))
    return np.stack([np.ones_like(t), step, ramp], axis=-1)


# --- the dome -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Groups (R, G, 3) that see the line: their distances from the axis, and by how many rows
    the line was moved up in them against the axis; bore and outside diameter in rows."""

    groups: Array
    off: Array
    drop: Array
    bore: float
    outer: float


def _beyond_edge(seen: _Seen, place: float, dome: float) -> float:
    """By how much the picture differs from one edge between column and gas, ``dome`` rows
    below the apex; see ``Rim``.

    The edge may be anywhere near, lean, and be bowed as an upright circle seen from above or
    below, or a paper's end.
    """
    spots = np.arange(-dome - 1.0, 2.5, END_STEP)
    if not len(spots):  # from far below the front of the line hides the dome
        return math.nan
    apex, bore = place - dome, seen.bore
    first, last = (round(apex - bores * bore) for bores in GAS_BORES)
    if first < 0 or last - first < LEAST_GAS_ROWS:
        return math.nan
    gas, u_gas = _column(seen.groups[first:last])
    below = round(place) + 3
    column, u_column = _column(seen.groups[below : below + _rows_below(bore)])
    rows = np.arange(max(int(apex - BESIDE_DOME_BORES * bore), 0), int(place) + 5)
    sigma = np.sqrt(u_gas**2 + u_column**2 + np.square(LEAST_CHANGE * np.maximum(gas, column)))
    rest = (seen.groups[rows] - column) / sigma
    height = (gas - column) / sigma
    places = np.arange(-dome - END_REACH, END_REACH, END_STEP)
    lines = _ends(seen)[:, None] + spots[:, None]
    index = np.clip(np.rint((lines - places[0]) / END_STEP), 0, len(places) - 1).astype(int)
    each = np.arange(len(seen.off))
    least = math.inf
    for blur in EDGE_BLURS:
        t = (place + places[:, None] - rows) / (blur * math.sqrt(2.0))
        step = 0.5 * (1.0 + erf(t))[:, :, None, None]
        cost = np.mean(np.square(rest - height * step), axis=(1, 3))
        least = min(least, float(cost[index, each].mean(axis=2).min()))
    return math.sqrt(least)


def _ends(seen: _Seen) -> Array:
    """Shapes that the end of a cover may have, rows in each group, (E, G)."""
    bow, lean = np.meshgrid(END_BOWS * seen.outer, END_LEANS)
    part = np.clip(seen.off / (0.5 * END_WIDTH * seen.outer), -1.0, 1.0)
    bowed = bow.reshape(-1, 1) * (np.sqrt(1.0 - part**2) - 1.0)
    return np.asarray(bowed + lean.reshape(-1, 1) * seen.off - seen.drop)
