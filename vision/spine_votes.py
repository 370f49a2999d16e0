"""Lines of ends: a Hough vote for straight lines that many lines end on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import MIN_GRADUATIONS, Side
from limbsight.vision.quantiles import median_of_row, quantile_of_few
from limbsight.vision.segments import MAX_SLOPE, Segments
from limbsight.vision.spine_curve import parabola

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

END_TOLERANCE_PX = 2.5
"""Ends are smeared by half the smoothing length of the segment finder (2 px)."""
LEANS = 145
"""Steps of 5 mrad: over half of a 1600 px scale an end strays 2 px."""
FEW_SHARE = 0.25
"""Votes over cells below which it takes less time to cast them one by one."""
MAX_OCTAVES = 5.0


class SpineVotes:
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
            line = parabola(y, ends, near)
        near = np.abs(ends - line) < 1.5 * cell
        members = candidates[near]
        if len(members) < MIN_GRADUATIONS:
            return None
        # Lines of one scale are printed alike; shadow and blur take a factor of four at most.
        strong = quantile_of_few(lines.strength[members], 0.7, axis=0)
        return np.asarray(members[lines.strength[members] > 0.25 * strong])
