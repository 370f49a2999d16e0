"""Time of a whole reading as a multiple of decoding the same file with OpenCV.

``python -m tests.benchmark PHOTO...`` reads each photo several times in this one process,
with the instrument file ``NAME.toml`` beside it or the one given, and prints the medians and
what the stages take. A stage is a function that ``limbsight.reading`` calls from another
module; what it does itself is the rest.
"""

from __future__ import annotations

import argparse
import functools
import statistics
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2

import limbsight
import limbsight.pressure
import limbsight.reading

REPEATS = 7
WARM_UPS = 1
"""Runs before counting: lazy imports and caches belong to the first photo of a call only."""

LEAST_SHOWN_S = 1e-3
"""Stages that take less are part of the rest."""


class StageTimes:
    """Time spent in the functions that ``limbsight.reading`` calls, without nested calls."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self._inside = False

    def timed(self, name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """Wrap a function so that its time is counted."""

        @functools.wraps(function)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            if self._inside:
                return function(*args, **kwargs)
            self._inside = True
            start = time.perf_counter()
            try:
                return function(*args, **kwargs)
            finally:
                self.seconds[name] += time.perf_counter() - start
                self._inside = False

        return wrapper

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Count every function another module of the package lends to the road."""
        lent = [
            (module, name, value)
            for module in (limbsight.reading, limbsight.pressure)
            for name, value in vars(module).items()
            if _is_lent(module, name, value)
        ]
        for module, name, function in lent:
            setattr(module, name, self.timed(f"{function.__module__}.{name}", function))
        try:
            yield
        finally:
            for module, name, function in lent:
                setattr(module, name, function)


def _is_lent(module: ModuleType, name: str, value: object) -> bool:
    """Whether the road calls this function of another module.

    ``limbsight.pressure`` is imported where it is needed, so its own functions count.
    """
    home = str(getattr(value, "__module__", ""))
    if not callable(value) or isinstance(value, type) or not home.startswith("limbsight."):
        return False
    if module is limbsight.pressure:
        return home == module.__name__ and not name.startswith("_")
    return home != module.__name__


def median_seconds(functions: Sequence[Callable[[], object]], repeats: int) -> list[float]:
    """Median of several runs of each, taken in turn, so that a busy spell hits all alike."""
    times: list[list[float]] = [[] for _ in functions]
    for i in range(WARM_UPS + repeats):
        for function, taken in zip(functions, times, strict=True):
            start = time.perf_counter()
            function()
            if i >= WARM_UPS:
                taken.append(time.perf_counter() - start)
    return [statistics.median(taken) for taken in times]


def run(photo: Path, instrument_path: Path | None, repeats: int) -> float:
    """Print the figures of one photo; returns reading over decoding."""
    beside = photo.with_suffix(".toml")
    path = instrument_path or (beside if beside.exists() else None)
    instrument = limbsight.load_instrument(path) if path else None
    decoded = cv2.imread(str(photo))
    if decoded is None:
        raise SystemExit(f"{photo}: OpenCV can't decode it")
    decoding, reading = median_seconds(
        [
            lambda: cv2.imread(str(photo)),
            lambda: limbsight.read_photo(photo, instrument=instrument),
        ],
        repeats,
    )
    stages = StageTimes()
    with stages.watching():
        start = time.perf_counter()
        for _ in range(repeats):
            result = limbsight.read_photo(photo, instrument=instrument)
        watched = (time.perf_counter() - start) / repeats
    height, width = decoded.shape[:2]
    with_file = f"with {path.name}" if path else "without an instrument file"
    print(f"{photo.name} {with_file}: {width * height / 1e6:.1f} megapixels, {result.status}")
    print(f"  decoding with OpenCV {1e3 * decoding:7.1f} ms")
    print(
        f"  whole reading        {1e3 * reading:7.1f} ms = {reading / decoding:.1f} x decoding"
    )
    total = {name: seconds / repeats for name, seconds in stages.seconds.items()}
    shown = {name: seconds for name, seconds in total.items() if seconds >= LEAST_SHOWN_S}
    for name, seconds in sorted(shown.items(), key=lambda item: -item[1]):
        print(f"    {name.removeprefix('limbsight.'):44s} {1e3 * seconds:7.1f} ms")
    print(f"    {'the rest':44s} {1e3 * (watched - sum(shown.values())):7.1f} ms")
    return reading / decoding


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark; with ``--at-most`` the exit status says whether it held."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmark", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("photos", type=Path, nargs="+", metavar="PHOTO")
    parser.add_argument("--instrument", type=Path, metavar="FILE")
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument(
        "--at-most", type=float, metavar="MULTIPLE", help="fail if a reading takes longer"
    )
    options = parser.parse_args(arguments)
    multiples = [run(photo, options.instrument, options.repeats) for photo in options.photos]
    worst = max(multiples)
    print(f"worst: {worst:.1f} x decoding")
    return 1 if options.at_most is not None and worst > options.at_most else 0


if __name__ == "__main__":
    sys.exit(main())
