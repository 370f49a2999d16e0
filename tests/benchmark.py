"""Time of a whole reading as a multiple of decoding the same file with OpenCV.

``python -m tests.benchmark PHOTO...`` reads each photo several times in this one process,
with the instrument file ``NAME.toml`` beside it or the one given, and prints the medians, what
each stage takes, and the peak memory of a process of its own that reads the photo once.
Importing modules is left out: the first reading is not counted.
"""

from __future__ import annotations

import argparse
import functools
import json
import statistics
import subprocess
import sys
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2

import limbsight
import limbsight.calib.numbering
import limbsight.calib.unknown_scale
import limbsight.find_limbs
import limbsight.find_scale
import limbsight.know_picture
import limbsight.pressure
import limbsight.read_limb
import limbsight.reading
import limbsight.straighten

REPEATS = 7
WARM_UPS = 1
"""Runs before counting: lazy imports and caches belong to the first photo of a call only."""

STAGES = {
    "limbsight.vision.picture": "decode",
    "limbsight.vision.working.working_copy": "reduce",
    "limbsight.standing": "direction",
    "limbsight.vision.turning": "direction",
    "limbsight.calib.boards": "scale",
    "limbsight.vision.working": "scale",
    "limbsight.calib.numbering": "numbering",
    "limbsight.calib.unknown_scale": "numbering",
    "limbsight.vision.numerals": "numerals",
    "limbsight.calib.rectify": "straighten",
    "limbsight.vision.strip": "straighten",
    "limbsight.vision.limbs": "limbs",
    "limbsight.vision.limb_net": "limbs",
    "limbsight.vision.levels": "levels",
    "limbsight.vision.level_net": "levels",
    "limbsight.vision.level_choice": "levels",
    "limbsight.vision.lines_behind": "levels",
    "limbsight.vision.axis": "levels",
    "limbsight.calib.heights": "menisci",
    "limbsight.calib.oblique": "menisci",
    "limbsight.pressure": "pressure",
}
"""Stage of a function or of all functions of a module; the rest is the road itself."""
REST = "the rest"
LENDERS = (
    limbsight.reading,
    limbsight.find_scale,
    limbsight.know_picture,
    limbsight.find_limbs,
    limbsight.straighten,
    limbsight.read_limb,
    limbsight.calib.numbering,
    limbsight.calib.unknown_scale,
    limbsight.pressure,
)
"""Modules whose borrowed functions are watched."""

MEGABYTE = 1e6


class Clock:
    """Seconds so far: of the wall, or of this process's processors (``--processor``)."""

    def __init__(self) -> None:
        self.now: Callable[[], float] = time.perf_counter


CLOCK = Clock()


class StageTimes:
    """Time spent in each stage; a stage inside another is taken out of it.

    What goes on beside, on other threads, is not counted; waiting for it is part of the rest.
    """

    def __init__(self) -> None:
        self._thread = threading.get_ident()
        self.seconds: dict[str, float] = defaultdict(float)
        self._within: list[float] = []
        """For each function under way, the time of the watched ones it called."""

    def timed(self, stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """Wrap a function so that its time is counted."""

        @functools.wraps(function)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            if threading.get_ident() != self._thread:
                return function(*args, **kwargs)
            self._within.append(0.0)
            start = CLOCK.now()
            try:
                return function(*args, **kwargs)
            finally:
                taken = CLOCK.now() - start
                self.seconds[stage] += taken - self._within.pop()
                if self._within:
                    self._within[-1] += taken

        return wrapper

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Count every function another module of the package lends to the road."""
        lent = [
            (module, name, value, stage)
            for module in LENDERS
            for name, value in vars(module).items()
            if (stage := stage_of(module, name, value)) is not None
        ]
        for module, name, function, stage in lent:
            setattr(module, name, self.timed(stage, function))
        try:
            yield
        finally:
            for module, name, function, _ in lent:
                setattr(module, name, function)


def stage_of(module: ModuleType, name: str, value: object) -> str | None:
    """Stage of a function that a module of the road calls, None for what is none.

    ``limbsight.pressure`` is imported where it is needed, so its own functions count.
    """
    home = str(getattr(value, "__module__", ""))
    if not callable(value) or isinstance(value, type) or not home.startswith("limbsight."):
        return None
    if (home == module.__name__) != (module is limbsight.pressure) or name.startswith("_"):
        return None
    return STAGES.get(f"{home}.{name}", STAGES.get(home))


def median_seconds(functions: Sequence[Callable[[], object]], repeats: int) -> list[float]:
    """Median of several runs of each, taken in turn, so that a busy spell hits all alike."""
    times: list[list[float]] = [[] for _ in functions]
    for i in range(WARM_UPS + repeats):
        for function, taken in zip(functions, times, strict=True):
            start = CLOCK.now()
            function()
            if i >= WARM_UPS:
                taken.append(CLOCK.now() - start)
    return [statistics.median(taken) for taken in times]


def peak_memory_bytes(photo: Path, instrument: Path | None) -> tuple[int, int]:
    """Peak of a fresh process after importing everything, and after one reading.

    Raises
    ------
    SystemExit
        If that process fails.
    """
    command = [sys.executable, "-m", "tests.benchmark", "--memory-of", str(photo)]
    command += ["--instrument", str(instrument)] if instrument else []
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    before, after = json.loads(done.stdout)
    return int(before), int(after)


def print_own_memory(photo: Path, instrument: Path | None) -> None:
    """Read once and print this process's peak memory before and after [bytes], as JSON."""
    known = limbsight.load_instrument(instrument) if instrument else None
    before = own_peak_bytes()
    limbsight.read_photo(photo, instrument=known)
    print(json.dumps([before, own_peak_bytes()]))


def own_peak_bytes() -> int:
    """Peak of this process's memory."""
    status = Path("/proc/self/status")
    if status.exists():  # Linux; getrusage would count what the parent held when it forked
        (line,) = (x for x in status.read_text().splitlines() if x.startswith("VmHWM:"))
        return 1024 * int(line.split()[1])
    import resource  # not on Windows

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # macOS counts bytes


def run(photo: Path, instrument_path: Path | None, repeats: int) -> tuple[float, float]:
    """Print the figures of one photo; returns reading over decoding, and peak memory [MB]."""
    beside = photo.with_suffix(".toml")
    path = instrument_path or (beside if beside.exists() else None)
    instrument = limbsight.load_instrument(path) if path else None
    decoded = cv2.imread(str(photo))
    if decoded is None:
        raise SystemExit(f"{photo}: OpenCV can't decode it")
    height, width = decoded.shape[:2]
    del decoded
    decoding, reading = median_seconds(
        [
            lambda: cv2.imread(str(photo)),
            lambda: limbsight.read_photo(photo, instrument=instrument),
        ],
        repeats,
    )
    per_stage: list[dict[str, float]] = []
    for _ in range(repeats):
        stages = StageTimes()
        with stages.watching():
            start = CLOCK.now()
            result = limbsight.read_photo(photo, instrument=instrument)
            watched = CLOCK.now() - start
        stages.seconds[REST] = watched - sum(stages.seconds.values())
        per_stage.append(stages.seconds)
    with_file = f"with {path.name}" if path else "without an instrument file"
    print(f"{photo.name} {with_file}: {width * height / 1e6:.1f} megapixels, {result.status}")
    print(f"  decoding with OpenCV {1e3 * decoding:7.1f} ms")
    print(
        f"  whole reading        {1e3 * reading:7.1f} ms = {reading / decoding:.1f} x decoding"
    )
    for stage in [*dict.fromkeys(STAGES.values()), REST]:
        taken = statistics.median(seconds.get(stage, 0.0) for seconds in per_stage)
        print(f"    {stage:12s} {1e3 * taken:7.1f} ms  {taken / decoding:5.2f} x")
    if sys.platform == "win32":
        return reading / decoding, 0.0
    before, after = peak_memory_bytes(photo, path)
    print(
        f"  peak memory {after / MEGABYTE:.0f} MB, {(after - before) / MEGABYTE:.0f} MB of it "
        "beyond the imported modules"
    )
    return reading / decoding, after / MEGABYTE


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark; with bounds the exit status says whether they held."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmark", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("photos", type=Path, nargs="+", metavar="PHOTO")
    parser.add_argument("--instrument", type=Path, metavar="FILE")
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument(
        "--at-most", type=float, metavar="MULTIPLE", help="fail if a reading takes longer"
    )
    parser.add_argument(
        "--at-most-mb", type=float, metavar="MB", help="fail if a reading takes more memory"
    )
    parser.add_argument(
        "--processor",
        action="store_true",
        help="count processor time on one thread, which others on the machine disturb less",
    )
    parser.add_argument("--memory-of", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.memory_of:
        print_own_memory(options.photos[0], options.instrument)
        return 0
    if options.processor:
        CLOCK.now = time.process_time
        cv2.setNumThreads(1)
    figures = [run(photo, options.instrument, options.repeats) for photo in options.photos]
    multiple, memory_mb = (max(values) for values in zip(*figures, strict=True))
    print(f"worst: {multiple:.1f} x decoding, {memory_mb:.0f} MB")
    slow = options.at_most is not None and multiple > options.at_most
    large = options.at_most_mb is not None and memory_mb > options.at_most_mb
    return 1 if slow or large else 0


if __name__ == "__main__":
    sys.exit(main())
