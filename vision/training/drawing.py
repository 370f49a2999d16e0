"""What the scripts that draw training pictures share: looks, storage, many processes."""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import argparse
import math
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from sample_images.generator import render
from sample_images.generator.camera import Camera
from sample_images.generator.plans import NoFit
from sample_images.generator.scene import Scene

PRINT_OVERSAMPLING = 2.5
PALE_SHARE = 0.3
"""Tubes whose dye is thinned, by a factor down to 0.12."""
BRIGHTEST, GAMMA = 3.0, 2.4
"""A tone curve keeps faint levels in eight bits, as a photo does."""

Arrays = dict[str, npt.NDArray[np.generic]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Classes:
    """Classes of instruments to draw from, and the share of those that can't be read."""

    usual: tuple[str, ...]
    negative: tuple[str, ...]
    negative_share: float


def varied(world: render.World, rng: np.random.Generator) -> render.World:
    """Thin the dye of some tubes; the bend below them is left out."""
    if rng.random() > PALE_SHARE or not world.tubes:
        return world
    thin = float(np.exp(rng.uniform(np.log(0.12), 0.0)))
    tubes = tuple(
        replace(
            tube,
            absorption_per_mm=tuple(
                (r * thin, g * thin, b * thin) for r, g, b in tube.absorption_per_mm
            ),
        )
        for tube in world.tubes
    )
    return replace(world, tubes=tubes, bend=None)


def camera_of(truth, size_px: tuple[int, int]) -> Camera:
    """Camera of a photograph of so many rows and columns; level where no roll is told."""
    seen = truth["camera"]
    return Camera(
        width_px=size_px[1],
        height_px=size_px[0],
        f35_mm=seen["f35"],
        k1=seen["k1"],
        origin_mm=tuple(seen["origin"]),
        target_mm=tuple(seen["target"]),
        roll_rad=math.radians(seen.get("roll_deg", 0.0)),
    )


def stored(light: npt.NDArray[np.float32], quality: int = 97) -> npt.NDArray[np.uint8]:
    """Light relative to the bright parts, as a JPEG file."""
    encoded = 255 * np.clip(light / BRIGHTEST, 0, 1) ** (1 / GAMMA)
    settings = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, 0x111111]
    bgr = np.ascontiguousarray(np.round(encoded[:, :, ::-1]).astype(np.uint8))
    return np.asarray(cv2.imencode(".jpg", bgr, settings)[1])


def coarser_prints(scene: Scene, px_per_mm: float) -> Scene:
    """Filter prints to the strip's sampling: fine ones would alias."""
    faces = []
    for face in scene.faces:
        prints = []
        for pr in face.prints:
            share = min(PRINT_OVERSAMPLING * px_per_mm / pr.px_per_mm, 1.0)
            h, w = pr.coverage.shape
            size = (max(round(w * share), 1), max(round(h * share), 1))
            coverage = cv2.resize(pr.coverage, size, interpolation=cv2.INTER_AREA)
            prints.append(
                replace(
                    pr,
                    coverage=np.asarray(coverage, np.uint8),
                    px_per_mm=pr.px_per_mm * size[1] / h,
                )
            )
        faces.append(replace(face, prints=tuple(prints)))
    return replace(scene, faces=tuple(faces))


def _work(draw: Callable[[str, int], list[Arrays]], task: tuple[str, int, str, float]) -> int:
    cls, seed, folder, until = task
    if time.time() > until:
        return 0
    try:
        pictures = draw(cls, seed)
    except (NoFit, RuntimeError):
        return 0
    for k, picture in enumerate(pictures):
        out = Path(folder) / f"{cls}_{seed:05d}_{k}.npz"
        part = out.with_suffix(".part")
        with part.open("wb") as file:
            np.savez(file, **picture)
        part.rename(out)
    return len(pictures)


def draw_many(
    doc: str, draw: Callable[[str, int], list[Arrays]], classes: Classes, *, first_seed: int
) -> None:
    """Draw instruments of random classes in many processes, as the command line says.

    Parameters
    ----------
    doc
        Of the script; its first line describes it.
    draw
        Gives the arrays of one file or more for a class and a seed.
    """
    parser = argparse.ArgumentParser(description=doc.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, default=first_seed)
    parser.add_argument("--count", type=int, default=100_000, help="instruments at most")
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    os.environ["OMP_NUM_THREADS"] = "1"
    cv2.setNumThreads(1)
    rng = np.random.default_rng(a.seed)
    until = time.time() + 60 * a.minutes
    tasks = []
    for k in range(a.count):
        usual = rng.random() >= classes.negative_share
        names = classes.usual if usual else classes.negative
        tasks.append((names[int(rng.integers(len(names)))], a.seed + k, str(a.out), until))
    work = partial(_work, draw)
    if a.jobs == 1:
        done = sum(work(task) for task in tasks)
    else:
        with ProcessPoolExecutor(a.jobs) as pool:
            done = sum(pool.map(work, tasks, chunksize=4))
    print(f"{done} pictures", flush=True)


def cut_many(doc: str, cut: Callable[[Path], list[Arrays]]) -> None:
    """Cut pictures out of photographs with truth in many processes, as the command line says.

    Parameters
    ----------
    doc
        Of the script; its first line describes it.
    cut
        Gives the arrays of one file or more for a photograph, or none.
    """
    parser = argparse.ArgumentParser(description=doc.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("photos", type=Path, nargs="+", help="folders")
    parser.add_argument("--jobs", type=int, default=2)
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    photos = [
        photo
        for folder in a.photos
        for photo in sorted(folder.glob("*.jpg"))
        if photo.with_suffix(".json").exists()
    ]
    with ProcessPoolExecutor(a.jobs) as pool:
        done = sum(pool.map(partial(_cut_one, cut, a.out), photos))
    print(f"{done} pictures", flush=True)


def _cut_one(cut: Callable[[Path], list[Arrays]], out: Path, photo: Path) -> int:
    cv2.setNumThreads(1)
    pictures = cut(photo)
    for k, picture in enumerate(pictures):
        np.savez(out / f"{photo.parent.name}_{photo.stem}_{k}.npz", **picture)
    return len(pictures)
