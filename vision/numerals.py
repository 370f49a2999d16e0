"""Decode the printed numbers of a scale together, as one arithmetic sequence.

A single label may be smeared, hidden or misread; the sequence as a whole can hardly be
mistaken, because a wrong step, origin or direction contradicts nearly every label. So each
hypothesis for the whole numbering is scored by the product over the labels of the
probability of the string it predicts there (:mod:`limbsight.vision.numeral_strings`), and
the verdict says by how much the best hypothesis leads the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numeral_columns import NumeralColumn, ScaleGeometry, find_columns
from limbsight.vision.numeral_strings import (
    class_probabilities,
    cut_crops,
    most_likely,
    string_probabilities,
)

__all__ = [
    "LabelEvidence",
    "NumeralVerdict",
    "Numbering",
    "NumberingTable",
    "ScaleGeometry",
    "bare_hypotheses",
    "known_scale_hypotheses",
    "read_numerals",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Numbers: TypeAlias = Literal["upward", "downward", "away-from-zero"]
Stance: TypeAlias = Literal["upright", "turned", "mirrored"]

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
KNOWN_LABELS, BARE_LABELS = 16, 20
"""Labels read at most; more add time, not certainty."""
GOOD_EVIDENCE = 3.5
"""Mean evidence per label (at most 6.9) at which no other height or stance is tried."""
OTHER_ATTEMPTS: tuple[tuple[Stance, float], ...] = (
    ("upright", 0.72),
    ("upright", 1.4),
    ("turned", 1.0),
    ("mirrored", 1.0),
)
"""Heights relative to the one found (the network's range is 12/17 to 23/17), and the ways a
picture may be turned about."""
MOST_COLUMNS = 3
PROBED_LABELS = 4
DECISIVE_MARGIN = 8.0
DECISIVE_LABELS = 3
BARE_DIVISIONS = (
    0.01, 0.02, 0.05, 0.0625, 0.1, 0.125, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0,
)  # fmt: skip
"""Values of one division in common practice, no source."""
BARE_NUMBERS = 150
"""Numbers from zero to the end of a scale, at most."""
UNITS = (
    "mm", "cm", "in", "m", "mmHg", "cmHg", "inHg", "mmH2O", "cmH2O", "inH2O", "mbar", "bar",
    "kPa", "hPa", "Pa", "psi",
)  # fmt: skip
UNIT_PROBABILITY = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbering:
    """One way to number a scale.

    Attributes
    ----------
    numbered_every
        Divisions between numbers.
    division
        Value of one division, in the unit printed.
    direction
        +1 if values grow with the index (upward), -1 if they fall.
    unsigned
        Printed without sign, zero inside.
    zero_index
        Index at which the value is zero; may lie off the scale.
    lowest, highest
        Ends of the scale, in the unit printed; infinite if unknown.
    """

    numbered_every: int
    division: float
    direction: int
    unsigned: bool
    zero_index: float
    lowest: float = -np.inf
    highest: float = np.inf

    def value(self, index: float) -> float:
        """Signed value at an index."""
        return self.direction * self.division * (index - self.zero_index)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberingTable:
    """Hypotheses to choose from.

    Attributes
    ----------
    numbered_every
        Divisions between numbers, or None if it is to be found in the picture.
    numberings
        The hypotheses; empty if they follow from ``divisions`` and the labels found.
    divisions
        Values of one division considered where ``numberings`` is empty.
    phase
        Index of a numbered graduation modulo ``numbered_every``, if known from the lengths
        of the graduations.
    """

    numbered_every: int | None
    numberings: tuple[Numbering, ...] = ()
    divisions: tuple[float, ...] = ()
    phase: int | None = None


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
        How the numbers stand in the picture.
    sign_certain
        False where numbers falling upward may be the lower part of a scale with its zero
        out of sight.
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
    def decisive(self) -> bool:
        """Whether the numbers alone settle the numbering (see ``DECISIVE_MARGIN``)."""
        agreeing = sum(label.evidence > 1.0 for label in self.labels)
        return (
            self.best is not None
            and self.margin >= DECISIVE_MARGIN
            and agreeing >= DECISIVE_LABELS
            and not self.conflict
        )


def known_scale_hypotheses(
    *,
    division: float,
    numbered_every: float,
    lowest: float,
    highest: float,
    numbers: Numbers,
    lowest_index: Iterable[int],
    phase: int | None = None,
) -> NumberingTable:
    """Hypotheses for a scale whose instrument file is known, shifted by whole divisions.

    Parameters
    ----------
    division, numbered_every, lowest, highest
        As in the instrument file, in its unit; numbers stand at whole multiples of
        ``numbered_every``.
    numbers
        Direction of the numbers.
    lowest_index
        Index, in the picture, of the lower end of the scale: each is a hypothesis. The
        lower end is ``lowest`` unless numbers run downward.
    phase
        Index of a numbered graduation modulo the step, if known.
    """
    direction = -1 if numbers == "downward" else 1
    bottom = (highest if direction < 0 else lowest) / (division * direction)
    step = round(numbered_every / division)
    numberings = (
        Numbering(
            numbered_every=step,
            division=division,
            direction=direction,
            unsigned=numbers == "away-from-zero",
            zero_index=k - bottom,
            lowest=lowest,
            highest=highest,
        )
        for k in lowest_index
    )
    return NumberingTable(numbered_every=step, numberings=tuple(numberings), phase=phase)


def bare_hypotheses(
    *,
    divisions: Sequence[float] = BARE_DIVISIONS,
    numbered_every: int | None = None,
    phase: int | None = None,
) -> NumberingTable:
    """Hypotheses for a scale of which nothing is known.

    Parameters
    ----------
    divisions
        Values that one division may have.
    numbered_every, phase
        Divisions between numbers and index of a numbered graduation, if the lengths of the
        graduations tell them.
    """
    return NumberingTable(
        numbered_every=numbered_every, divisions=tuple(divisions), phase=phase
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sequences:
    """Hypotheses as arrays of shape (H,); attributes as in :class:`Numbering`."""

    step: int
    division: FloatArray
    direction: FloatArray
    unsigned: NDArray[np.bool_]
    zero_index: FloatArray
    lowest: FloatArray
    highest: FloatArray

    def numbering(self, which: int) -> Numbering:
        return Numbering(
            numbered_every=self.step,
            division=float(self.division[which]),
            direction=int(self.direction[which]),
            unsigned=bool(self.unsigned[which]),
            zero_index=float(self.zero_index[which]),
            lowest=float(self.lowest[which]),
            highest=float(self.highest[which]),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Prediction:
    """Texts that (H,) hypotheses predict at (J,) labels.

    ``shift`` (H,) is the predicted graduation less the one the labels were found at,
    ``ids`` (H, J) points into ``texts`` (-1: no label), ``values`` (H, J) is the signed
    number, ``texts`` holds the spellings of each.
    """

    shift: FloatArray
    ids: IntArray
    values: FloatArray
    texts: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """Labels of one column as seen: probabilities, texts and outlines."""

    probabilities: FloatArray
    read: tuple[str, ...]
    boxes_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Outcome:
    """Scores of all hypotheses for one proposal, height and stance."""

    sequences: _Sequences
    prediction: _Prediction
    scores: FloatArray
    evidence: FloatArray
    look: _Look
    column: NumeralColumn
    labels: FloatArray
    stance: Stance

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
    columns = _by_legibility(grey, geometry, [c for group in proposals for c in group])
    best: _Outcome | None = None
    for column in columns[:MOST_COLUMNS]:
        best = _better(best, _score(grey, geometry, hypotheses, column, "upright", 1.0))
        if best.mean >= GOOD_EVIDENCE:
            break
    if best is not None and best.mean < GOOD_EVIDENCE:
        for stance, factor in OTHER_ATTEMPTS:
            other = _score(grey, geometry, hypotheses, best.column, stance, factor)
            best = _better(best, other)
            if best.mean >= GOOD_EVIDENCE:
                break
    if best is None:
        return _verdict(None, hypotheses, conflict=False)
    conflict = not hypotheses.numberings and _contradicted(
        grey, geometry, hypotheses, best, columns
    )
    return _verdict(best, hypotheses, conflict=conflict)


def _by_legibility(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, columns: list[NumeralColumn]
) -> list[NumeralColumn]:
    """Columns with the most labels that read as numbers first, from a few labels each."""
    if len(columns) < 2:
        return columns
    looks = [
        _look(grey, geometry, c, _label_indices(geometry, c, PROBED_LABELS), "upright", 1.0)
        for c in columns
    ]
    share = [np.mean([_is_number(text) for text in look.read]) for look in looks]
    order = sorted(range(len(columns)), key=lambda i: (-share[i], -columns[i].score))
    return [columns[i] for i in order]


def _is_number(text: str) -> bool:
    """Whether a text is made of figures and at most one point."""
    return text.replace(".", "", 1).isdigit()


def _better(best: _Outcome | None, other: _Outcome) -> _Outcome:
    return other if best is None or other.mean > best.mean else best


def _contradicted(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    best: _Outcome,
    columns: list[NumeralColumn],
) -> bool:
    """Whether another column at the same graduations is sure of other numbers."""
    for column in columns:
        same = (column.numbered_every, column.phase) == (
            best.column.numbered_every,
            best.column.phase,
        )
        if column is best.column or not same:
            continue
        other = _score(grey, geometry, hypotheses, column, best.stance, 1.0)
        if other.mean < GOOD_EVIDENCE:
            return False
        mine, theirs = (o.prediction.values[int(np.argmax(o.scores))] for o in (best, other))
        return not np.allclose(mine, theirs)
    return False


def _score(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    column: NumeralColumn,
    stance: Stance,
    factor: float,
) -> _Outcome:
    """Score every hypothesis on the labels of a column."""
    most = KNOWN_LABELS if hypotheses.numberings else BARE_LABELS
    labels = _label_indices(geometry, column, most)
    if hypotheses.numberings:
        sequences = _from_numberings(hypotheses.numberings)
    else:
        sequences = _enumerate(hypotheses.divisions, column.numbered_every, labels)
    prediction = _predict(sequences, labels, column.phase)
    look = _look(grey, geometry, column, labels, stance, factor)
    evidence = _label_evidence(look, prediction, prediction.ids).sum(axis=1)
    offset = _offset_score(prediction, column, geometry, hypotheses.phase)
    return _Outcome(
        sequences=sequences,
        prediction=prediction,
        scores=evidence + offset,
        evidence=evidence / len(labels),
        look=look,
        column=column,
        labels=labels,
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


def _from_numberings(numberings: tuple[Numbering, ...]) -> _Sequences:
    def column(name: str) -> FloatArray:
        return np.array([getattr(n, name) for n in numberings], dtype=np.float64)

    return _Sequences(
        step=numberings[0].numbered_every,
        division=column("division"),
        direction=column("direction"),
        unsigned=column("unsigned") > 0,
        zero_index=column("zero_index"),
        lowest=column("lowest"),
        highest=column("highest"),
    )


def _enumerate(divisions: tuple[float, ...], step: int, labels: FloatArray) -> _Sequences:
    """Every numbering with zero at a multiple of the step from the labels.

    Numbers growing upward may have their zero inside and are then taken as printed without
    sign (a printed minus sign is not read). Numbers falling upward all the way are taken as
    a downward scale.
    """
    span = round((labels[-1] - labels[0]) / step)
    growing = np.arange(1 - span, BARE_NUMBERS - span)
    falling = np.arange(span, BARE_NUMBERS)
    first = np.concatenate((growing, falling))
    direction = np.concatenate((np.ones(len(growing)), -np.ones(len(falling))))
    count = len(divisions)
    everywhere = np.full(count * len(first), np.inf)
    return _Sequences(
        step=step,
        division=np.repeat(divisions, len(first)),
        direction=np.tile(direction, count),
        unsigned=np.tile((direction > 0) & (first < 0), count),
        zero_index=np.tile(labels[0] - direction * first * step, count),
        lowest=-everywhere,
        highest=everywhere,
    )


def _predict(sequences: _Sequences, labels: FloatArray, phase: int) -> _Prediction:
    """Texts at the labels; hypotheses between labels are taken at the nearest ones."""
    step = sequences.step
    shift = (sequences.zero_index - phase + step / 2) % step - step / 2
    place = labels[None, :] + shift[:, None] - sequences.zero_index[:, None]
    number = sequences.direction[:, None] * np.rint(place / step)
    values = number * (step * sequences.division)[:, None]
    slack = 1e-6 * step * sequences.division
    present = (values >= (sequences.lowest - slack)[:, None]) & (
        values <= (sequences.highest + slack)[:, None]
    )
    steps, which = np.unique(step * sequences.division, return_inverse=True)
    key = np.abs(number).astype(np.int64) * len(steps) + which[:, None]
    known, ids = np.unique(key, return_inverse=True)
    texts = tuple(_spellings(k // len(steps), float(steps[k % len(steps)])) for k in known)
    ids = np.where(present, ids.reshape(key.shape), -1)
    return _Prediction(shift=shift, ids=ids, values=values, texts=texts)


def _spellings(number: int, step: float) -> tuple[str, ...]:
    """Ways to print ``number`` steps from zero: 0.5 as 0.5 or .5, 1 as 1 or 1.0."""
    value = number * step
    decimals = len(f"{step:.6f}".rstrip("0").split(".")[1])
    fixed = f"{value:.{decimals}f}"
    short = f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else fixed
    bare = short[1:] if short.startswith("0.") else short
    return tuple(dict.fromkeys((fixed, short, bare)))


def _look(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    column: NumeralColumn,
    labels: FloatArray,
    stance: Stance,
    factor: float,
) -> _Look:
    """Run the network on every label of a column."""
    crops, boxes = cut_crops(grey, geometry, column, labels, factor, turned=stance == "turned")
    if stance == "mirrored":
        crops = np.ascontiguousarray(crops[..., ::-1])
    probabilities = class_probabilities(crops)
    read = tuple(most_likely(p) for p in probabilities)
    return _Look(probabilities=probabilities, read=read, boxes_px=boxes)


def _label_evidence(look: _Look, prediction: _Prediction, ids: IntArray) -> FloatArray:
    """Evidence of each label for the texts of ids (H, J): (H, J)."""
    spellings = [text for texts in prediction.texts for text in texts]
    starts = np.cumsum([0] + [len(texts) for texts in prediction.texts])[:-1]
    distinct, where = np.unique([*spellings, ""], return_inverse=True)
    single = string_probabilities(look.probabilities, [str(text) for text in distinct])[
        :, where
    ]
    text = np.add.reduceat(single[:, :-1], starts, axis=1)
    evidence = np.log((1 - MISREAD) * text / CHANCE + MISREAD)
    absent = np.minimum(
        np.log((1 - MISREAD) * single[:, -1:] / CHANCE + MISREAD), ABSENCE_CREDIT
    )
    table = np.concatenate((evidence, absent), axis=1)
    return np.asarray(table[np.arange(ids.shape[1]), ids])


def _offset_score(
    prediction: _Prediction,
    column: NumeralColumn,
    geometry: ScaleGeometry,
    phase: int | None,
) -> FloatArray:
    """Log-probability of the figures standing where they do about their graduation."""
    if phase is not None:
        return np.asarray(np.where(np.abs(prediction.shift) < 0.5, 0.0, 4 * OFFSET_FLOOR))
    distance = column.offset_px - prediction.shift * geometry.pitch_px
    deviate = distance / max(OFFSET_SD * column.height_px, 0.5)
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
            best=None, margin=0.0, shift_margin=0.0, scores=np.zeros(len(hypotheses.numberings)),
            evidence_per_label=0.0, labels=(), column=None, stance="upright", sign_certain=False,
            conflict=False,
        )  # fmt: skip
    best = int(np.argmax(outcome.scores))
    values = outcome.prediction.values
    margin, shift_margin = _margins(outcome.scores, values, best)
    numbering = outcome.sequences.numbering(best)
    falling = numbering.direction < 0 and not hypotheses.numberings
    return NumeralVerdict(
        best=numbering,
        margin=margin,
        shift_margin=shift_margin,
        scores=outcome.scores if hypotheses.numberings else np.zeros(0),
        evidence_per_label=outcome.mean,
        labels=_label_report(outcome, best),
        column=outcome.column,
        stance=outcome.stance,
        sign_certain=not falling or bool(np.isclose(values[best], 0).any()),
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
            expected=prediction.texts[ids[j]][-1] if ids[j] >= 0 else "",
            read=look.read[j],
            evidence=float(evidence[j]),
            box_px=look.boxes_px[j],
        )
        for j in range(len(ids))
    )
