"""Where tubes stand before a board, by two small networks.

Tubes of unknown number and width are hard to tell from rods, strips and edges of planks by
their edges alone. Networks trained on boards of drawn and path-traced photographs
(``training/train_limbs.py``) give for each column of the straightened board the probability
that a tube's axis is there, and the tube's outside diameter; they decide together. They
propose and veto; where exactly an axis is, edges say (`limbsight.vision.limbs`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

NETWORKS = "limbs_net.onnx", "limbs_second_net.onnx"
"""Trained alike, from other beginnings."""
ROWS = 128
"""Rows of the board as the networks see it, whatever the length of the scale."""
USUAL_WIDTH = 12.0
"""Columns to an outside diameter at which the networks' second score is 0."""
MIN_COLUMNS = 64
LEAST = 0.05
"""Probability of a tube below which a column is no candidate."""
LIKE_BEST = 0.6
"""Share of the best candidate's probability from which on its width counts."""
NEAREST_WIDTHS = 0.75
"""Axes of two tubes are at least a diameter apart; three quarters allow for an error."""
_LOCK = Lock()
"""A network holds its input: one thread at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedLimb:
    """A tube as the networks see it, in columns of the board handed in."""

    centre_column: float
    width_columns: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedLimbs:
    """Where tubes may be, left to right, and how wide they are.

    Attributes
    ----------
    candidates
        With a probability of ``LEAST`` and more.
    width_columns
        Outside diameter: the tubes of one instrument are alike.
    """

    candidates: tuple[ProposedLimb, ...]
    width_columns: float

    @property
    def best(self) -> float:
        """Probability of the likeliest."""
        return max(limb.probability for limb in self.candidates)


@cache
def _networks() -> tuple[cv2.dnn.Net, ...]:
    folder = Path(__file__).parent
    return tuple(cv2.dnn.readNetFromONNX(str(folder / name)) for name in NETWORKS)


def _scores(blob: NDArray[np.float32]) -> FloatArray:
    """Mean log-odds of an axis and mean ln(width / USUAL_WIDTH), shape (2, C)."""
    with _LOCK:
        return np.asarray(np.mean([_score(net, blob) for net in _networks()], axis=0))


def _score(network: cv2.dnn.Net, blob: NDArray[np.float32]) -> FloatArray:
    network.setInput(blob)
    return np.asarray(network.forward(), np.float64)[0, :, 0]


def propose_limbs(
    straight: NDArray[np.uint8], columns_per_width: float
) -> ProposedLimbs | None:
    """Find tubes before a straightened board.

    Parameters
    ----------
    straight : ndarray, shape (R, C, 3), uint8
        The board over the length of its scale, tubes upright, BGR.
    columns_per_width
        Columns to the outside diameter to be expected; tubes from half to twice as wide are
        found.
    """
    shrink = USUAL_WIDTH / columns_per_width
    columns = max(2 * round(straight.shape[1] * shrink / 2), MIN_COLUMNS)
    small = cv2.resize(straight, (columns, ROWS), interpolation=cv2.INTER_AREA)
    blob = cv2.dnn.blobFromImage(small, 1 / 255.0, swapRB=True)
    score = _scores(np.asarray(blob, np.float32))
    probability = 1 / (1 + np.exp(-score[0]))
    width = USUAL_WIDTH * np.exp(score[1])
    back = straight.shape[1] / columns
    seen = [
        ProposedLimb(
            centre_column=(column + 0.5) * back - 0.5,
            width_columns=size * back,
            probability=chance,
        )
        for column, size, chance in _peaks(probability, width)
    ]
    if not seen:
        return None
    best = max(limb.probability for limb in seen)
    sizes = [limb.width_columns for limb in seen if limb.probability >= LIKE_BEST * best]
    return ProposedLimbs(candidates=tuple(seen), width_columns=float(np.median(sizes)))


def _peaks(probability: FloatArray, width: FloatArray) -> list[tuple[float, float, float]]:
    """Column, width and probability of each local maximum, left to right."""
    rest = probability.copy()
    found = []
    while True:
        top = int(np.argmax(rest))
        if rest[top] < LEAST:
            break
        near = slice(max(top - 2, 0), top + 3)
        weight = probability[near]
        column = float((np.arange(len(rest))[near] * weight).sum() / weight.sum())
        size = float((width[near] * weight).sum() / weight.sum())
        found.append((column, size, float(probability[top])))
        reach = max(round(NEAREST_WIDTHS * size), 2)
        rest[max(top - reach, 0) : top + reach + 1] = 0.0
    return sorted(found)
