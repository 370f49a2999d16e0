"""How close the readings of photos with known answers come: per level, and in total.

``python -m tests.accuracy FOLDER`` reads every photo that has ``NAME.toml`` and
``NAME.answer.toml`` beside it, prints a table, and exits with 1 on any silent error: a level
that was `read` but is off by more than 4 standard uncertainties and 0.5 mm, a wrong number of
levels, or a photo passed off as `read` that can't be read.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import limbsight
from limbsight.records import LevelReading, Reading
from limbsight.units import unit_factor

SILENT_ERROR_U = 4.0
SILENT_ERROR_M = 0.5e-3
"""What counts as a silent error: beyond both."""

COVERAGE_FACTOR = 2.0
"""k of the stated interval, about 95 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is true of one photo."""

    photo: Path
    instrument: Path
    """Its file: ``NAME.toml`` unless the answer names another."""
    readable: bool
    unit: str
    division: float
    limbs: tuple[tuple[float, ...], ...]
    visible: tuple[bool, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelResult:
    """One true level and what was made of it; ``found`` is None where nothing was."""

    photo: str
    status: str
    limb: str
    truth: float
    division: float
    unit_m: float
    found: LevelReading | None

    @property
    def error_div(self) -> float:
        assert self.found
        return (self.found.value - self.truth) / self.division

    @property
    def u_div(self) -> float:
        assert self.found
        return self.found.standard_uncertainty / self.division

    @property
    def inside(self) -> bool:
        return abs(self.error_div) <= COVERAGE_FACTOR * self.u_div

    @property
    def silent_error(self) -> bool:
        if self.status != "read":
            return False
        if self.found is None:
            return True
        error_m = abs(self.error_div) * self.division * self.unit_m
        return error_m > SILENT_ERROR_M and abs(self.error_div) > SILENT_ERROR_U * self.u_div


def load_answer(path: Path) -> Answer:
    """Read ``NAME.answer.toml``."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    photo = path.parent / data["photo"]
    own = photo.with_suffix(".toml").name
    return Answer(
        photo=photo,
        instrument=path.parent / data.get("instrument", own),
        readable=data["readable"],
        unit=data["unit"],
        division=data["division"],
        limbs=tuple(
            tuple(level["value"] for level in limb["levels"]) for limb in data["limbs"]
        ),
        visible=tuple(limb["visible"] for limb in data["limbs"]),
    )


def compare(answer: Answer, reading: Reading) -> Iterator[LevelResult]:
    """Pair true levels with read ones: limbs left to right, levels bottom to top."""
    for i, truths in enumerate(answer.limbs):
        limb = reading.limbs[i] if i < len(reading.limbs) else None
        for j, truth in enumerate(truths):
            if not answer.visible[i]:
                continue
            found = limb.levels[j] if limb and j < len(limb.levels) else None
            yield LevelResult(
                photo=answer.photo.name,
                status=reading.status,
                limb=limb.limb if limb else f"limb {i + 1}",
                truth=truth,
                division=answer.division,
                unit_m=unit_factor(answer.unit, "length"),
                found=found,
            )


def miscounted(answer: Answer, reading: Reading) -> bool:
    """Whether a photo was `read` with more or fewer levels than it has."""
    counts = [len(limb.levels) for limb in reading.limbs]
    return reading.status == "read" and counts != [len(levels) for levels in answer.limbs]


def print_levels(results: Sequence[LevelResult]) -> None:
    """One line for each level."""
    print(
        f"{'photo':24s} {'status':8s} {'limb':8s} {'truth':>9s} {'error':>8s} {'u':>7s}  in U"
    )
    print(f"{'':24s} {'':8s} {'':8s} {'':>9s} {'div':>8s} {'div':>7s}")
    for r in results:
        line = f"{r.photo:24s} {r.status:8s} {r.limb:8s} {r.truth:9.3f}"
        if r.found is None:
            print(f"{line} {'-':>8s} {'-':>7s}  -")
            continue
        mark = "SILENT ERROR" if r.silent_error else ("yes" if r.inside else "no")
        print(f"{line} {r.error_div:8.3f} {r.u_div:7.3f}  {mark}")


def print_totals(
    answers: Sequence[Answer], readings: Sequence[Reading], results: Sequence[LevelResult]
) -> None:
    """Statuses, errors and coverage over all photos."""
    pairs = list(zip(answers, readings, strict=True))
    for name, wanted in (("readable", True), ("unreadable", False)):
        statuses = [r.status for a, r in pairs if a.readable == wanted]
        counts = ", ".join(f"{statuses.count(s)} {s}" for s in ("read", "check", "refused"))
        print(f"{len(statuses)} {name} photos: {counts}")
    read = [r for r in results if r.status == "read" and r.found]
    if not read:
        return
    errors = np.abs([r.error_div for r in read])
    inside = sum(r.inside for r in read)
    print(
        f"{len(read)} levels of photos that were read: median |error| "
        f"{np.median(errors):.3f} div, 95th percentile {np.percentile(errors, 95):.3f} div, "
        f"{inside} inside their 95 % interval ({inside / len(read):.0%})"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the report; the exit status is 0 only without silent errors."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.accuracy", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument(
        "--least-read",
        type=float,
        default=0.0,
        metavar="SHARE",
        help="fail, too, if fewer of the readable photos are `read`",
    )
    options = parser.parse_args(arguments)
    answers = [load_answer(path) for path in sorted(options.folder.rglob("*.answer.toml"))]
    if not answers:
        parser.error(f"{options.folder}: no NAME.answer.toml in it")
    readings = [
        limbsight.read_photo(
            answer.photo,
            instrument=limbsight.load_instrument(answer.instrument),
        )
        for answer in answers
    ]
    pairs = list(zip(answers, readings, strict=True))
    results = [result for pair in pairs for result in compare(*pair)]
    print_levels(results)
    print()
    for answer, reading in pairs:
        for reason in reading.reasons:
            print(f"{answer.photo.name}: {reading.status}: [{reason.code}] {reason.text}")
    print()
    print_totals(answers, readings, results)
    silent = [f"{r.photo}: {r.limb} limb" for r in results if r.silent_error]
    silent += [f"{a.photo.name}: number of levels" for a, r in pairs if miscounted(a, r)]
    silent += [
        f"{a.photo.name}: can't be read"
        for a, r in pairs
        if not a.readable and r.status == "read"
    ]
    print(f"silent errors: {len(silent)}", *silent, sep="\n  ")
    readable = [r.status for a, r in pairs if a.readable]
    too_few = readable.count("read") < options.least_read * len(readable)
    return 1 if silent or too_few else 0


if __name__ == "__main__":
    sys.exit(main())
