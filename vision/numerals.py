"""Decode the printed numbers of a scale together, as one arithmetic sequence.

A single label may be smeared, hidden or misread; the sequence as a whole can hardly be
mistaken, because a wrong step, origin or direction contradicts nearly every label. So each
hypothesis for the whole numbering is scored by the product over the labels of the
probability of the string it predicts there (:mod:`limbsight.vision.numeral_strings`), and
the verdict says by how much the best hypothesis leads the next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numbering import (
    Numbering,
    NumberingTable,
    bare_hypotheses,
    known_scale_hypotheses,
    spurious_divisions,
)
from limbsight.vision.numeral_columns import (
    DRIFT_PARTS,
    NumeralColumn,
    ScaleGeometry,
    find_columns,
)
from limbsight.vision.numeral_scores import (
    Outcome,
    Stance,
    label_indices,
    look_at,
    score_column,
)
from limbsight.vision.numeral_strings import column_pitch_px, middle_of_text

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

WIDER = 1.35
"""Assumed height of the figures, over the one found, in the control with more in sight: from
17 to 13 rows of the crop, near the lower end of the training."""
CONTROL_LABELS, PROBED_LABELS, LEGIBLE = 8, 4, 0.5
"""Labels read at most to control a verdict, and to rank columns by legibility; and the share
of different numbers among those that are taken for numbers at first sight (judgement)."""
GOOD_EVIDENCE = 3.5
"""Mean evidence per label (at most 6.9) from which on a column contradicts another."""
OTHER_HEIGHTS = (0.72, 1.4)
"""Heights tried where the one found leaves doubt, relative to that: the network's range is
12/17 to 23/17."""
MOST_BEYOND, STRAY_SHARE = 6, 0.25
"""Places looked at for numbers beyond the last, and which share of them may read as something:
of a scale that goes on most do, while hoses and edges look like a figure here and there."""
FIRST_LABELS, AMPLE = 8, 2.0
"""Labels of a known scale that are read first, half of all that may be; they do if they decide
by the margin that all would need, as often again."""
ON_LINE = (0.45, 0.95)
"""Distances of the middle of a figure from the line that it stands on, or hangs from, in its
heights: half of itself, and a gap of up to nearly as much (common practice, no source)."""
ABOVE_LINE = sum(ON_LINE) / 2
"""Where figures that stand on lines are looked for, or below, those that hang from them."""
CLEAR_OF_STROKES = 0.6
"""Distance of a line from the middle of a figure, in its heights, at which its topmost and
lowest strokes are no part of it: half of itself, and the height known to a tenth
(judgement, no source)."""
CENTRED = 0.08
"""Distance of the middle of figures from a line, in their heights, up to which that is 20
times as likely theirs as one that they stand on: figures beside their lines scatter by
``OFFSET_SD``, those that stand on them evenly over ``ON_LINE``, one board in 15 or so (common
practice, no source). Of 13 scales of 830 photos where nothing but the place of figures tells,
eight of eleven are nearer, and none of the two whose figures stand on their lines (0.10 to
0.14, and 0.34)."""
MOST_DRIFT, DRIFT_SEEN_PX = 0.5, 2.0
"""Divisions that figures may drift along their graduations over all labels, and what is not
seen of it: 0.12 at most on 20 scales, 3.8 on one of which lines were lost."""
ALIKE_TURNED = "01258"
"""Figures that may pass for themselves upside down: every third number of a scale that runs
both ways from its zero, 8, 5, 2, 2, 5, 8, did; its photo upside down was read 57 mm off."""
LYING: tuple[Stance, ...] = ("rising", "falling")
OTHER_STANCES: tuple[Stance, ...] = ("turned", "mirrored", *LYING)
MOST_COLUMNS = 3
PARTS = (2, 4, 5, 10)
"""Numbers from one to the next of those that a longer period picks out."""
DECISIVE_MARGIN = 8.0
DECISIVE_LABELS = 3
DECISIVE_AGREEMENT = 0.6
KNOWN_CLARITY, BARE_CLARITY = 3.5, 5.0
BARE_EXACTNESS = 0.7
DECISIVE_SHIFT_MARGIN = 3.0
"""Bounds of a decision, chosen on 2350 scales drawn in 104 faces unknown to the network
(``training/measure_numerals.py``, seeds 1000 to 8449). Among known hypotheses a margin of 6
left 4 wrong numberings of 2122, a margin of 8 none; clarity is what chance readings of
scales without numbers lack (1 of 100 decided without it, none of 400 with it). Without an
instrument file whole figures or points may be lost from every label: clarity, exactness and
the wider look are what such readings lack; together they cost one answer in ten. At a shift
margin of 3 no number was at a wrong graduation. Checked on 400 more scales (seeds 10000 to
10399): known 0 wrong of 351 decided, without an instrument file 0 of 252; with figures looked
for above and below their lines, too, on 60 in 32 other faces (seeds 30000 to 30059) 0 of 52
and 0 of 83."""


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

    @property
    def exact(self) -> bool:
        """Whether the label alone reads as expected; 0.5 and .5, 1 and 1.0 are the same."""
        leading_nought = len(self.read) > 1 and self.read[0] == "0" and self.read[1] != "."
        if not (_is_number(self.read) and _is_number(self.expected)) or leading_nought:
            return False
        return bool(np.isclose(float(self.read), float(self.expected), rtol=1e-9))


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
        False without an instrument file where numbers fall upward and the scale is not
        seen to end at its zero: it may be the lower part of one with its zero inside.
    conflict
        Another column at the same graduations, or a wider look at the labels, reads
        differently; the sign is not certain although the place of the zero is in the
        picture; with an instrument file, the figures stand far from the lines that they
        would name.
    both_ways
        Without an instrument file: another column numbers the same graduations downward, and
        ``best`` is the one that grows upward.
    above_px, pitch_px
        How far the middle of the figures stands above the graduations of ``best``; length of
        a division.
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
    both_ways: bool = False
    above_px: float = 0.0
    pitch_px: float = math.inf

    @property
    def keeps_step(self) -> bool:
        """Whether figures stay beside their graduations from one end of the labels to the
        other; else lines were lost or counted twice between them.

        Something else may pass for figures where they are hidden: those that tell are read.
        """
        third = len(self.labels) // DRIFT_PARTS
        if self.column is None or not third:
            return True
        ends = self.labels[:third], self.labels[-third:]
        if any(2 * sum(label.exact for label in end) < third for end in ends):
            return True
        span = self.labels[-1].index - self.labels[0].index
        drift_px = abs(span * self.column.offset_slope_px)
        return drift_px <= max(MOST_DRIFT * self.pitch_px, DRIFT_SEEN_PX)

    def may_stand_on(self, moved: int) -> bool:
        """Whether upright figures are as far from the graduations ``moved`` divisions above
        those of ``best`` as if they stood on them, or hung from them."""
        return (
            self.stance == "upright" and ON_LINE[0] <= self._heights_from(moved) <= ON_LINE[1]
        )

    @property
    def is_centred(self) -> bool:
        """Whether the middle of figures is so near to the graduations of ``best`` that they
        hardly stand on others."""
        return self._heights_from(0) <= CENTRED

    def stands_clear_of(self, moved: int) -> bool:
        """Whether no stroke of a figure can pass for a part of the graduations ``moved``
        divisions above those of ``best``."""
        return self._heights_from(moved) >= CLEAR_OF_STROKES

    def _heights_from(self, moved: int) -> float:
        if self.column is None:
            return math.inf
        return abs(self.above_px - moved * self.pitch_px) / self.column.height_px

    def may_name(self, moved: int) -> bool:
        """Whether figures may belong to the graduations ``moved`` divisions above those of
        ``best`` by their distance: that of figures on lines, or a division."""
        if self.column is None:
            return False
        farthest = max(ON_LINE[1] * self.column.height_px, self.pitch_px)
        return abs(self.above_px - moved * self.pitch_px) <= farthest

    @property
    def figures_px(self) -> tuple[FloatArray, ...]:
        """Outlines (4, 2) of the numbers read."""
        return tuple(label.box_px for label in self.labels)

    @property
    def figure_height_px(self) -> float:
        """Height of the printed figures, across the scale where they run along it."""
        if self.column is None:
            return 0.0
        lying = self.stance in LYING
        return self.column.lying_width_px if lying else self.column.height_px

    @property
    def farthest_named(self) -> int:
        """Divisions from the graduations of ``best`` to the farthest that figures may name."""
        if self.column is None:
            return 0
        farthest = ON_LINE[1] * self.column.height_px + abs(self.above_px)
        return math.ceil(farthest / self.pitch_px)

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
    def exactness(self) -> float:
        """Share of the legible labels that read as ``best`` has them, each on its own."""
        legible = self.legible
        return sum(label.exact for label in legible) / max(1, len(legible))

    @property
    def clarity(self) -> float:
        """Mean evidence of the legible labels, at most 6.9."""
        legible = self.legible
        return sum(label.evidence for label in legible) / max(1, len(legible))

    @property
    def decisive(self) -> bool:
        """Whether the numbers alone settle the numbering, but for whole divisions and, where
        it is not certain, the sign.

        The figures keep step with the graduations; ``margin``, ``agreement``, ``clarity`` and
        the count of labels borne out reach their bounds, which are lower among known
        hypotheses; there labels contradicted are taken off, and as many have to be exact as
        borne out; without an instrument file ``exactness`` has to reach its bound, too, and no
        other column contradict.
        """
        borne_out = sum(label.evidence > 1.0 for label in self.labels)
        contradicted = len(self.legible) - borne_out
        settled = (
            self.best is not None
            and self.keeps_step
            and self.margin >= DECISIVE_MARGIN
            and self.agreement >= DECISIVE_AGREEMENT
        )
        if len(self.scores):
            # Of three numbers two may be those of another place by chance, and smears may be
            # anything.
            fewest = min(borne_out - contradicted, sum(label.exact for label in self.labels))
            clear = fewest >= DECISIVE_LABELS - 1 and self.clarity >= KNOWN_CLARITY
            return settled and clear and not self.conflict
        clear = borne_out >= DECISIVE_LABELS and self.clarity >= BARE_CLARITY
        clear = clear and self.exactness >= BARE_EXACTNESS
        return settled and clear and not self.conflict

    @property
    def graduation_decisive(self) -> bool:
        """Whether the place of the figures alone settles which graduation they belong to."""
        return self.decisive and self.shift_margin >= DECISIVE_SHIFT_MARGIN


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
    known = hypotheses.numbered_every, hypotheses.phase
    proposals = find_columns(grey, geometry, *known)
    proposals = proposals or find_columns(grey, geometry, *known, far=True)
    columns = [column for group in proposals for column in group]
    if not columns:
        return _verdict(None, hypotheses, conflict=False, sign_certain=False)
    if hypotheses.numberings:
        few = score_column(
            grey, geometry, hypotheses, columns[0], "upright", 1.0, FIRST_LABELS
        )
        verdict = _verdict(few, hypotheses, conflict=few.is_far_from_lines, sign_certain=True)
        ample = verdict.decisive and verdict.margin >= AMPLE * DECISIVE_MARGIN
        if ample and any(map(_shows_its_top, verdict.labels)):
            return verdict
    best = _best_outcome(grey, geometry, hypotheses, columns)
    for above in (ABOVE_LINE, -ABOVE_LINE):
        if _settles(best, hypotheses):
            break
        proposals = find_columns(grey, geometry, *known, above=above)
        others = [column for group in proposals for column in group]
        others = [column for column in others if _may_be_numbers(grey, geometry, column)]
        if others:
            standing = _best_outcome(grey, geometry, hypotheses, others)
            best = _better(best, standing, hypotheses)
            columns += others
    if hypotheses.numberings:
        return _verdict(best, hypotheses, conflict=best.is_far_from_lines, sign_certain=True)
    other = _contradiction(grey, geometry, hypotheses, best, columns)
    both_ways = other is not None and _run_opposite(best, other)
    if both_ways and other is not None and not _grows(best):
        best = score_column(grey, geometry, hypotheses, other.column, best.stance, 1.0)
    conflict = other is not None and not both_ways
    conflict = conflict or not _same_numbers(best, _wider(grey, geometry, hypotheses, best))
    sign_certain = _sign_certain(grey, geometry, best)
    conflict = conflict or (not sign_certain and _zero_in_sight(grey, geometry, best))
    verdict = _verdict(best, hypotheses, conflict=conflict, sign_certain=sign_certain)
    return replace(verdict, both_ways=both_ways)


def _best_outcome(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    columns: list[NumeralColumn],
) -> Outcome:
    """Outcome of the first column that settles the numbering, else of the best attempt."""
    clearest = columns[:MOST_COLUMNS]
    bare = not hypotheses.numberings

    def tried(
        column: NumeralColumn, stance: Stance = "upright", factor: float = 1.0
    ) -> Outcome:
        outcome = score_column(grey, geometry, hypotheses, column, stance, factor)
        return _with_those_between(grey, geometry, hypotheses, outcome) if bare else outcome

    if bare and _legibility(grey, geometry, columns[0]) < LEGIBLE:
        columns = _by_legibility(grey, geometry, columns)
    best = tried(columns[0])
    if _settles(best, hypotheses):
        return best
    # Patterns beside a scale may read as different figures, too.
    legible = _by_legibility(grey, geometry, columns[1:])[: MOST_COLUMNS - 1]
    for column in legible + [c for c in clearest[1:] if c not in legible]:
        best = _better(best, tried(column), hypotheses)
        if _settles(best, hypotheses):
            return best
    for factor in OTHER_HEIGHTS:
        best = _better(best, tried(best.column, "upright", factor), hypotheses)
        if _settles(best, hypotheses):
            return best
    # Figures that lie or stand on their heads look more like figures than lines do.
    likeliest = [best.column, *(column for column in clearest if column is not best.column)]
    for column in likeliest:
        for stance in OTHER_STANCES:
            best = _better(best, tried(column, stance), hypotheses)
        if _settles(best, hypotheses):
            return best
    for factor in OTHER_HEIGHTS if best.stance in LYING else ():
        best = _better(best, tried(best.column, best.stance, factor), hypotheses)
    return best


def _settles(outcome: Outcome, hypotheses: NumberingTable) -> bool:
    """Whether the outcome decides, unless something else contradicts it."""
    return _verdict(outcome, hypotheses, conflict=False, sign_certain=True).decisive


def _with_those_between(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, hypotheses: NumberingTable, best: Outcome
) -> Outcome:
    """Look for numbers between a few that read well: every fifth does, as well as all."""
    if len(best.labels) >= DECISIVE_LABELS or best.mean < BARE_CLARITY:
        return best
    column = best.column
    for parts in PARTS:
        if column.numbered_every % parts:
            continue
        step = column.numbered_every // parts
        finer = replace(column, numbered_every=step, phase=column.phase % step)
        other = score_column(grey, geometry, hypotheses, finer, best.stance, best.factor)
        if len(other.labels) >= DECISIVE_LABELS and other.mean >= BARE_CLARITY:
            return other
    return best


def _by_legibility(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, columns: list[NumeralColumn]
) -> list[NumeralColumn]:
    """Columns with the most labels that read as different numbers first."""
    share = [_legibility(grey, geometry, column) for column in columns]
    order = sorted(range(len(columns)), key=lambda i: (-share[i], -columns[i].score))
    return [columns[i] for i in order]


def _may_be_numbers(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, column: NumeralColumn
) -> bool:
    """Whether half of a few labels read as different numbers, upright or lying."""
    stances: tuple[Stance, ...] = ("upright", *LYING)
    return any(_legibility(grey, geometry, column, s) >= LEGIBLE for s in stances)


def _legibility(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    column: NumeralColumn,
    stance: Stance = "upright",
) -> float:
    """Different numbers among a few labels of a column, over the labels.

    Ends of lines may read as noughts, but not as a sequence.
    """
    labels = label_indices(geometry, column, PROBED_LABELS)
    read = look_at(grey, geometry, column, labels, stance, 1.0).read
    return len({text for text in read if _is_number(text)}) / len(read)


def _shows_its_top(label: LabelEvidence) -> bool:
    """Whether a label that reads as expected would read otherwise upside down."""
    text = label.expected
    return label.exact and not (set(text) <= set(ALIKE_TURNED) and text == text[::-1])


def _is_number(text: str) -> bool:
    """Whether a text is made of figures and at most one point."""
    return text.replace(".", "", 1).isdigit()


def _better(best: Outcome, other: Outcome, hypotheses: NumberingTable) -> Outcome:
    """The one that settles the numbering, or else reads better."""
    return max(best, other, key=lambda one: (_settles(one, hypotheses), one.mean))


def _contradiction(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    hypotheses: NumberingTable,
    best: Outcome,
    columns: list[NumeralColumn],
) -> Outcome | None:
    """Another column at the same graduations that is sure of other numbers."""
    for column in columns:
        apart = abs(column.across_px - best.column.across_px) > column.width_px / 2
        if apart and _graduations(column) == _graduations(best.column):
            other = score_column(
                grey, geometry, hypotheses, column, best.stance, 1.0, CONTROL_LABELS
            )
            sure = other.mean >= GOOD_EVIDENCE and not _same_numbers(best, other)
            return other if sure else None
    return None


def _grows(outcome: Outcome) -> bool:
    """Whether the numbers, as printed, grow upward."""
    first, last = (abs(outcome.numbering.value(k)) for k in outcome.labels[[0, -1]])
    return last > first


def _run_opposite(first: Outcome, second: Outcome) -> bool:
    """Whether two columns of numbers fall by what the other grows.

    Each limb of some instruments has its own, one growing upward and one downward. Neither is
    misread, then: what a smeared or cut figure makes of a number runs the same way.
    """
    labels = second.labels
    mine = np.abs([first.numbering.value(k) for k in labels])
    theirs = np.abs([second.numbering.value(k) for k in labels])
    one_way = all(np.all(np.diff(v) > 0) or np.all(np.diff(v) < 0) for v in (mine, theirs))
    return (
        one_way
        and len(labels) >= DECISIVE_LABELS
        and bool(np.allclose(mine + theirs, mine[0] + theirs[0]))
        and min(first.mean, second.mean) >= BARE_CLARITY
    )


def _wider(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, hypotheses: NumberingTable, best: Outcome
) -> Outcome:
    """Outcome with the labels in the middle and more of the picture about them in sight.

    A figure cut off from every label, as by a badly placed crop, is a factor of ten.
    """
    column = best.column
    if best.stance in ("upright", "turned", "mirrored"):
        sign = 1.0 if best.stance == "upright" else -1.0
        aside = middle_of_text(best.look.probabilities)
        aside *= sign * column_pitch_px(column, best.factor)
        column = replace(column, across_px=column.across_px + aside)
    return score_column(grey, geometry, hypotheses, column, best.stance, best.factor * WIDER)


def _same_numbers(first: Outcome, second: Outcome) -> bool:
    """Whether two outcomes number the graduations alike."""
    mine, theirs = first.numbering, second.numbering
    ends = second.labels[[0, -1]]
    return all(np.isclose(mine.value(k), theirs.value(k)) for k in ends)


def _sign_certain(grey: NDArray[np.uint8], geometry: ScaleGeometry, best: Outcome) -> bool:
    """Whether numbers that fall upward belong to a downward scale.

    They may be the lower part of a scale with its zero inside. They are not if the
    graduations end at the zero, at another number or before a zero that is read, and no such
    numbers follow beyond it, as far as the zero and two farther, where the picture shows the
    place.
    """
    numbering = best.numbering
    every, zero, top = numbering.numbered_every, numbering.zero_index, geometry.uppermost
    if numbering.direction > 0 or abs(zero - top) <= spurious_divisions(every):
        return True
    last = zero - every * round((zero - top) / every)
    reads_zero = dict(zip(np.rint(best.labels), best.look.read, strict=True)).get(zero) == "0"
    if abs(last - top) >= 1.0 and not (top < last == zero and reads_zero):
        return False
    beyond = np.arange(last + every, zero + 2.5 * every, every)[:MOST_BEYOND]
    look = look_at(grey, geometry, best.column, beyond, best.stance, best.factor)
    values = np.abs(beyond - zero) * numbering.division
    pairs = zip(look.read, values, strict=True)
    strays = sum(
        _is_number(read) and math.isclose(float(read), value) for read, value in pairs
    )
    return _is_inside(look.boxes_px[0], grey) and strays <= STRAY_SHARE * len(beyond)


def _zero_in_sight(grey: NDArray[np.uint8], geometry: ScaleGeometry, best: Outcome) -> bool:
    """Whether the place of the zero is in the picture."""
    zero = np.array([best.numbering.zero_index])
    look = look_at(grey, geometry, best.column, zero, best.stance, best.factor)
    return _is_inside(look.boxes_px[0], grey)


def _is_inside(box_px: FloatArray, grey: NDArray[np.uint8]) -> bool:
    size = np.array(grey.shape[::-1])
    return bool(((box_px >= 0) & (box_px < size)).all())


def _graduations(column: NumeralColumn) -> tuple[int, int]:
    return column.numbered_every, column.phase


def _margins(scores: FloatArray, values: FloatArray, best: int) -> tuple[float, float]:
    """Lead of the best over other numbers, and over the same numbers moved."""
    same = np.isclose(values, values[best], rtol=1e-9, atol=1e-9).all(axis=1)
    moved = same.copy()
    moved[best] = False
    lead = scores[best] - np.max(scores[~same], initial=-np.inf)
    return float(lead), float(scores[best] - np.max(scores[moved], initial=-np.inf))


def _verdict(
    outcome: Outcome | None,
    hypotheses: NumberingTable,
    *,
    conflict: bool,
    sign_certain: bool,
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
    return NumeralVerdict(
        best=outcome.numbering,
        margin=margin,
        shift_margin=shift_margin,
        scores=outcome.scores if hypotheses.numberings else np.zeros(0),
        evidence_per_label=outcome.mean,
        labels=_label_report(outcome, best),
        column=outcome.column,
        stance=outcome.stance,
        sign_certain=sign_certain,
        conflict=conflict,
        above_px=outcome.above_px,
        pitch_px=outcome.pitch_px,
    )


def _label_report(outcome: Outcome, best: int) -> tuple[LabelEvidence, ...]:
    """What each label of the best column says about the best hypothesis."""
    look, prediction = outcome.look, outcome.prediction
    ids = prediction.ids[best]
    index = np.rint(outcome.labels + prediction.shift[best]).astype(int)
    return tuple(
        LabelEvidence(
            index=int(index[j]),
            expected=prediction.texts.texts[ids[j]][-1] if ids[j] >= 0 else "",
            read=look.read[j],
            evidence=float(outcome.by_label[j]),
            box_px=look.boxes_px[j],
        )
        for j in range(len(ids))
    )
