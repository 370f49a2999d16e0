"""What a scale says: unit, steps, ends, and which figures stand beside its lines."""

from __future__ import annotations

from dataclasses import dataclass

from sample_images.path_tracer.draws import Rng, chance, pick

UNIT_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}

Steps = tuple[float, float | None, float, float]
STEPS: dict[str, tuple[Steps, ...]] = {
    "mm": (
        (1, 5, 10, 10),
        (1, 5, 10, 10),
        (1, 5, 10, 20),
        (2, None, 10, 20),
        (2, 10, 20, 20),
        (5, None, 50, 50),
        (5, 10, 50, 50),
        (5, None, 10, 20),
        (1, 5, 10, 50),
        (2, None, 10, 10),
    ),
    "cm": (
        (0.1, 0.5, 1, 1),
        (0.1, 0.5, 1, 1),
        (0.1, 0.5, 1, 2),
        (0.2, None, 1, 1),
        (0.2, 1, 2, 2),
        (0.5, None, 1, 5),
        (0.5, 1, 5, 5),
        (0.1, 0.5, 1, 5),
    ),
    "in": (
        (0.1, 0.5, 1, 1),
        (0.1, None, 0.5, 1),
        (0.125, 0.5, 1, 1),
        (0.05, 0.1, 0.5, 1),
        (0.25, None, 1, 1),
        (0.2, None, 1, 1),
        (0.0625, 0.25, 1, 1),
    ),
}
"""Steps of short, middle, long lines, and of figures. Common practice, no source."""
MILLIMETRES: Steps = (1, 5, 10, 10)

SHORTEST, MIDDLE, LONGEST = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Graduation:
    """A scale; values in its unit, heights in mm up the tubes.

    Attributes
    ----------
    labels : str
        ``signed``; ``magnitude`` (counted from a zero in the middle, without a sign);
        ``downward`` (values grow down).
    text : str
        What is printed for the unit, if anything.
    plus : bool
        Whether values above zero carry a plus sign.
    y_zero_mm : float, [mm]
        Height of zero.
    """

    unit_mm: float
    minor: float
    mid: float | None
    major: float
    label_every: float
    lo: float
    hi: float
    labels: str
    text: str
    plus: bool
    y_zero_mm: float = 0.0

    @property
    def length_mm(self) -> float:
        return (self.hi - self.lo) * self.unit_mm

    @property
    def division_mm(self) -> float:
        return self.minor * self.unit_mm

    @property
    def sign(self) -> int:
        """-1 where values grow down."""
        return -1 if self.labels == "downward" else 1

    def y_mm(self, value: float) -> float:
        """Height of a value."""
        return self.y_zero_mm + self.sign * value * self.unit_mm

    def value(self, y_mm: float) -> float:
        """Value at a height."""
        return self.sign * (y_mm - self.y_zero_mm) / self.unit_mm

    def zero_mm(self, lowest_mm: float) -> float:
        """Height of zero of a scale whose lower end is at ``lowest_mm``."""
        if self.labels == "downward":
            return lowest_mm + self.hi * self.unit_mm
        return lowest_mm - self.lo * self.unit_mm

    def rank(self, value: float) -> int:
        """Which lines this value has: short, middle or long ones."""
        if is_multiple(value, self.major):
            return LONGEST
        return MIDDLE if self.mid and is_multiple(value, self.mid) else SHORTEST

    def label(self, value: float) -> str:
        """The figures that are printed for a value."""
        shown = abs(value) if self.labels in ("magnitude", "downward") else value
        text = f"{shown:.{_decimals(self.label_every)}f}"
        if float(text) == 0:
            text = text.replace("-", "")
        return "+" + text if self.plus and shown > 0 else text


def is_multiple(value: float, step: float) -> bool:
    """Whether a value is a whole number of steps, but for rounding."""
    steps = value / step
    return abs(steps - round(steps)) < 1e-6


def _decimals(step: float) -> int:
    for decimals in (0, 1):
        scaled = step * 10**decimals
        if abs(scaled - round(scaled)) < 1e-9:
            return decimals
    return 2


def draw(rng: Rng, cls: str, kind: str, fluid: str) -> Graduation:
    """A scale for an instrument of a kind, its height of zero still to be told."""
    unit = pick(rng, "mm", "mm", "mm", "cm", "cm", "in")
    steps = STEPS[unit][int(rng.integers(len(STEPS[unit])))]
    if cls == "neg_small":
        unit, steps = "mm", MILLIMETRES
    minor, mid, major, label_every = steps
    unit_mm = UNIT_MM[unit]
    length = rng.uniform(*_length_range_mm(minor * unit_mm))
    labels = pick(rng, "signed", "signed", "signed", "magnitude", "magnitude", "downward")
    if kind == "inclined":
        labels, length = "signed", min(length, 260)
    if kind in ("utube_seal", "utube_leg") and labels == "downward":
        labels = "signed"
    lo, hi = _ends(rng, kind, labels, length / unit_mm, steps)
    text = _unit_text(rng, unit, fluid)
    if fluid == "mercury" and unit == "mm" and chance(rng, 0.5):
        text = "mm Hg"
    return Graduation(
        unit_mm=unit_mm,
        minor=minor,
        mid=mid,
        major=major,
        label_every=label_every,
        lo=_tidy(lo),
        hi=_tidy(hi),
        labels=labels,
        text=text,
        plus=labels == "signed" and lo < 0 and chance(rng, 0.3),
    )


def _length_range_mm(division_mm: float) -> tuple[float, float]:
    """Fine scales are short ones. Our own choice."""
    if division_mm < 1.7:
        return 110, 290
    return (140, 400) if division_mm < 4 else (200, 480)


def _ends(
    rng: Rng, kind: str, labels: str, length: float, steps: Steps
) -> tuple[float, float]:
    """Lowest and highest value; at least four figures, or four long lines, apart."""
    minor, _, major, label_every = steps
    unit_lengths = length
    step = label_every if unit_lengths / label_every >= 4 else major
    if unit_lengths / step < 4:
        unit_lengths = 4 * step
    if labels == "magnitude":
        half = max(2, round(unit_lengths / 2 / step)) * step
        lo, hi = -half, half
    else:
        count = max(4, round(unit_lengths / step))
        lo = 0.0
        if labels == "signed" and chance(rng, 0.15):
            lo = step * int(rng.integers(1, 8))
        if labels == "signed" and chance(rng, 0.12) and kind != "inclined":
            lo = -step * int(rng.integers(1, max(2, count // 2)))
        hi = lo + count * step
    if lo >= 0 and chance(rng, 0.2) and is_multiple(step * 0.5, minor):
        hi += step * 0.5
    return lo, hi


def _unit_text(rng: Rng, unit: str, fluid: str) -> str:
    watery = fluid.startswith("water")
    # Every unit's words are drawn: see draws.py.
    texts = {
        "mm": pick(rng, "mm", "mm", "", *(("mm H2O", "mm WC") if watery else ("MM", "mm"))),
        "cm": pick(rng, "cm", "cm", "", "CM"),
        "in": pick(rng, "inch", "INCHES", "in", "", "in. W.G." if watery else "in"),
    }
    return texts[unit]


def _tidy(value: float) -> float:
    """Without what rounding has left in the last digits; whole where it is whole."""
    return int(value) if float(value).is_integer() else round(float(value), 6)
