"""How likely a level lies at each height of one tube, by a network that learnt from tubes.

What makes a level plain to the eye is not one step of colour: a clear liquid in front of a
light board shows by its thin dark meniscus, by the width of the bright bands along the wall
and by the board that it mirrors; a reflection or a graduation shows by what goes on beside
it. A small convolutional network (``training/train_levels.py``) weighs these together, on a
strip reduced to twenty columns a tube. It says where to look and how sure that is; where
exactly the level lies is for the fit of its meniscus.
"""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from pathlib import Path
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.meanwhile import meanwhile
from limbsight.vision.reducing import shrunk
from limbsight.vision.tube_strip import TubeStrip

FloatArray = NDArray[np.float64]

TUBE_COLUMNS, STRIP_COLUMNS = 20, 56
"""Columns of an outside diameter and of a strip, as in the training."""
ROWS_MULTIPLE = 64
"""The network halves the rows six times."""
ROWS_A_PLACE = 2
TONE_FLOOR = 0.03
"""Added to the standard deviation of a strip, as in the training."""
NO_TUBE_STATE = 3
"""Place among the states of the tube."""
KINDS = 4
"""No level, liquid under gas, liquid under liquid, mercury; four states of the tube follow."""
UNDER_GAS = 1
"""Among the kinds."""
COVER = 2
"""Among the states gas, liquid, cover, no tube."""
LEAST_PROBABILITY = 1e-4
"""Less likely places are none: the doubt of a choice begins at a thousand times that."""
LEAST_KIND = 1e-6
"""No network rules out more than that."""
APART_WIDTHS = 0.5
"""Levels nearer to each other than this, in outside diameters, are one."""
SHADE_WIDTHS, FILLING_WIDTHS = 1.0, 3.0
"""Outside diameters from a cover to what may be its edge, and from a place to what may be the
filling on that side: clips are up to a diameter and a half high (common practice, no
source)."""
FIRST, SECOND = "levels_net.onnx", "levels_second_net.onnx"
"""Two networks, of other training: each is sure of some levels that the other one misses."""
WITNESS, SECOND_WITNESS = "levels_witness_net.onnx", "levels_second_witness_net.onnx"
"""The same two, gone on with glare and covers over levels, which show no level then; those two
guess one there from all around it. These are humbler where a tube looks like none that they
have learnt from: they are asked whether a level is where one was found, not where one is."""
PREPARED = 4
"""Strips kept as the networks take them: of two tubes, as they are and about a better axis."""
_LOCK = Lock()
"""A network holds its input: one thread at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a level may lie.

    Attributes
    ----------
    row
        Row of the strip, to about a tenth of the tube's width.
    probability
        That the apex of a level lies within a sixth of the outside diameter.
    """

    row: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TubeView:
    """What the network sees in one tube.

    Attributes
    ----------
    rows : ndarray, shape (P,)
        Rows of the strip to which the others belong.
    kinds : ndarray, shape (P, 4)
        Probability of no level, of liquid under gas, liquid under liquid, mercury.
    states : ndarray, shape (P, 4)
        Probability that the tube shows gas, liquid, a cover, or is not there.
    apart
        Distance of two levels at least [rows of the strip].
    """

    rows: FloatArray
    kinds: FloatArray
    states: FloatArray
    apart: float

    @property
    def level(self) -> FloatArray:
        """Probability of a level of any kind, shape (P,)."""
        return np.asarray(1.0 - self.kinds[:, 0])

    def pooled(self, other: TubeView) -> TubeView:
        """One view of two of one strip: the geometric mean of what both say of levels.

        So where one is sure and the other leans the same way they are sure together, while
        their arithmetic mean leaves in doubt whatever one of them does.
        """
        kinds = np.sqrt(
            np.maximum(self.kinds, LEAST_KIND) * np.maximum(other.kinds, LEAST_KIND)
        )
        return replace(
            self,
            kinds=kinds / kinds.sum(axis=1, keepdims=True),
            states=0.5 * (self.states + other.states),
        )

    def at(self, row: float) -> float:
        """Return the probability of a level at the place nearest to a row."""
        return float(self.level[self.nearest(row)])

    def nearest(self, row: float) -> int:
        """Return which place is nearest to a row."""
        return int(np.abs(self.rows - row).argmin())

    def near(self, row: float, reach: float) -> float:
        """Return the highest probability of a level within ``reach`` rows."""
        return float(self.level[np.abs(self.rows - row) <= reach].max(initial=0.0))

    def of_kind(self, kind: int, row: float, reach: float) -> float:
        """Return the highest probability of a level of one kind within ``reach`` rows."""
        near = np.abs(self.rows - row) <= reach
        return float(self.kinds[near, kind].max(initial=0.0))

    def under_gas(self, row: float, reach: float) -> float:
        """Return the highest probability of a level under gas within ``reach`` rows."""
        return self.of_kind(UNDER_GAS, row, reach)

    def covered(self, row: float, reach: float) -> float:
        """Return the highest probability of a cover within ``reach`` rows."""
        near = np.abs(self.rows - row) <= reach
        return float(self.states[near, COVER].max(initial=0.0))

    def fillings_beside(self, row: float, count: int) -> NDArray[np.bool_]:
        """Say of each of the strip's ``count`` rows whether it may show the filling above or
        below a place.

        Not where more speaks for a cover or no tube, nor between the place and a cover next
        to it, whose edge and shade it may be, nor far beyond.
        """
        unseen = self.states[:, COVER] + self.states[:, NO_TUBE_STATE] >= 0.5
        away = (self.rows - row) / (2.0 * self.apart)
        for way in (-1, 1):
            covers = way * away[unseen & (way * away > 0)]
            if covers.min(initial=np.inf) <= SHADE_WIDTHS:
                unseen |= (way * away >= 0) & (way * away <= covers.min())
        unseen |= np.abs(away) > FILLING_WIDTHS
        return np.asarray(np.interp(np.arange(count), self.rows, unseen.astype(float)) < 0.5)

    def places(self, rows: tuple[float, float]) -> tuple[Place, ...]:
        """Return where levels may lie between two rows, likeliest first."""
        rest = self.level
        outside = (self.rows < rows[0]) | (self.rows > rows[1])
        found = []
        while len(rest) and rest.max() > LEAST_PROBABILITY:
            top = int(np.argmax(rest))
            near = np.abs(self.rows - self.rows[top]) < self.apart
            if not outside[top]:
                # The tolerance about an apex makes a plateau: its middle is the place.
                plateau = np.where(near, rest, 0.0)
                middle = float(plateau @ self.rows / plateau.sum())
                found.append(Place(row=middle, probability=float(rest[top])))
            rest = np.where(near, 0.0, rest)
        return tuple(found)


@cache
def _network(name: str) -> cv2.dnn.Net:
    return cv2.dnn.readNetFromONNX(str(Path(__file__).parent / name))


def look(strip: TubeStrip, network: str = FIRST) -> TubeView:
    """Run a network over one tube.

    Parameters
    ----------
    strip
        At least 2.8 outside diameters wide; a narrower one is continued by its rims.
    network
        One of the four.
    """
    return look_meanwhile(strip, network).result()


def look_meanwhile(strip: TubeStrip, network: str = FIRST) -> Future[TubeView]:
    """Run a network over one tube, while this thread goes on."""
    return meanwhile(_looked, strip, _prepared(strip), network)


def look_again(strip: TubeStrip) -> TubeView:
    """Run the second network over one tube."""
    return _looked(strip, _prepared(strip), SECOND)


def _share(strip: TubeStrip) -> float:
    return TUBE_COLUMNS / strip.width_columns


def _looked(strip: TubeStrip, picture: NDArray[np.float32], name: str) -> TubeView:
    with _LOCK:
        network = _network(name)
        network.setInput(picture)
        scores = np.asarray(network.forward())[0, :, 0].T.astype(np.float64)
    places = np.arange(len(scores), dtype=np.float64) + 0.5
    rows = ROWS_A_PLACE * places / _share(strip) - 0.5
    scores = scores[rows < len(strip.bgr)]
    return TubeView(
        rows=rows[: len(scores)],
        kinds=_shares(scores[:, :KINDS]),
        states=_shares(scores[:, KINDS:]),
        apart=APART_WIDTHS * strip.width_columns,
    )


@lru_cache(maxsize=PREPARED)
def _prepared(strip: TubeStrip) -> NDArray[np.float32]:
    """Reduce a strip to the network's columns and lay it down: (1, 3, 56, R), red first, even
    in tone."""
    bgr, share = strip.bgr, _share(strip)
    size = (max(round(bgr.shape[1] * share), 1), max(round(bgr.shape[0] * share), 1))
    small = shrunk(bgr, size) if share < 1 else cv2.resize(bgr, size)
    missing = max(STRIP_COLUMNS - size[0], 0)
    sides = (missing // 2, missing - missing // 2)
    small = cv2.copyMakeBorder(small, 0, 0, *sides, cv2.BORDER_REPLICATE)
    left = (small.shape[1] - STRIP_COLUMNS) // 2
    bgr_planes = cv2.split(cv2.transpose(small[:, left : left + STRIP_COLUMNS]))
    rgb = np.stack(bgr_planes[::-1]).astype(np.float32) / 255
    rgb -= rgb.mean(axis=(1, 2), keepdims=True)
    rgb /= rgb.std() + TONE_FLOOR
    rows = ((0, 0), (0, 0), (0, -rgb.shape[2] % ROWS_MULTIPLE))
    return np.pad(rgb, rows)[None].astype(np.float32, copy=False)


def _shares(scores: FloatArray) -> FloatArray:
    """Probabilities from scores, which sum to one in each row."""
    odds = np.exp(scores - scores.max(axis=1, keepdims=True))
    return np.asarray(odds / odds.sum(axis=1, keepdims=True))
