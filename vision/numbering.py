"""Ways to number a graduated scale, and the text each predicts at a graduation.

A numbering is an arithmetic sequence over the graduations: value of one division, direction,
index of zero. Hypotheses are kept as arrays, since without an instrument file there are
thousands.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Numbers: TypeAlias = Literal["upward", "downward", "away-from-zero"]

BARE_DIVISIONS = (
    0.01, 0.02, 0.05, 0.0625, 0.1, 0.125, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0,
    100.0,
)  # fmt: skip
"""Values of one division in common practice, no source."""
SPURIOUS_DIVISIONS = 1.5
"""A border or a line of the board may pass for one graduation beyond the end."""
SPURIOUS_SHARE = 1 / 6
"""Of the distance of two numbers: what follows a zero, but ends so near to it, is a screw or a
shadow, not the beginning of the other half of a scale (judgement; three graduations of twenty
made a scale of 0 to 11 inches one of -11 to 0)."""
BARE_NUMBERS = 150
"""Numbers from zero to the end of a scale, at most."""


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
class Sequences:
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
class TextTable:
    """Spellings of numbers, each distinct one once.

    ``texts[step * (most + 1) + number]`` holds the spellings of a number; joined end to
    end they are ``distinct[where]``, and each group begins at its place in ``starts``.
    """

    most: int
    texts: tuple[tuple[str, ...], ...]
    distinct: tuple[str, ...]
    where: IntArray
    starts: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """Texts that (H,) hypotheses predict at (J,) labels.

    ``shift`` (H,) is the predicted graduation less the one the labels were found at,
    ``ids`` (H, J) points into ``texts`` (-1: no label), ``values`` (H, J) is the signed
    number.
    """

    shift: FloatArray
    ids: IntArray
    values: FloatArray
    texts: TextTable


def from_numberings(numberings: tuple[Numbering, ...]) -> Sequences:
    def column(name: str) -> FloatArray:
        return np.array([getattr(n, name) for n in numberings], dtype=np.float64)

    return Sequences(
        step=numberings[0].numbered_every,
        division=column("division"),
        direction=column("direction"),
        unsigned=column("unsigned") > 0,
        zero_index=column("zero_index"),
        lowest=column("lowest"),
        highest=column("highest"),
    )


def spurious_divisions(numbered_every: int) -> float:
    """Divisions beyond its last number by which a scale may seem to go on."""
    return max(SPURIOUS_DIVISIONS, SPURIOUS_SHARE * numbered_every)


def enumerate_numberings(
    divisions: tuple[float, ...], step: int, labels: FloatArray, last_index: float
) -> Sequences:
    """Every numbering with zero at a multiple of the step from the labels.

    Numbers growing upward may have their zero inside and are then taken as printed without
    sign (a printed minus sign is not read). Numbers falling up to the last graduation are
    taken as a downward scale; if graduations go on beyond the zero (by more than
    ``spurious_divisions``), values have changed sign there and the zero lies inside.

    Parameters
    ----------
    divisions
        Values of one division considered.
    step
        Divisions between numbers.
    labels : ndarray, shape (J,)
        Indices of the numbered graduations.
    last_index
        Index of the uppermost graduation; labels may have been looked for beyond it.
    """
    span = round((labels[-1] - labels[0]) / step)
    uppermost = int(np.ceil((last_index - spurious_divisions(step) - labels[0]) / step))
    falling = np.arange(uppermost, BARE_NUMBERS)
    growing = np.arange(1 - uppermost, BARE_NUMBERS - span)
    first = np.concatenate((growing, falling))
    direction = np.concatenate((np.ones(len(growing)), -np.ones(len(falling))))
    kept = [d for d in divisions if _usual(d * step)]
    count = len(kept)
    everywhere = np.full(count * len(first), np.inf)
    return Sequences(
        step=step,
        division=np.repeat(kept, len(first)),
        direction=np.tile(direction, count),
        unsigned=np.tile((direction > 0) & (first < 0), count),
        zero_index=np.tile(labels[0] - direction * first * step, count),
        lowest=-everywhere,
        highest=everywhere,
    )


def _usual(step: float) -> bool:
    """Whether numbers go up in ones, twos, fives, tens, or two and a half."""
    leading = step / 10.0 ** np.floor(np.log10(step) + 1e-9)
    return bool(np.isclose(leading, (1.0, 2.0, 2.5, 5.0)).any())


def predict(sequences: Sequences, labels: FloatArray, phase: int) -> Prediction:
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
    count = np.abs(number).astype(np.int64)
    texts = text_table(
        tuple(float(s) for s in steps), int(count.max(initial=0, where=present))
    )
    ids = np.where(present, count + which[:, None] * (texts.most + 1), -1)
    return Prediction(shift=shift, ids=ids, values=values, texts=texts)


@cache
def text_table(steps: tuple[float, ...], most: int) -> TextTable:
    """Texts of 0 to ``most`` numbers from zero, for each step in turn."""
    texts = tuple(spellings(number, step) for step in steps for number in range(most + 1))
    distinct, where = np.unique([t for group in texts for t in group], return_inverse=True)
    return TextTable(
        most=most,
        texts=texts,
        distinct=tuple(str(text) for text in distinct),
        where=where,
        starts=np.cumsum([0] + [len(group) for group in texts])[:-1],
    )


@cache
def spellings(number: int, step: float) -> tuple[str, ...]:
    """Ways to print ``number`` steps from zero: 0.5 as 0.5 or .5, 1 as 1 or 1.0."""
    value = number * step
    decimals = len(f"{step:.6f}".rstrip("0").split(".")[1])
    fixed = f"{value:.{decimals}f}"
    short = f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else fixed
    bare = short[1:] if short.startswith("0.") else short
    return tuple(dict.fromkeys((fixed, short, bare)))
