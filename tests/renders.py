"""Accuracy by class on photos of the generator, with and without an instrument file.

``python -m tests.renders FOLDER`` reads every photo that ``python -m sample_images.generator``
wrote there, with an instrument file that states its scale, tube and liquids; with
``--without-file`` it gives none, and with ``--depth-alone`` none but how far the axes stand in
front of the graduated face. It prints one line a class: how many were read, how far off
the levels are, how many true values lie inside the stated interval, and how many readings are
silently wrong; then every photo that was not read, and why. Exits with 1 on a silent error.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from rich.progress import track

from tests.accuracy import COVERAGE_FACTOR, SILENT_ERROR_M, SILENT_ERROR_U

UNITS = {1.0: "mm", 10.0: "cm", 25.4: "in"}
UNIT_MM = {unit: size_mm for size_mm, unit in UNITS.items()}
NUMBERS = {"magnitude": "away-from-zero", "downward": "downward"}
LIQUIDS = {"oil_red": 826, "oil_amber": 870, "oil_dark": 880, "kerosene": 810, "glycol": 1110}
"""Densities [kg/m^3] of the liquids that are no water and no mercury."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedLevel:
    """One true level and what was read; ``error`` and ``u`` are None where nothing was."""

    division: float
    unit_mm: float
    hidden: bool
    error: float | None
    u: float | None

    @property
    def wrong(self) -> bool:
        """Whether it is off beyond both bounds of a silent error."""
        if self.error is None or self.u is None:
            return False
        off = abs(self.error)
        return off > SILENT_ERROR_U * self.u and off * self.unit_mm > 1e3 * SILENT_ERROR_M


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedPhoto:
    """What became of one photo."""

    name: str
    kind: str
    status: str
    codes: tuple[str, ...]
    levels: tuple[RenderedLevel, ...]
    miscounted: bool

    @property
    def readable(self) -> bool:
        return not self.kind.startswith("neg")

    @property
    def silent(self) -> bool:
        if self.status != "read":
            return False
        return (
            not self.readable or self.miscounted or any(level.wrong for level in self.levels)
        )


def instrument_text(truth: dict[str, Any]) -> str:
    """Write the instrument file that an owner of this instrument would keep."""
    scale, tube, kind = truth["graduation"], truth["tube"], truth["cls"]
    one = "single-limb" if len(tube["x"]) == 1 else "u-tube"
    arrangement = kind if kind in ("bank", "inclined") else one
    lines = [f'name = "{kind}-{truth["seed"]}"', f'arrangement = "{arrangement}"']
    if arrangement == "u-tube":
        lines.append('tapped_limb = "left"')
    lines += [
        "[scale]",
        f'unit = "{UNITS[abs(scale["unit_mm"])]}"',
        f"division = {scale['minor']}",
        f"numbered_every = {scale['label_every']}",
        f"lowest = {scale['lo']}",
        f"highest = {scale['hi']}",
        f'numbers = "{NUMBERS.get(scale["labels"], "upward")}"',
        "[tube]",
        f'bore = "{2 * tube["ri"]:.3f} mm"',
        f'outside_diameter = "{2 * tube["ro"]:.3f} mm"',
        f'axis_to_scale = "{axis_to_scale(truth)}"',
    ]
    if kind == "inclined":
        lines.append('incline = "20 deg"')
    lines += ["[liquids]", f"manometric = {_liquid(truth['fluid'])}"]
    if kind == "utube_leg":
        over = "kerosene" if truth["fluid"].startswith("water") else "water"
        lines += [f"process = {_liquid(over)}", "[tapping]", 'height = "0 mm"']
    if kind == "utube_seal":
        lines.append(f"seal = {_liquid('oil_amber')}")
    return "\n".join(lines) + "\n"


def axis_to_scale(truth: dict[str, Any]) -> str:
    """How far the axes stand in front of the graduated face, as an owner would measure it."""
    tube = truth["tube"]
    return f"{tube['z'] - (tube['scale_z'] or 0):.3f} mm"


def _liquid(name: str) -> str:
    if name not in LIQUIDS:
        return f'"{name.split("_")[0]}"'
    words = name.replace("_", " ")
    return f'{{ name = "{words}", density = "{LIQUIDS[name]} kg/m^3", at = "20 degC" }}'


def read_render(
    path: Path,
    *,
    without_file: bool,
    file_of: Path | None = None,
    depth_alone: bool = False,
) -> RenderedPhoto:
    """Read the photo beside a truth file and compare, or with the file of another photo."""
    from limbsight.calib.instrument_file import parse_instrument
    from limbsight.reading import read_photo

    truth = json.loads(path.read_text(encoding="utf-8"))
    owner = json.loads(file_of.read_text(encoding="utf-8")) if file_of else truth
    instrument = (
        None if without_file or depth_alone else parse_instrument(instrument_text(owner))
    )
    unit_mm = abs(truth["graduation"]["unit_mm"])
    reading = read_photo(
        path.with_suffix(".jpg"),
        instrument=instrument,
        axis_to_scale=axis_to_scale(truth) if depth_alone else None,
    )
    got = [limb.levels for limb in reading.limbs]
    levels = []
    for i, limb in enumerate(truth["menisci"]):
        for j, meniscus in enumerate(limb):
            found = got[i][j] if i < len(got) and j < len(got[i]) else None
            # Rulers have two units, and each is read rightly in its own; a unit of pressure
            # counts the scale's divisions.
            in_unit = UNIT_MM.get(found.unit, unit_mm) / unit_mm if found else 1.0
            levels.append(
                RenderedLevel(
                    division=truth["graduation"]["minor"],
                    unit_mm=unit_mm,
                    hidden=i in truth["hidden"],
                    error=found.value * in_unit - meniscus["reading"] if found else None,
                    u=found.standard_uncertainty * in_unit if found else None,
                )
            )
    return RenderedPhoto(
        name=path.stem,
        kind=truth["cls"],
        status=reading.status,
        codes=tuple(reason.code for reason in reading.reasons),
        levels=tuple(levels),
        miscounted=[len(limb) for limb in got] != [len(limb) for limb in truth["menisci"]],
    )


def print_table(photos: Sequence[RenderedPhoto]) -> None:
    """One line a class and one for all that can be read."""
    print_head()
    for kind in sorted({photo.kind for photo in photos}):
        print_line(kind, [photo for photo in photos if photo.kind == kind])
    print_line("all readable", [photo for photo in photos if photo.readable])
    unreadable = [photo for photo in photos if not photo.readable]
    if unreadable:
        print_line("all unreadable", unreadable)


def print_head() -> None:
    print(
        f"{'class':16s} {'n':>4s} {'read':>5s} {'check':>6s} {'refused':>8s} "
        f"{'median div':>11s} {'p95 div':>8s} {'p95 mm':>7s} {'in U95':>7s} {'silent':>7s}"
    )


def print_line(name: str, photos: Sequence[RenderedPhoto]) -> None:
    counts = [sum(p.status == s for p in photos) for s in ("read", "check", "refused")]
    read = [
        (abs(level.error), abs(level.error) * level.unit_mm, level.u, level.division)
        for photo in photos
        if photo.status == "read"
        for level in photo.levels
        if level.error is not None and level.u is not None and not level.hidden
    ]
    line = f"{name:16s} {len(photos):4d} {counts[0]:5d} {counts[1]:6d} {counts[2]:8d} "
    if read:
        error, error_mm, u, division = np.array(read).T
        line += (
            f"{np.median(error / division):11.3f} {np.percentile(error / division, 95):8.3f} "
            f"{np.percentile(error_mm, 95):7.3f} {np.mean(error <= COVERAGE_FACTOR * u):7.2f} "
        )
    else:
        line += f"{'-':>11s} {'-':>8s} {'-':>7s} {'-':>7s} "
    print(line + f"{sum(photo.silent for photo in photos):7d}")


def print_unread(photos: Sequence[RenderedPhoto]) -> None:
    """Every readable photo that was not read, and every silent error, with its levels."""
    for photo in photos:
        if photo.readable == (photo.status == "read") and not photo.silent:
            continue
        levels = ", ".join(
            "none"
            if level.error is None or level.u is None
            else f"{level.error * level.unit_mm:+.3f} (u {level.u * level.unit_mm:.3f}) mm"
            for level in photo.levels
        )
        word = "SILENT ERROR" if photo.silent else photo.status
        print(f"{photo.name}: {word}: {', '.join(dict.fromkeys(photo.codes))}: {levels}")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the report."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.renders", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folder", type=Path)
    told = parser.add_mutually_exclusive_group()
    told.add_argument("--without-file", action="store_true")
    told.add_argument("--depth-alone", action="store_true")
    parser.add_argument("--match", default="", help="only names that contain this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args(arguments)
    paths = [p for p in sorted(options.folder.glob("*.json")) if options.match in p.stem]
    if not paths:
        parser.error(f"{options.folder}: no truth files (NAME.json) in it")
    read = partial(
        read_render, without_file=options.without_file, depth_alone=options.depth_alone
    )
    with ProcessPoolExecutor(options.jobs) as pool:
        photos = list(
            track(
                pool.map(read, paths),
                total=len(paths),
                description="reading",
                disable=not sys.stdout.isatty(),
            )
        )
    print_table(photos)
    print()
    print_unread(photos)
    return 1 if any(photo.silent for photo in photos) else 0


if __name__ == "__main__":
    sys.exit(main())
