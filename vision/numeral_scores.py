"""Score every hypothesis for the numbering of a scale on one column of numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numbering import (
    Numbering,
    NumberingTable,
    Prediction,
    Sequences,
    enumerate_numberings,
    from_numberings,
    predict,
)
from limbsight.vision.numeral_columns import NumeralColumn, ScaleGeometry
from limbsight.vision.numeral_strings import (
    class_probabilities,
    cut_crops,
    most_likely,
    string_probabilities,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Stance: TypeAlias = Literal["upright", "turned", "mirrored", "rising", "falling"]

MISREAD = 0.05
"""Probability that a label shows something the network can't have learnt (a clip over it,
glare, dirt); bounds what one label can say against a hypothesis to ln 0.05 = -3."""
CHANCE = 1e-3
"""Probability of a given string where nothing is known: one of about a thousand numbers;
bounds what one label can say for a hypothesis to ln 1000 = 6.9."""
ABSENCE_CREDIT = 1.0
"""A label that is rightly absent says little: it may as well be hidden."""
OFFSET_SD = 0.12
"""Spread of the middle of figures about their graduation, in figure heights; figures are
set by eye or by their box (from drawn scales in 29 faces)."""
LYING_OFFSET_SD = 0.35
"""The same of figures that run along the scale, in lengths of a number, where no file says how
they are set: their middle at their line, or their beginning or end, half of that off."""
OFFSET_FLOOR = -8.0
FAR_HEIGHTS = 1.25
"""No figure stands so far from its line: on it, above or below it by half a height, and three
quarters of one to spare. Half-centimetre lines, which look like numbered ones, are farther off
where divisions are finer than a quarter of the figures."""
FAR_FLOORS = 4.0
"""What such a place costs, in floors: more than the lengths of lines usually say for it
(judgement, no source)."""
MOST_LABELS = 16
"""Labels read at most; more add time, not certainty."""
QUARTER_TURNS = {"upright": 0, "mirrored": 0, "rising": 1, "turned": 2, "falling": 3}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """Labels of one column as seen: probabilities, texts and outlines."""

    probabilities: FloatArray
    read: tuple[str, ...]
    boxes_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """Scores of all hypotheses for one proposal, height and stance.

    ``evidence`` is the mean of each over the labels, ``by_label`` (J,) that of the best.
    """

    sequences: Sequences
    prediction: Prediction
    scores: FloatArray
    evidence: FloatArray
    by_label: FloatArray
    look: Look
    column: NumeralColumn
    labels: FloatArray
    factor: float
    pitch_px: float
    u_slope: float
    phase_known: bool
    stance: Stance

    @property
    def numbering(self) -> Numbering:
        """The best hypothesis."""
        return self.sequences.numbering(int(np.argmax(self.scores)))

    @property
    def shift_margin(self) -> float:
        """Lead of the graduations found over those one division up or down."""
        if self.phase_known:
            return np.inf
        steps = np.array([-1.0, 0.0, 1.0])
        spread_px = _spread_px(self.column, _offset_sd(self.stance), self.u_slope)
        scores = _offset_scores(self.column, self.pitch_px, steps, spread_px)
        return float(scores[1] - max(scores[0], scores[2]))

    @property
    def above_px(self) -> float:
        """How far the middle of the figures stands above the graduations of the best
        hypothesis."""
        shift = self.prediction.shift[int(np.argmax(self.scores))]
        return float(self.column.offset_px - shift * self.pitch_px)

    @property
    def is_far_from_lines(self) -> bool:
        """Whether the best hypothesis has the figures where none are set beside their lines:
        the right one is not among them."""
        far = abs(self.above_px) > FAR_HEIGHTS * self.column.height_px
        return not self.phase_known and far

    @property
    def mean(self) -> float:
        """Mean evidence per label of the best hypothesis."""
        return float(self.evidence[int(np.argmax(self.scores))])


def score_column(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    column: NumeralColumn,
    stance: Stance,
    factor: float,
    most: int = MOST_LABELS,
) -> Outcome:
    """Score every hypothesis on the labels of a column, ``most`` of them at most."""
    labels = label_indices(geometry, column, most)
    if hypotheses.numberings:
        sequences = from_numberings(hypotheses.numberings)
    else:
        sequences = enumerate_numberings(
            hypotheses.divisions, column.numbered_every, labels, float(geometry.uppermost)
        )
    prediction = predict(sequences, labels, column.phase)
    look = look_at(grey, geometry, column, labels, stance, factor)
    by_label = label_evidence(look, prediction, prediction.ids)
    evidence = by_label.sum(axis=1)
    if hypotheses.phase is None:
        # Softer places of a known scale would leave half-way lines as likely as long ones.
        spread = OFFSET_SD if hypotheses.numberings else _offset_sd(stance)
        spread_px = _spread_px(column, spread, geometry.u_slope)
        offset = _offset_scores(column, geometry.pitch_px, prediction.shift, spread_px)
    else:
        offset = np.where(np.abs(prediction.shift) < 0.5, 0.0, 4 * OFFSET_FLOOR)
    return Outcome(
        sequences=sequences,
        prediction=prediction,
        scores=evidence + offset,
        evidence=evidence / len(labels),
        by_label=by_label[int(np.argmax(evidence + offset))],
        look=look,
        column=column,
        labels=labels,
        factor=factor,
        pitch_px=geometry.pitch_px,
        u_slope=geometry.u_slope,
        phase_known=hypotheses.phase is not None,
        stance=stance,
    )


def label_indices(geometry: ScaleGeometry, column: NumeralColumn, most: int) -> FloatArray:
    """Indices of the numbered graduations, evenly thinned to ``most``."""
    step = column.numbered_every
    first = geometry.index[0] + (column.phase - geometry.index[0]) % step
    every = np.arange(first, geometry.index[-1] + 1, step, dtype=np.float64)
    picked = np.unique(
        np.linspace(0, len(every) - 1, min(most, len(every))).round().astype(int)
    )
    return np.asarray(every[picked])


def look_at(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    column: NumeralColumn,
    labels: FloatArray,
    stance: Stance,
    factor: float,
) -> Look:
    """Run the network on every label of a column."""
    crops, boxes = cut_crops(
        grey, geometry, column, labels, factor, quarter_turns=QUARTER_TURNS[stance]
    )
    if stance == "mirrored":
        crops = np.ascontiguousarray(crops[..., ::-1])
    probabilities = class_probabilities(crops)
    read = tuple(most_likely(p) for p in probabilities)
    return Look(probabilities=probabilities, read=read, boxes_px=boxes)


def label_evidence(look: Look, prediction: Prediction, ids: IntArray) -> FloatArray:
    """Evidence of each label for the texts of ids (H, J): (H, J)."""
    texts = prediction.texts
    distinct = string_probabilities(look.probabilities, texts.distinct)
    text = np.add.reduceat(distinct[:, texts.where], texts.starts, axis=1)
    blank = string_probabilities(look.probabilities, ("",))
    evidence = np.log((1 - MISREAD) * text / CHANCE + MISREAD)
    absent = np.minimum(np.log((1 - MISREAD) * blank / CHANCE + MISREAD), ABSENCE_CREDIT)
    table = np.concatenate((evidence, absent), axis=1)
    return np.asarray(table[np.arange(ids.shape[1]), ids])


def _offset_sd(stance: Stance) -> float:
    return LYING_OFFSET_SD if QUARTER_TURNS[stance] % 2 else OFFSET_SD


def _spread_px(column: NumeralColumn, spread: float, u_slope: float) -> float:
    """Standard deviation of the figures' place along the scale [px], ``spread`` in heights of
    a figure."""
    set_px = max(spread * column.height_px, 0.5)
    return float(np.hypot(set_px, u_slope * column.across_px))


def _offset_scores(
    column: NumeralColumn, pitch_px: float, shift: FloatArray, spread_px: float
) -> FloatArray:
    """Log-probability of the figures standing where they do about shifted graduations."""
    away = np.asarray(column.offset_px - shift * pitch_px)
    far = np.abs(away) > FAR_HEIGHTS * column.height_px
    return np.where(far, FAR_FLOORS, 1.0) * np.maximum(
        -0.5 * (away / spread_px) ** 2, OFFSET_FLOOR
    )
