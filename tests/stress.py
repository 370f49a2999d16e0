"""Accuracy under what phones, messengers and hands do to photos, and beside other things.

``python -m tests.stress FOLDER`` takes the photos that ``python -m tests.renders`` reads,
applies one disturbance (`tests.helpers.disturbances`, `tests.helpers.archive`) or draws one
thing over them (`tests.helpers.compositions`, `level_hiders`, `wear`) at a time, or gives them
another's instrument file, and prints one line for each: how many were read, how far off, how
many true values lie inside the stated interval, how many readings are silently wrong, and how
many were read that must not be. Then every silent error. ``--only`` takes parts of the names,
``--keep`` keeps the disturbed photos. Exits with 1 on a silent error.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import zlib
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.helpers.archive import ABOUT_INSTRUMENTS, ARCHIVE
from tests.helpers.compositions import COMPOSITIONS
from tests.helpers.disturbances import DISTURBANCES
from tests.helpers.level_hiders import HIDERS
from tests.helpers.shots import Shot, load_shot, save_shot
from tests.helpers.wear import WEAR
from tests.renders import RenderedPhoto, print_head, print_line, print_unread, read_render

PROCESSED = DISTURBANCES | ARCHIVE
DRAWN = COMPOSITIONS | HIDERS | WEAR | ABOUT_INSTRUMENTS
HIDDEN_KIND = "neg_hidden"
OTHERS_FILE = "others_file"
"""No disturbance: each photo with the instrument file of another of its class. Where both are
numbered alike the levels are right all the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One photo under one disturbance."""

    path: Path
    other: Path
    disturbance: str
    without_file: bool
    folder: Path


def disturb(shot: Shot, other: Shot, name: str, rng: np.random.Generator) -> Shot | None:
    """Return the disturbed photo; None where there is no instrument to draw things about."""
    if name == OTHERS_FILE:
        return shot
    if name in PROCESSED:
        return PROCESSED[name](shot, rng)
    if not (shot.truth["menisci"] and shot.truth.get("graduation_px")):
        return None
    return DRAWN[name](shot, other, rng)


def run_trial(trial: Trial) -> RenderedPhoto | None:
    """Disturb, unless that was kept, and read; None where the disturbance makes no sense."""
    import cv2

    cv2.setNumThreads(1)
    path = trial.folder / trial.disturbance / trial.path.name
    if not path.exists() and not _write(trial, path):
        return None
    if trial.disturbance == OTHERS_FILE:
        photo = read_render(path, without_file=False, file_of=trial.other)
    else:
        photo = read_render(path, without_file=trial.without_file)
    hides = json.loads(path.read_text(encoding="utf-8"))["hides"]
    return replace(
        photo,
        name=f"{trial.disturbance}/{photo.name}",
        kind=HIDDEN_KIND if hides else photo.kind,
    )


def _write(trial: Trial, path: Path) -> bool:
    seed = zlib.crc32(f"{trial.disturbance} {trial.path.stem}".encode())
    shot, other = load_shot(trial.path), load_shot(trial.other)
    disturbed = disturb(shot, other, trial.disturbance, np.random.default_rng(seed))
    if disturbed is None:
        return False
    path.parent.mkdir(parents=True, exist_ok=True)
    save_shot(disturbed, path)
    return True


def neighbours(folder: Path) -> dict[Path, Path]:
    """Every photo with another of its class, or of any class where it must not be read."""
    paths = sorted(folder.glob("*.json"))
    drawn = [p for p in paths if not p.stem.startswith("neg")]
    pairs = {}
    for path in paths:
        others = [p for p in drawn if p.stem[:-4] == path.stem[:-4]] or drawn
        after = [p for p in others if p > path] + [p for p in others if p != path]
        pairs[path] = (after or [path])[0]
    return pairs


def print_disturbance(name: str, photos: Sequence[RenderedPhoto]) -> None:
    """One line for the readable photos, one for those that must not be read."""
    good = [p for p in photos if p.readable]
    bad = [p for p in photos if not p.readable]
    if good:
        print_line(name, good)
    if bad:
        print_line("  not to be read", bad)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the report."""
    every = [*PROCESSED, *DRAWN, OTHERS_FILE]
    parser = argparse.ArgumentParser(
        prog="python -m tests.stress", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--without-file", action="store_true")
    parser.add_argument("--match", default="", help="only photos whose names contain this")
    parser.add_argument("--only", nargs="+", default=[""], help="parts of disturbances' names")
    parser.add_argument("--keep", type=Path, help="folder for the disturbed photos")
    parser.add_argument("--unread", action="store_true", help="list what was not read, too")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args(arguments)
    names = [name for name in every if any(part in name for part in options.only)]
    pairs = neighbours(options.folder)
    pairs = {p: o for p, o in pairs.items() if options.match in p.stem}
    if not pairs or not names:
        parser.error(f"{options.folder}: no such truth files (NAME.json) or disturbances")
    photos: list[RenderedPhoto] = []
    print_head()
    with (
        tempfile.TemporaryDirectory() as scratch,
        ProcessPoolExecutor(options.jobs) as pool,
    ):
        for name in names:
            here = [
                Trial(
                    path=path,
                    other=other,
                    disturbance=name,
                    without_file=options.without_file,
                    folder=options.keep or Path(scratch),
                )
                for path, other in pairs.items()
            ]
            results = [photo for photo in pool.map(run_trial, here) if photo is not None]
            print_disturbance(name, results)
            sys.stdout.flush()
            photos += results
    print()
    print_unread(photos if options.unread else [p for p in photos if p.silent])
    return 1 if any(photo.silent for photo in photos) else 0


if __name__ == "__main__":
    sys.exit(main())
