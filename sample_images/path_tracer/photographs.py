"""Photograph after photograph: scenes are prepared and pictures developed beside rendering."""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from sample_images.path_tracer import phone
from sample_images.path_tracer.budget import Budget, Sampled
from sample_images.path_tracer.colour import Light
from sample_images.path_tracer.renderer import Renderer
from sample_images.path_tracer.scene import Scene, prepare
from sample_images.path_tracer.typefaces import Typefaces


@dataclass(frozen=True, slots=True)
class Wanted:
    """One photograph."""

    cls: str
    seed: int

    @property
    def name(self) -> str:
        return f"{self.cls}_{self.seed:04d}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Workshop:
    """How photographs are made; ``jobs`` processes work beside the one that renders."""

    out: Path
    faces: Typefaces
    size_px: int
    budget: Budget
    variant: str
    jobs: int


def make(workshop: Workshop, wanted: Sequence[Wanted]) -> Iterator[str]:
    """Write CLASS_SEED.jpg and .json of each; yield a line to print for each."""
    renderer = Renderer(workshop.variant)
    # Not forked: the renderer has threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workshop.jobs, mp_context=context) as pool:
        ahead: list[Future[Scene]] = []
        developing: list[Future[None]] = []
        for i, one in enumerate(wanted):
            for later in wanted[i + len(ahead) : i + workshop.jobs + 1]:
                ahead.append(
                    pool.submit(
                        prepare, later.seed, later.cls, workshop.faces, workshop.size_px
                    )
                )
            scene = ahead.pop(0).result()
            with TemporaryDirectory() as folder:
                radiance, sampled = renderer.render(scene, Path(folder), workshop.budget)
            stem = workshop.out / one.name
            developing.append(
                pool.submit(write, stem, radiance, without_parts(scene), sampled)
            )
            yield f"{one.name}  {sampled.mean:.0f} samples, error {sampled.median_error:.3f}"
        for job in developing:
            job.result()


def without_parts(scene: Scene) -> Scene:
    """What developing needs of a scene."""
    nothing = np.zeros((0, 0, 3), np.float32)
    return replace(scene, parts=(), finishes={}, light=nothing)


def write(stem: Path, radiance: Light, scene: Scene, sampled: Sampled) -> None:
    """Develop a photograph and write it with its truth."""
    jpeg, done = phone.develop(radiance, scene)
    degrade = {"spp": sampled.record()} | done
    record = scene.truth | {"degrade": degrade}
    stem.with_suffix(".jpg").write_bytes(jpeg)
    stem.with_suffix(".json").write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
