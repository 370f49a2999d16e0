"""Command line: path-trace photographs of seeds into a folder."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from limbsight.errors import InputError
from sample_images.path_tracer import typefaces
from sample_images.path_tracer.budget import Budget
from sample_images.path_tracer.kinds import CLASSES, class_of
from sample_images.path_tracer.photographs import Wanted, Workshop, make
from sample_images.path_tracer.renderer import VARIANTS
from sample_images.path_tracer.scene import SIZE_PX

BY_SEED, IN_TURN = "by-seed", "in-turn"


def wanted(cls: str, first: int, count: int) -> list[Wanted]:
    """Photographs of seeds: of the class that goes with each, of all in turn, or of one."""
    seeds = range(first, first + count)
    if cls == BY_SEED:
        return [Wanted(class_of(seed), seed) for seed in seeds]
    if cls == IN_TURN:
        return [Wanted(CLASSES[seed % len(CLASSES)], seed) for seed in seeds]
    return [Wanted(cls, seed) for seed in seeds]


def parser() -> argparse.ArgumentParser:
    usual = Budget()
    options = argparse.ArgumentParser(
        prog="python -m sample_images.path_tracer",
        description="Path-trace photographs of manometers with exact truth beside each.",
    )
    options.add_argument(
        "--seed", type=int, default=1, help="first seed; the next ones follow"
    )
    options.add_argument("--count", type=int, default=1, help="photographs")
    options.add_argument("--out", type=Path, required=True, help="folder to write to")
    options.add_argument(
        "--class",
        dest="cls",
        default=BY_SEED,
        choices=(BY_SEED, IN_TURN, *CLASSES),
        metavar="NAME",
        help=f"{BY_SEED} (the default: fixed by each seed, one in nine not to be read), "
        f"{IN_TURN}, or one of {', '.join(CLASSES)}",
    )
    options.add_argument(
        "--fonts", type=Path, help="folder of fonts; without it those of this machine"
    )
    options.add_argument("--size", type=int, default=SIZE_PX, help="nominal long side, px")
    options.add_argument("--base", type=int, default=usual.base, help="samples of every pixel")
    options.add_argument(
        "--most",
        type=int,
        default=usual.most,
        help="samples after which an uncertain pixel gets no more",
    )
    options.add_argument(
        "--seconds",
        type=float,
        default=usual.seconds,
        help="time for a photograph's samples beyond the base",
    )
    options.add_argument(
        "--jobs", type=int, default=1, help="processes beside the one that renders"
    )
    options.add_argument("--variant", choices=VARIANTS, default=VARIANTS[0])
    return options


def main(arguments: Sequence[str] | None = None) -> None:
    options = parser()
    a = options.parse_args(arguments)
    try:
        faces = typefaces.in_folder(a.fonts) if a.fonts else typefaces.of_this_machine()
        a.out.mkdir(parents=True, exist_ok=True)
        workshop = Workshop(
            out=a.out,
            faces=faces,
            size_px=a.size,
            budget=Budget(base=a.base, most=a.most, seconds=a.seconds),
            variant=a.variant,
            jobs=a.jobs,
        )
        for line in make(workshop, wanted(a.cls, a.seed, a.count)):
            print(line, flush=True)
    except InputError as error:
        options.error(str(error))


if __name__ == "__main__":
    main()
