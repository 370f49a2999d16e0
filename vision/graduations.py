"""Graduated scales: combs of equally spaced lines with their ends on one straight line.

The graduations of one column share an end (the spine), whatever their lengths, and follow
each other at a step that perspective changes only smoothly. Both facts hold for any ink,
board or font, so they are what is searched for: first lines of ends by a Hough vote, then
along each line a walk from one graduation to the next, then a projective fit of position
against index that collects every graduation on it.

Indices grow upward in the picture and start anywhere: naming them is the scale map's task.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv

from limbsight.vision.quantiles import median_of_row, quantile_of_few
from limbsight.vision.segments import MAX_SLOPE, Segments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Side = Literal["left", "right"]

MIN_GRADUATIONS = 12
"""Fewer lines at one pitch occur by chance in brickwork and print."""
END_TOLERANCE_PX = 2.5
"""Ends are smeared by half the smoothing length of the segment finder (2 px)."""
PHASE_TOLERANCE = 0.25
"""A graduation is taken within a quarter of a division of where it is expected; random lines
then pass half of the time, so that a true comb stands out by its filling."""
SLOPE_ERROR = 0.01
"""Systematic error of the slope of short lines: a third of a pixel of motion blur left over
a third of the shortest lines (17 px), as seen on motion-blurred scales."""
LEAST_JOINT_ERROR = 0.1
"""Of a division, by which print may be off from column to column."""
GHOST_SCATTER = 2.0
GHOST_LENGTH = 0.6
GHOST_WEIGHT = 0.3
MAX_TURN = 0.1
"""Lines bent by a tube's wall scatter two to eight times as much as the print beside it and
show over the width of the wall only. MAX_TURN [rad]: what the slopes along a scale may miss
of its perspective (sample photos)."""
MIN_FILLING = 0.6
"""Share of the indices between the ends that carry a line; chance gives 0.5 at most where
the picture is full of lines, far less elsewhere."""
SPARSE = 0.3
"""Half of ``MIN_FILLING``: a stretch at either end that is emptier is left off, unless as full
a one follows it."""
REGULAR, HAND_DRAWN, FILLED = 0.6, 0.9, 0.9
"""Scatter of lines about even steps, of what random lines within the tolerance would have; and
that of lines so many of which are there that they can't be random (of 24 places with an even
chance 22 are met once in 50 000 times): drawn by hand, they scatter by a tenth of a division
(`paper_scale`, generator)."""
SHORT_QUANTILE, GROWN = 0.25, 1.5
"""Lines of one kind are longer than the shorter ones by less than this (ends are smeared by a
pixel or two, the shortest lines are 6 px long); long ones, and those that touch figures, are
twice as long."""
WALK_WINDOW = 16
"""A walk stops where fewer than MIN_FILLING of this many steps met a line."""
WALK_TOLERANCE_PX = 1.2
"""Error of one prediction where glass bends the lines (0.3 px), and a share of the step's
own error, four times over."""
MAX_GROWTH_STEPS = 25
"""Each step lets a comb grow by 30 %: 25 steps are a factor of 700."""
MIN_RUN = 5
"""An end of a comb counts once this many of the next indices are mostly filled."""
MAX_COMBS = 8
LEANS = 145
"""Steps of 5 mrad: over half of a 1600 px scale an end strays 2 px."""
FEW_SHARE = 0.25
"""Votes over cells below which it takes less time to cast them one by one."""
MAX_SPINES = 24
MAX_BARREN = 5
"""Lines of ends tried at most, and tried in vain in a row once something was found: of 287
columns on 98 sample photos and renders, those found after more had a quarter of the fullest's
graduations at most, too few to count beside it."""
MAX_OCTAVES = 5.0
MAX_PITCH_PX = 120.0
MIN_PITCH_PX = 2.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comb:
    """One column of graduations.

    Attributes
    ----------
    side
        Which ends of the lines are on the spine.
    index : ndarray, shape (N,)
        Consecutive number of each graduation, upward in the picture; gaps are allowed.
    lines : Segments
        The lines, in the order of ``index``.
    residual_px
        Standard deviation of the graduations about the smooth fit, across the line.
    """

    side: Side
    index: IntArray
    lines: Segments
    residual_px: float
    overhang: FloatArray | None = None
    """Contrast of each line beyond the end of the short ones, on the side off the spine: long
    lines show there. Grey levels, shape (N,)."""
    index_offset: float = 0.0
    index_error: float = 0.0
    """Where this column was joined to another: what is left over of a whole number of
    divisions between their indices, and its standard error."""
    dark: bool = True
    """Whether the lines are darker than their surroundings."""
    found_px: float = 1.0
    """Size of the pixels of the picture that it was found in, in pixels of this one."""
    parts: tuple[Comb, ...] = ()
    """Of lines that run over a whole board: what is seen of them between the tubes, with the
    same index. Parts are straight, the whole may be bent by the lens."""

    @property
    def straight(self) -> tuple[Comb, ...]:
        """The parts, or the column itself where it has none: what positions rest on."""
        return self.parts or (self,)

    @property
    def spine_x(self) -> FloatArray:
        """x of the ends on the spine [px]."""
        return self.lines.left if self.side == "left" else self.lines.right

    @property
    def pitch_px(self) -> float:
        """Median distance of neighbouring graduations along y [px]."""
        steps = np.abs(np.diff(self.lines.y)) / np.maximum(np.diff(self.index), 1)
        return median_of_row(steps)

    @property
    def filling(self) -> float:
        """Share of the indices from first to last that carry a line."""
        return len(self.index) / float(self.index[-1] - self.index[0] + 1)


def find_combs(segments: Segments) -> tuple[Comb, ...]:
    """Find columns of graduations among segments.

    Parameters
    ----------
    segments
        Candidate lines of one polarity.

    Returns
    -------
    tuple of Comb
        Best first (most graduations); columns of one scale are separate combs with
        unrelated indices. Empty when there is no scale.
    """
    if len(segments) < MIN_GRADUATIONS:
        return ()
    combs: list[Comb] = []
    votes = _SpineVotes(segments)
    barren = 0
    for _ in range(MAX_SPINES):
        if len(combs) == MAX_COMBS or votes.count < MIN_GRADUATIONS:
            break
        if combs and barren == MAX_BARREN:
            break
        spine = votes.best()
        if spine is None:
            break
        side, members, voters = spine
        comb = _comb_on(segments, members, side)
        used = np.zeros(len(segments), bool)
        used[voters] = True
        if comb is None:
            barren += 1
            long = used & _are_long(segments, voters)
            votes.withdraw(used & ~long)
            votes.withdraw(long, side)
        else:
            barren = 0
            combs.append(comb)
            used[members] = True
            votes.withdraw(used | _inside(segments, comb))
    return tuple(sorted(combs, key=lambda c: len(c.index), reverse=True))


def _are_long(segments: Segments, of: IntArray) -> NDArray[np.bool_]:
    """Which segments are longer than the short ones of some that end on one line.

    Where too few of the short lines are seen the long ones, which end apart from them on the
    other side, may be a column of their own.
    """
    short = quantile_of_few(segments.length[of], SHORT_QUANTILE, axis=0)
    return np.asarray(segments.length > GROWN * short)


def join_combs(combs: tuple[Comb, ...]) -> tuple[tuple[Comb, ...], ...]:
    """Group combs that count the same graduations and give each group one index.

    Two columns belong together when the lines of one, carried on straight, keep step with the
    lines of the other over their common range. How many divisions apart they are follows from
    the slope of the lines; where that leaves room for doubt, ``index_error`` says so.
    The group with most graduations comes first.
    """
    groups: list[list[Comb]] = []
    for comb in combs:
        for group in groups:
            step = _step_between(group[0], comb)
            if step is not None:
                shift = round(step[0])
                group.append(
                    replace(
                        comb,
                        index=comb.index + shift,
                        index_offset=step[0] - shift,
                        index_error=step[1],
                    )
                )
                break
        else:
            groups.append([comb])
    solid = [_without_ghosts(group) for group in groups]
    solid.sort(key=lambda g: sum(len(c.index) for c in g), reverse=True)
    return tuple(solid)


def _weight(comb: Comb) -> float:
    """How much print a column shows: its lines times their strength."""
    return len(comb.index) * median_of_row(comb.lines.strength)


def _without_ghosts(group: list[Comb]) -> tuple[Comb, ...]:
    """Drop columns seen through the wall of a tube: bent, and shorter than the print."""
    steadiest = min(comb.residual_px for comb in group)
    fullest = max(group, key=_weight)
    usual = median_of_row(fullest.lines.length)
    return tuple(
        comb
        for comb in group
        if comb is fullest
        or (
            comb.residual_px <= max(GHOST_SCATTER * steadiest, 0.15)
            and median_of_row(comb.lines.length) >= GHOST_LENGTH * usual
            and _weight(comb) >= GHOST_WEIGHT * _weight(fullest)
        )
    )


class _SpineVotes:
    """Hough vote for straight lines that many ends lie on: x = offset + lean (y - middle)."""

    def __init__(self, segments: Segments) -> None:
        self.segments = segments
        self.left = np.ones((2, len(segments)), bool)
        self.middle = median_of_row(segments.y)
        self.leans = np.linspace(-MAX_SLOPE, MAX_SLOPE, LEANS)
        # Specks are many, print stands out: votes count by the octaves above the faintest.
        floor = float(segments.strength.min())
        self.weight = np.clip(np.log2(segments.strength / floor), 0.0, MAX_OCTAVES)
        self.sides: tuple[Side, Side] = ("left", "right")
        # In cells, single precision: a thousandth of one at most is lost.
        run = np.outer(self.leans, self.middle - segments.y).astype(np.float32)
        run /= np.float32(END_TOLERANCE_PX)
        left, right = (
            run + (ends / END_TOLERANCE_PX).astype(np.float32)
            for ends in (segments.left, segments.right)
        )
        # The first cell stays empty: every end votes for its cell and the one before.
        first = left.min() - np.float32(1.0)
        self.origin = float(first) * END_TOLERANCE_PX
        self.width = int(right.max() - first) + 1
        rows = np.arange(0, len(self.leans) * self.width, self.width, dtype=np.int32)[:, None]
        self.cells = [(at - first).astype(np.int32) + rows for at in (left, right)]
        self.votes = [np.zeros(len(self.leans) * self.width) for _ in self.cells]
        for which in (0, 1):
            self._vote(which, self.left[which], 1.0)

    @property
    def count(self) -> int:
        """How many segments still vote."""
        return int(self.left.any(axis=0).sum())

    def best(self) -> tuple[Side, IntArray, IntArray] | None:
        """Return the fullest line: its side, its members, and who voted for it."""
        places = [int(np.argmax(votes)) for votes in self.votes]
        tops = [votes[place] for votes, place in zip(self.votes, places, strict=True)]
        which = int(np.argmax(tops))
        if tops[which] <= 0:
            return None
        first = places[which]
        lean_index, cell = divmod(first, self.width)
        mine = self.cells[which][lean_index]
        voters = np.flatnonzero(self.left[which] & ((mine == first) | (mine == first + 1)))
        if len(voters) < MIN_GRADUATIONS:
            return None
        offset = self.origin + (cell + 1.0) * END_TOLERANCE_PX
        members = self._members(which, float(self.leans[lean_index]), offset)
        return self.sides[which], members if members is not None else voters, voters

    def withdraw(self, gone: NDArray[np.bool_], side: Side | None = None) -> None:
        """Take back the votes of segments that were used; of their ends on one side only."""
        for which, name in enumerate(self.sides):
            if side in (None, name):
                mine = gone & self.left[which]
                self.left[which] &= ~mine
                self._vote(which, mine, -1.0)

    def _vote(self, which: int, segments: NDArray[np.bool_], sign: float) -> None:
        voters = np.flatnonzero(segments)
        weight = np.tile(sign * self.weight[voters], len(self.leans))
        votes, cells = self.votes[which], self.cells[which]
        # At first all of them vote.
        some = cells.take(voters, axis=1) if len(voters) < cells.shape[1] else cells
        places = some.ravel()
        if len(places) < FEW_SHARE * len(votes):
            np.add.at(votes, places, weight)
            np.add.at(votes, places - 1, weight)
        else:
            cast = np.bincount(places, weight, minlength=len(votes))
            votes += cast
            votes[:-1] += cast[1:]

    def _members(self, which: int, lean: float, offset: float) -> IntArray | None:
        """Collect the ends near the line; lenses bend spines, so a parabola is refitted."""
        candidates = np.flatnonzero(self.left[which])
        lines = self.segments
        ends = (lines.left, lines.right)[which][candidates]
        y = lines.y[candidates] - self.middle
        cell = END_TOLERANCE_PX
        line = offset + lean * y
        for tolerance in (2 * cell, 1.5 * cell, 1.5 * cell):
            near = np.abs(ends - line) < tolerance
            if near.sum() < MIN_GRADUATIONS:
                return None
            line = _parabola(y, ends, near)
        near = np.abs(ends - line) < 1.5 * cell
        members = candidates[near]
        if len(members) < MIN_GRADUATIONS:
            return None
        # Lines of one scale are printed alike; shadow and blur take a factor of four at most.
        strong = quantile_of_few(lines.strength[members], 0.7, axis=0)
        return np.asarray(members[lines.strength[members] > 0.25 * strong])


def _comb_on(segments: Segments, members: IntArray, side: Side) -> Comb | None:
    """Find the regular sequence among the lines that end on one spine."""
    order = members[np.argsort(-segments.y[members])]
    lines = segments.take(order)
    ends = lines.left if side == "left" else lines.right
    y = lines.y_at(ends)
    seed = walk(y)
    if seed is None:
        return None
    index, chosen = seed
    settled = False
    for _ in range(MAX_GROWTH_STEPS):
        coefficients = _fit_projective(index, y[chosen])
        if coefficients is None:
            return None
        everywhere = _index_at(coefficients, y)
        nearest = np.round(everywhere).astype(np.int64)
        miss = np.abs(everywhere - nearest)
        spread = 1.4826 * median_of_row(miss[chosen])
        tight = min(PHASE_TOLERANCE, max(5 * spread, 0.05))
        inside = (nearest >= index[0]) & (nearest <= index[-1])
        reach = np.ceil(0.3 * (index[-1] - index[0]))
        near = (nearest >= index[0] - reach) & (nearest <= index[-1] + reach)
        good = near & (miss < np.where(inside, tight, PHASE_TOLERANCE))
        if settled:
            good &= np.abs(_off_spine(y, ends, chosen)) < _end_tolerance(y, ends, chosen)
            good &= miss < tight
        before = len(index)
        chosen, index = _one_each(lines, good, nearest, miss)
        if len(index) < MIN_GRADUATIONS:
            return None
        keep = _trim_ends(index)
        chosen, index = chosen[keep], index[keep]
        if len(index) < MIN_GRADUATIONS:
            return None
        if settled:
            break
        settled = len(index) <= before
    dense = _densest(index)
    chosen, index = chosen[dense], index[dense]
    if len(index) < MIN_GRADUATIONS:
        return None
    coefficients = _fit_projective(index, y[chosen])
    if coefficients is None:
        return None
    residual = y[chosen] - _position_at(coefficients, index)
    comb = Comb(
        side=side,
        index=index,
        lines=lines.take(chosen),
        residual_px=1.4826 * median_of_row(np.abs(residual)),
    )
    pitch = comb.pitch_px
    # Lines spread at random within the tolerance would scatter by pitch/(4 sqrt 3).
    by_chance = pitch * PHASE_TOLERANCE / np.sqrt(3.0)
    surely = comb.filling >= FILLED and len(index) >= 2 * MIN_GRADUATIONS
    irregular = comb.residual_px > (HAND_DRAWN if surely else REGULAR) * by_chance
    if comb.filling < MIN_FILLING or irregular or not MIN_PITCH_PX <= pitch <= MAX_PITCH_PX:
        return None
    return comb


def _off_spine(y: FloatArray, ends: FloatArray, chosen: IntArray) -> FloatArray:
    """Distance of every end from a parabola through the chosen ones [px]."""
    return ends - _parabola(y, ends, chosen)


def _parabola(
    y: FloatArray, ends: FloatArray, chosen: IntArray | NDArray[np.bool_]
) -> FloatArray:
    """At every ``y``, the parabola that fits the chosen ends best, by normal equations."""
    # Within +-1 about the middle, the squares keep three digits more than are needed.
    low, high = float(y[chosen].min()), float(y[chosen].max())
    s = (2.0 * y - low - high) / max(high - low, 1.0)
    design = np.stack([np.ones_like(s), s, s * s])
    some = design[:, chosen]
    normal, right = some @ some.T, some @ ends[chosen]
    _, factors, singular = dposv(normal, right)
    if singular:  # all at one height, or at two
        factors = np.linalg.lstsq(normal, right)[0]
    return np.asarray(factors @ design)


def _end_tolerance(y: FloatArray, ends: FloatArray, chosen: IntArray) -> float:
    scatter = 1.4826 * median_of_row(np.abs(_off_spine(y, ends, chosen)[chosen]))
    return max(4 * scatter, 1.5)


def walk(y: FloatArray) -> tuple[IntArray, IntArray] | None:
    """Walk up a spine from its most regular stretch, one graduation after another.

    Parameters
    ----------
    y : ndarray, shape (N,)
        Positions, descending (upward in the picture).

    Returns
    -------
    index, chosen
        Consecutive numbers and the rows they belong to, or None.
    """
    if len(y) < MIN_GRADUATIONS:
        return None
    steps = -np.diff(y)
    usable = steps[(steps > MIN_PITCH_PX) & (steps < MAX_PITCH_PX)]
    if len(usable) < MIN_GRADUATIONS // 2:
        return None
    logs = np.log(usable)
    # The commonest step: the middle of the fullest window of +-12 %.
    ranked = np.sort(logs)
    counts = ranked.searchsorted(logs + 0.12) - ranked.searchsorted(logs - 0.12, "right")
    usual = np.abs(logs - logs[int(np.argmax(counts))]) < 0.12
    pitch = float(np.exp(median_of_row(logs[usual])))
    regular = np.abs(steps / pitch - 1) < 0.2
    run = np.convolve(regular.astype(float), np.ones(2 * WALK_WINDOW), mode="same")
    start = int(np.argmax(run))
    order = np.argsort(y)
    ascending = y[order].tolist()
    begin = int(np.flatnonzero(order == start)[0])
    up = _walk_one_way(ascending, begin, pitch, +1)
    down = _walk_one_way(ascending, begin, pitch, -1)
    pairs = sorted({(index, int(order[place])) for index, place in (*up, *down)})
    index = np.array([p[0] for p in pairs], np.int64)
    chosen = np.array([p[1] for p in pairs], np.int64)
    if len(index) < MIN_GRADUATIONS:
        return None
    return index, chosen


def _walk_one_way(
    ascending: list[float], start: int, pitch: float, way: Literal[1, -1]
) -> list[tuple[int, int]]:
    found = [(0, start)]
    position, index, step = ascending[start], 0, pitch
    misses = 0
    recent = deque([True] * WALK_WINDOW, maxlen=WALK_WINDOW)
    hits = WALK_WINDOW
    while misses < WALK_WINDOW and hits >= MIN_FILLING * WALK_WINDOW:
        expected = position - way * step * (misses + 1)
        near = _nearest(ascending, expected)
        # The error of a prediction grows with the distance it is carried.
        tolerance = WALK_TOLERANCE_PX + 0.02 * step * (misses + 1)
        hit = abs(ascending[near] - expected) < min(tolerance, PHASE_TOLERANCE * step)
        hits += hit - recent[0]
        recent.append(hit)
        if hit:
            index += way * (misses + 1)
            seen = abs(ascending[near] - position) / (misses + 1)
            step = 0.85 * step + 0.15 * seen
            position = ascending[near]
            found.append((index, near))
            misses = 0
        else:
            misses += 1
    return found


def _nearest(ascending: list[float], value: float) -> int:
    after = min(bisect_left(ascending, value), len(ascending) - 1)
    before = max(after - 1, 0)
    return before if value - ascending[before] < ascending[after] - value else after


def _fit_projective(index: IntArray, y: FloatArray) -> FloatArray | None:
    """Fit y = (p0 + p1 s + p3 s^3) / (1 + p2 s) with s the index scaled to +-1, robustly.

    The cubic takes up what radial distortion leaves of the cross-ratio.
    """
    middle = 0.5 * (index[0] + index[-1])
    half = max(0.5 * (index[-1] - index[0]), 1.0)
    s = (index - middle) / half
    weight = np.ones_like(y)
    p: FloatArray = np.zeros(4)
    sizes = np.array([1.0, 1.0, max(float(np.abs(y).max()), 1.0), 1.0])
    cube = s * s * s
    design = np.stack([np.ones_like(s), s, -s * y, cube], axis=1) / sizes
    if len(s) < design.shape[1] or np.ptp(s) == 0:
        return None
    for _ in range(5):
        scaled = design * weight[:, None]
        # Normal equations: the columns are of one size and nearly orthogonal.
        _, scaled_p, singular = dposv(scaled.T @ scaled, scaled.T @ (y * weight))
        if singular:
            return None
        p = scaled_p / sizes
        residual = y - (p[0] + p[1] * s + p[3] * cube) / (1 + p[2] * s)
        spread = max(1.4826 * median_of_row(np.abs(residual)), 0.02)
        weight = 1.0 / np.sqrt(1.0 + (residual / (2 * spread)) ** 2)
    if abs(p[2]) > 0.6 or p[1] >= 0:
        return None
    return np.array([*p, middle, half])


def _position_at(coefficients: FloatArray, index: IntArray | FloatArray) -> FloatArray:
    p0, p1, p2, p3, middle, half = coefficients
    s = (np.asarray(index, float) - middle) / half
    return np.asarray((p0 + p1 * s + p3 * s**3) / (1 + p2 * s))


def _index_at(coefficients: FloatArray, y: FloatArray) -> FloatArray:
    """Invert the fit by Newton's method from its projective part."""
    p0, p1, p2, p3, middle, half = coefficients
    s = (p0 - y) / (p2 * y - p1)
    for _ in range(3):
        s = np.clip(s, -3.0, 3.0)
        error = (p0 + (p1 + p3 * s * s) * s) - y * (1 + p2 * s)
        s = s - error / (p1 + 3 * p3 * s * s - y * p2)
    return np.asarray(middle + half * s)


def _one_each(
    lines: Segments, good: NDArray[np.bool_], nearest: IntArray, miss: FloatArray
) -> tuple[IntArray, IntArray]:
    """Keep one line an index: the longest, then the closest."""
    rows = np.flatnonzero(good)
    order = rows[np.lexsort((miss[rows], -lines.length[rows], nearest[rows]))]
    index, first = np.unique(nearest[order], return_index=True)
    return order[first].astype(np.int64), index.astype(np.int64)


def _trim_ends(index: IntArray) -> NDArray[np.bool_]:
    """Drop stray lines beyond a gap at either end."""
    present = np.zeros(int(index[-1] - index[0]) + 1, bool)
    present[index - index[0]] = True
    kernel = np.ones(MIN_RUN)
    ahead = np.convolve(present, kernel)[MIN_RUN - 1 :][: len(present)]
    behind = np.convolve(present, kernel)[: len(present)]
    enough = MIN_RUN - 2
    low = int(np.flatnonzero(present & (ahead >= enough))[0]) if (ahead >= enough).any() else 0
    ends = np.flatnonzero(present & (behind >= enough))
    high = int(ends[-1]) if len(ends) else -1
    position = index - index[0]
    return np.asarray((position >= low) & (position <= high))


def _densest(index: IntArray) -> slice:
    """The stretch that has most lines beyond those of ``SPARSE`` filling.

    A pattern that the scale stands on goes on in step with it, now and then.
    """
    # Sums from the first line up to each: before it is counted, and with it.
    lines = np.arange(len(index))
    before = lines - SPARSE * (index - index[0])
    lowest = np.minimum.accumulate(before)
    last = int(np.argmax(before + 1.0 - SPARSE - lowest))
    return slice(int(np.argmin(before[: last + 1])), last + 1)


def _inside(segments: Segments, comb: Comb) -> NDArray[np.bool_]:
    """Which segments overlap the area of a comb, so that it is not found twice."""
    lines = comb.lines
    order = np.argsort(lines.y)
    left = np.interp(segments.y, lines.y[order], lines.left[order])
    right = np.interp(segments.y, lines.y[order], lines.right[order])
    overlap = np.minimum(segments.right, right) - np.maximum(segments.left, left)
    within = (segments.y > lines.y.min() - 2) & (segments.y < lines.y.max() + 2)
    return np.asarray(within & (overlap > 0.5 * np.minimum(segments.length, right - left)))


def _carried(lines: Segments, x: float) -> FloatArray:
    """y of every line at ``x``, by slopes smoothed along the scale [px]."""
    slope = np.polyval(np.polyfit(lines.y, lines.slope, 1), lines.y)
    return np.asarray(lines.y + slope * (x - lines.x))


def _step_between(one: Comb, other: Comb) -> tuple[float, float] | None:
    """Return how much the other's index is behind, fractional, and its standard error."""
    x_other = median_of_row(other.lines.x)
    # Both are carried to one upright line: in a turned picture the columns lean.
    y_there, y_own = _carried(one.lines, x_other), _carried(other.lines, x_other)
    # np.interp would hold the end values outside the range: compare the common part only.
    common = (y_own >= y_there.min()) & (y_own <= y_there.max())
    if common.sum() < MIN_GRADUATIONS:
        return None
    order = np.argsort(y_there)
    y = y_own[common]
    expected = np.interp(y, y_there[order], one.index[order].astype(float))
    behind = expected - other.index[common]
    # Perspective turns the lines steadily along the scale; slopes of lines miss part of it.
    middle = float(np.mean(y))
    trend = np.polyfit(y - middle, behind, 2)
    scatter = 1.4826 * median_of_row(np.abs(behind - np.polyval(trend, y - middle)))
    error = joint_error(one, other)
    turn = abs(trend[1]) * float(np.ptp(y)) / (1 + error / SLOPE_ERROR)
    in_step = scatter < PHASE_TOLERANCE and turn < MAX_TURN
    return (median_of_row(behind), max(error, LEAST_JOINT_ERROR)) if in_step else None


def joint_error(one: Comb, other: Comb) -> float:
    """Divisions by which lines carried from one column to another may miss, by their slope."""
    apart_px = np.abs(median_of_row(other.lines.x) - one.lines.x)
    return SLOPE_ERROR * median_of_row(apart_px) / one.pitch_px
