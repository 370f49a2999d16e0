"""Decode the printed numbers of a scale together, as one arithmetic sequence.

A single label may be smeared, hidden or misread; the sequence as a whole can hardly be
mistaken, because a wrong step, origin or direction contradicts nearly every label. So each
hypothesis for the whole numbering is scored by the product over the labels of the
probability of the string it predicts there (:mod:`limbsight.vision.numeral_strings`), and
the verdict says by how much the best hypothesis leads the next.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numbering import (
    SPURIOUS_DIVISIONS,
    Numbering,
    NumberingTable,
    Prediction,
    Sequences,
    bare_hypotheses,
    enumerate_numberings,
    from_numberings,
    known_scale_hypotheses,
    predict,
)
from limbsight.vision.numeral_columns import NumeralColumn, ScaleGeometry, find_columns
from limbsight.vision.numeral_strings import (
    class_probabilities,
    cut_crops,
    most_likely,
    string_probabilities,
)

__all__ = [
    "LabelEvidence",
    "Numbering",
    "NumberingTable",
    "NumeralVerdict",
    "ScaleGeometry",
    "bare_hypotheses",
    "known_scale_hypotheses",
    "read_numerals",
]

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
OFFSET_FLOOR = -8.0
MOST_LABELS, CONTROL_LABELS, PROBED_LABELS = 16, 8, 4
"""Labels read at most: for the verdict, in a second column, and to rank columns by
legibility. More add time, not certainty."""
GOOD_EVIDENCE = 3.5
"""Mean evidence per label (at most 6.9) at which nothing else is tried."""
OTHER_HEIGHTS = (0.72, 1.4)
"""Heights tried then, relative to the one found: the network's range is 12/17 to 23/17."""
OTHER_STANCES: tuple[Stance, ...] = ("turned", "mirrored", "rising", "falling")
QUARTER_TURNS = {"upright": 0, "mirrored": 0, "rising": 1, "turned": 2, "falling": 3}
MOST_COLUMNS = 3
DECISIVE_MARGIN = 8.0
DECISIVE_LABELS = 3
DECISIVE_AGREEMENT = 0.6
BARE_CLARITY = 5.0
DECISIVE_SHIFT_MARGIN = 3.0
"""Bounds of a decision. On 800 scales drawn in 104 faces unknown to the network
(``training/measure_numerals.py``, seeds 1000 to 1299 and 2000 to 2499) a margin of 8 left no
wrong numbering among known hypotheses (2 of 273 wrong at 4); without an instrument file
the clarity is what the last wrong one lacked (a last figure lost throughout), at the cost of
one answer in twenty. A shift margin of 3 left no number at a wrong graduation. The rates to
quote come from other seeds: see DEVELOPERS.md."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelEvidence:
    """What one label says.

    Attributes
    ----------
    index
        Graduation the label belongs to.
    expected, read
        Text by the best numbering, and by the label alone.
    evidence
        ln of how much likelier the expected text is here than a text of which nothing is
        known; from ln 0.05 = -3 to ln 1000 = 6.9.
    box_px : ndarray, shape (4, 2)
        Outline in the picture.
    """

    index: int
    expected: str
    read: str
    evidence: float
    box_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NumeralVerdict:
    """The numbering that explains the labels best, and how sure that is.

    Attributes
    ----------
    best
        None if no column of numbers was found.
    margin
        Lead of ``best`` over the best numbering with other numbers at the labels, in
        natural log units.
    shift_margin
        Lead over the same numbers moved by whole divisions, from where the figures stand
        beside the graduations. Small where divisions are small beside the figures: then
        only the lengths of the graduations can tell.
    scores : ndarray
        Score of each of ``NumberingTable.numberings``, in their order; empty without.
    evidence_per_label
        Mean evidence of the labels for ``best``.
    labels
        Evidence label by label.
    column
        The column of numbers that was read.
    stance
        How the numbers stand to the scale: upright (their top where the index grows),
        turned (upside down, as in a picture held so), mirrored, or running along the scale
        upward (rising) or downward (falling), as on tubes that lie.
    sign_certain
        False without an instrument file where numbers fall upward and the scale does not
        end at its zero: it may be the lower part of one with its zero inside.
    conflict
        Another column at the same graduations reads well, but differently.
    """

    best: Numbering | None
    margin: float
    shift_margin: float
    scores: FloatArray
    evidence_per_label: float
    labels: tuple[LabelEvidence, ...]
    column: NumeralColumn | None
    stance: Stance
    sign_certain: bool
    conflict: bool

    @property
    def legible(self) -> tuple[LabelEvidence, ...]:
        """Labels that read as anything."""
        return tuple(label for label in self.labels if label.read or label.evidence > 1.0)

    @property
    def agreement(self) -> float:
        """Share of the legible labels that bear ``best`` out."""
        legible = self.legible
        return sum(label.evidence > 1.0 for label in legible) / max(1, len(legible))

    @property
    def clarity(self) -> float:
        """Mean evidence of the legible labels, at most 6.9."""
        legible = self.legible
        return sum(label.evidence for label in legible) / max(1, len(legible))

    @property
    def decisive(self) -> bool:
        """Whether the numbers alone settle the numbering, but for whole divisions.

        ``margin``, the count of labels borne out (one less among known hypotheses) and
        ``agreement`` reach their bounds; without an instrument file ``clarity`` too, the
        sign is certain, and no other column contradicts.
        """
        borne_out = sum(label.evidence > 1.0 for label in self.labels)
        settled = (
            self.best is not None
            and self.margin >= DECISIVE_MARGIN
            and self.agreement >= DECISIVE_AGREEMENT
        )
        if len(self.scores):
            return settled and borne_out >= DECISIVE_LABELS - 1
        clear = borne_out >= DECISIVE_LABELS and self.clarity >= BARE_CLARITY
        return settled and clear and self.sign_certain and not self.conflict

    @property
    def graduation_decisive(self) -> bool:
        """Whether the place of the figures alone settles which graduation they belong to."""
        return self.decisive and self.shift_margin >= DECISIVE_SHIFT_MARGIN


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """Labels of one column as seen: probabilities, texts and outlines."""

    probabilities: FloatArray
    read: tuple[str, ...]
    boxes_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Outcome:
    """Scores of all hypotheses for one proposal, height and stance."""

    sequences: Sequences
    prediction: Prediction
    scores: FloatArray
    evidence: FloatArray
    look: _Look
    column: NumeralColumn
    labels: FloatArray
    last_index: float
    pitch_px: float
    phase_known: bool
    stance: Stance

    @property
    def shift_margin(self) -> float:
        """Lead of the graduations found over those one division up or down."""
        if self.phase_known:
            return np.inf
        scores = _offset_scores(self.column, self.pitch_px, np.array([-1.0, 0.0, 1.0]))
        return float(scores[1] - max(scores[0], scores[2]))

    @property
    def mean(self) -> float:
        """Mean evidence per label of the best hypothesis."""
        return float(self.evidence[int(np.argmax(self.scores))])


def read_numerals(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, hypotheses: NumberingTable
) -> NumeralVerdict:
    """Find the numbers beside a scale and decide how it is numbered.

    Parameters
    ----------
    grey : ndarray, shape (H, W) or (H, W, 3), uint8
        Upright picture, grey or BGR.
    geometry
        Where the graduations are.
    hypotheses
        From :func:`known_scale_hypotheses` or :func:`bare_hypotheses`.

    Returns
    -------
    NumeralVerdict
        Look at ``decisive`` before using ``best``.
    """
    if grey.ndim == 3:
        grey = np.asarray(cv2.cvtColor(grey, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    proposals = find_columns(grey, geometry, hypotheses.numbered_every, hypotheses.phase)
    columns = [column for group in proposals for column in group]
    if not columns:
        return _verdict(None, hypotheses, conflict=False)
    best = _best_outcome(grey, geometry, hypotheses, columns)
    bare = not hypotheses.numberings
    conflict = bare and _contradicted(grey, geometry, hypotheses, best, columns)
    return _verdict(best, hypotheses, conflict=conflict)


def _best_outcome(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    columns: list[NumeralColumn],
) -> _Outcome:
    """Outcome of the first column that reads well, else of the best attempt of all."""
    clearest = columns[0]
    if not hypotheses.numberings and _legibility(grey, geometry, columns[0]) < 0.5:
        columns = _by_legibility(grey, geometry, columns)
    best = _score(grey, geometry, hypotheses, columns[0], "upright", 1.0)
    if best.mean >= GOOD_EVIDENCE:
        return best
    for column in _by_legibility(grey, geometry, columns[1:])[: MOST_COLUMNS - 1]:
        best = _better(best, _score(grey, geometry, hypotheses, column, "upright", 1.0))
        if best.mean >= GOOD_EVIDENCE:
            return best
    for factor in OTHER_HEIGHTS:
        best = _better(
            best, _score(grey, geometry, hypotheses, best.column, "upright", factor)
        )
        if best.mean >= GOOD_EVIDENCE:
            return best
    for stance in OTHER_STANCES:
        best = _better(best, _score(grey, geometry, hypotheses, clearest, stance, 1.0))
    return best


def _by_legibility(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, columns: list[NumeralColumn]
) -> list[NumeralColumn]:
    """Columns with the most labels that read as different numbers first."""
    share = [_legibility(grey, geometry, column) for column in columns]
    order = sorted(range(len(columns)), key=lambda i: (-share[i], -columns[i].score))
    return [columns[i] for i in order]


def _legibility(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, column: NumeralColumn
) -> float:
    """Different numbers among a few labels of a column, over the labels.

    Ends of lines may read as noughts, but not as a sequence.
    """
    labels = _label_indices(geometry, column, PROBED_LABELS)
    read = _look(grey, geometry, column, labels, "upright", 1.0).read
    return len({text for text in read if _is_number(text)}) / len(read)


def _is_number(text: str) -> bool:
    """Whether a text is made of figures and at most one point."""
    return text.replace(".", "", 1).isdigit()


def _better(best: _Outcome, other: _Outcome) -> _Outcome:
    return other if other.mean > best.mean else best


def _contradicted(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    best: _Outcome,
    columns: list[NumeralColumn],
) -> bool:
    """Whether another column at the same graduations is sure of other numbers."""
    for column in columns:
        if column is best.column or _graduations(column) != _graduations(best.column):
            continue
        other = _score(grey, geometry, hypotheses, column, best.stance, 1.0, CONTROL_LABELS)
        mine, theirs = (o.sequences.numbering(int(np.argmax(o.scores))) for o in (best, other))
        ends = other.labels[[0, -1]]
        agree = all(np.isclose(mine.value(k), theirs.value(k)) for k in ends)
        return other.mean >= GOOD_EVIDENCE and not agree
    return False


def _graduations(column: NumeralColumn) -> tuple[int, int]:
    return column.numbered_every, column.phase


def _score(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    column: NumeralColumn,
    stance: Stance,
    factor: float,
    most: int = MOST_LABELS,
) -> _Outcome:
    """Score every hypothesis on the labels of a column, ``most`` of them at most."""
    labels = _label_indices(geometry, column, most)
    if hypotheses.numberings:
        sequences = from_numberings(hypotheses.numberings)
    else:
        sequences = enumerate_numberings(
            hypotheses.divisions, column.numbered_every, labels, float(geometry.index[-1])
        )
    prediction = predict(sequences, labels, column.phase)
    look = _look(grey, geometry, column, labels, stance, factor)
    evidence = _label_evidence(look, prediction, prediction.ids).sum(axis=1)
    if hypotheses.phase is None:
        offset = _offset_scores(column, geometry.pitch_px, prediction.shift)
    else:
        offset = np.where(np.abs(prediction.shift) < 0.5, 0.0, 4 * OFFSET_FLOOR)
    return _Outcome(
        sequences=sequences,
        prediction=prediction,
        scores=evidence + offset,
        evidence=evidence / len(labels),
        look=look,
        column=column,
        labels=labels,
        last_index=float(geometry.index[-1]),
        pitch_px=geometry.pitch_px,
        phase_known=hypotheses.phase is not None,
        stance=stance,
    )


def _label_indices(geometry: ScaleGeometry, column: NumeralColumn, most: int) -> FloatArray:
    """Indices of the numbered graduations, evenly thinned to ``most``."""
    step = column.numbered_every
    first = geometry.index[0] + (column.phase - geometry.index[0]) % step
    every = np.arange(first, geometry.index[-1] + 1, step, dtype=np.float64)
    picked = np.unique(
        np.linspace(0, len(every) - 1, min(most, len(every))).round().astype(int)
    )
    return np.asarray(every[picked])


def _look(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    column: NumeralColumn,
    labels: FloatArray,
    stance: Stance,
    factor: float,
) -> _Look:
    """Run the network on every label of a column."""
    crops, boxes = cut_crops(
        grey, geometry, column, labels, factor, quarter_turns=QUARTER_TURNS[stance]
    )
    if stance == "mirrored":
        crops = np.ascontiguousarray(crops[..., ::-1])
    probabilities = class_probabilities(crops)
    read = tuple(most_likely(p) for p in probabilities)
    return _Look(probabilities=probabilities, read=read, boxes_px=boxes)


def _label_evidence(look: _Look, prediction: Prediction, ids: IntArray) -> FloatArray:
    """Evidence of each label for the texts of ids (H, J): (H, J)."""
    texts = prediction.texts
    distinct = string_probabilities(look.probabilities, texts.distinct)
    text = np.add.reduceat(distinct[:, texts.where], texts.starts, axis=1)
    blank = string_probabilities(look.probabilities, ("",))
    evidence = np.log((1 - MISREAD) * text / CHANCE + MISREAD)
    absent = np.minimum(np.log((1 - MISREAD) * blank / CHANCE + MISREAD), ABSENCE_CREDIT)
    table = np.concatenate((evidence, absent), axis=1)
    return np.asarray(table[np.arange(ids.shape[1]), ids])


def _offset_scores(column: NumeralColumn, pitch_px: float, shift: FloatArray) -> FloatArray:
    """Log-probability of the figures standing where they do about shifted graduations."""
    deviate = (column.offset_px - shift * pitch_px) / max(OFFSET_SD * column.height_px, 0.5)
    return np.asarray(np.maximum(-0.5 * deviate**2, OFFSET_FLOOR))


def _margins(scores: FloatArray, values: FloatArray, best: int) -> tuple[float, float]:
    """Lead of the best over other numbers, and over the same numbers moved."""
    same = np.isclose(values, values[best], rtol=1e-9, atol=1e-9).all(axis=1)
    moved = same.copy()
    moved[best] = False
    lead = scores[best] - np.max(scores[~same], initial=-np.inf)
    return float(lead), float(scores[best] - np.max(scores[moved], initial=-np.inf))


def _verdict(
    outcome: _Outcome | None, hypotheses: NumberingTable, *, conflict: bool
) -> NumeralVerdict:
    if outcome is None:
        return NumeralVerdict(
            best=None,
            margin=0.0,
            shift_margin=0.0,
            scores=np.zeros(len(hypotheses.numberings)),
            evidence_per_label=0.0,
            labels=(),
            column=None,
            stance="upright",
            sign_certain=False,
            conflict=False,
        )
    best = int(np.argmax(outcome.scores))
    values = outcome.prediction.values
    margin, shift_margin = _margins(outcome.scores, values, best)
    if not hypotheses.numberings:
        shift_margin = outcome.shift_margin
    numbering = outcome.sequences.numbering(best)
    falling = numbering.direction < 0 and not hypotheses.numberings
    end_to_zero = abs(numbering.zero_index - outcome.last_index)
    return NumeralVerdict(
        best=numbering,
        margin=margin,
        shift_margin=shift_margin,
        scores=outcome.scores if hypotheses.numberings else np.zeros(0),
        evidence_per_label=outcome.mean,
        labels=_label_report(outcome, best),
        column=outcome.column,
        stance=outcome.stance,
        sign_certain=not falling or end_to_zero <= SPURIOUS_DIVISIONS,
        conflict=conflict,
    )


def _label_report(outcome: _Outcome, best: int) -> tuple[LabelEvidence, ...]:
    """What each label of the best column says about the best hypothesis."""
    look, prediction = outcome.look, outcome.prediction
    ids = prediction.ids[best]
    evidence = _label_evidence(look, prediction, ids[None])[0]
    index = np.rint(outcome.labels + prediction.shift[best]).astype(int)
    return tuple(
        LabelEvidence(
            index=int(index[j]),
            expected=prediction.texts.texts[ids[j]][-1] if ids[j] >= 0 else "",
            read=look.read[j],
            evidence=float(evidence[j]),
            box_px=look.boxes_px[j],
        )
        for j in range(len(ids))
    )
