"""The way to the renderer, which is not installed with the project.

Mitsuba 3, a general renderer, gives ray intersection, reflection and compiled kernels; the
integrator and the sampling are ours. Whatever uses it is imported here, once it is there.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

from limbsight.errors import InputError
from sample_images.path_tracer.budget import Budget, Sampled
from sample_images.path_tracer.colour import Light
from sample_images.path_tracer.scene import Scene

VARIANTS = ("cuda_ad_rgb", "llvm_ad_rgb")
"""Compiled for a graphics card, or for the processor (which needs a libLLVM)."""


class Renderer:
    """Renders scenes with one variant; the first takes longer, to compile."""

    def __init__(self, variant: str) -> None:
        self._sampling = _load(variant)
        self._compiled = False

    def render(self, scene: Scene, folder: Path, budget: Budget) -> tuple[Light, Sampled]:
        """Radiance of a scene with margins; ``folder`` is for files of its parts."""
        done = self._sampling.render(scene, folder, budget, compiled=self._compiled)
        self._compiled = True
        radiance, sampled = done
        return radiance, sampled


def _load(variant: str) -> Any:
    """Import the renderer and what uses it.

    Raises
    ------
    InputError
        ``bad_input``: it is not installed, or not for this variant.
    """
    try:
        mitsuba = import_module("mitsuba")
    except ImportError:
        raise InputError(
            "photographs are path-traced with the package mitsuba "
            "(pip install 'limbsight[trace]')"
        ) from None
    if variant not in mitsuba.variants():
        raise InputError(
            f"variant {variant!r}: this mitsuba has {', '.join(mitsuba.variants())}"
        )
    mitsuba.set_variant(variant)
    mitsuba.set_log_level(mitsuba.LogLevel.Error)
    return import_module("sample_images.path_tracer.sampling")
