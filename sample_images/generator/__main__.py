"""Command line: draw photographs of one class, or of all, into a folder."""

from __future__ import annotations

import argparse
import json
import os
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import cv2

from sample_images.generator import benches, cases, phone, render, truth

EVERY = cases.READABLE + cases.NEGATIVE
GROUPS = {"all": EVERY, "bench": benches.CLASSES}


def make(
    cls: str,
    seed: int,
    folder: Path,
    size_px: tuple[int, int],
    opened: bool = False,
    askew_deg: float = 0.0,
    plastic: bool = False,
) -> str:
    """Write CLASS_SEED.jpg and .json (CLASS_SEED_open for a zero); return a line to print."""
    began = time.perf_counter()
    case = cases.draw(cls, seed, size_px, opened=opened, askew_deg=askew_deg, plastic=plastic)
    picture = phone.develop(render.render(case.world, case.camera), case.degrade)
    stem = folder / f"{cls}_{seed:04d}{'_open' if opened else ''}"
    stem.with_suffix(".jpg").write_bytes(
        phone.jpeg_bytes(picture, case.degrade, case.camera.f35_mm)
    )
    stem.with_suffix(".json").write_text(
        json.dumps(truth.record(case), indent=1) + "\n", encoding="utf-8"
    )
    return f"{stem.name}  {time.perf_counter() - began:.1f} s"


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m sample_images.generator",
        description="Draw photographs of manometers with exact truth beside each.",
    )
    parser.add_argument(
        "--class",
        dest="cls",
        default="all",
        metavar="NAME",
        help=f"all (of {', '.join(EVERY)}), bench (of {', '.join(benches.CLASSES)}), "
        + "or one or more of these, separated by commas",
    )
    parser.add_argument("--count", type=int, default=1, help="photographs per class")
    parser.add_argument("--seed", type=int, default=1, help="first seed; the next ones follow")
    parser.add_argument("--out", type=Path, required=True, help="folder to write to")
    parser.add_argument(
        "--size", default="1500x2000", help="width x height of the picture, px"
    )
    parser.add_argument(
        "--open",
        action="store_true",
        help="also each instrument with both ends open to the air, for a zero; U-tubes",
    )
    parser.add_argument(
        "--askew",
        type=float,
        default=0.0,
        metavar="DEGREES",
        help="turn all that is printed against the tubes",
    )
    parser.add_argument(
        "--plastic", action="store_true", help="tubes of plastic, which water does not wet"
    )
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    a = parser.parse_args()
    names = list(GROUPS.get(a.cls, a.cls.split(",")))
    unknown = [n for n in names if n not in cases.CLASSES]
    if unknown:
        parser.error(f"unknown class {', '.join(unknown)}; one of {', '.join(cases.CLASSES)}")
    width, height = (int(v) for v in a.size.split("x"))
    a.out.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    seeds = range(a.seed, a.seed + a.count)
    tasks = [(n, s, False) for s in seeds for n in names]
    tasks += [(n, s, True) for n, s, _ in tasks if a.open and n in cases.OPENED]
    draw = partial(
        make,
        folder=a.out,
        size_px=(width, height),
        askew_deg=a.askew,
        plastic=a.plastic,
    )
    if a.jobs == 1:
        for name, seed, opened in tasks:
            print(draw(name, seed, opened=opened), flush=True)
        return
    # Processes that each have threads for all cores wait for one another.
    with ProcessPoolExecutor(a.jobs, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        jobs = [pool.submit(draw, n, s, opened=o) for n, s, o in tasks]
        for job in jobs:
            print(job.result(), flush=True)


if __name__ == "__main__":
    main()
