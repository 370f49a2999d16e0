"""One photograph's scene from its seed and class: parts, light, camera, truth.

No renderer in here.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer import (
    board,
    camera,
    glassware,
    hardware,
    levels,
    plan,
    spoiling,
    surroundings,
    truth,
)
from sample_images.path_tracer.kinds import is_negative
from sample_images.path_tracer.liquids import Absorption, Liquids
from sample_images.path_tracer.spoiling import Spoil
from sample_images.path_tracer.stage import Finish, Part, Stage
from sample_images.path_tracer.typefaces import Typefaces

SIZE_PX = 1640
"""Nominal long side of a picture."""
FINEST_PX_PER_MM = 16.0
"""Resolution of what is printed: twice that of pictures from close by."""
ATTEMPTS = 5
EDGE_PX = 25
"""Levels nearer to the edge of the picture count as lost."""
LEAST_DIVISION_PX = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """All that rendering and developing need.

    ``middle_mm`` is the height on the board that is the renderer's origin; ``light`` is that
    of :mod:`rooms`, ``absorptions`` belong to the names that parts give.
    """

    parts: tuple[Part, ...]
    finishes: Mapping[str, Finish]
    absorptions: Mapping[str, Absorption]
    light: FloatMap
    camera: camera.Camera
    middle_mm: float
    spoil: Spoil
    truth: dict[str, Any]

    @property
    def seed(self) -> int:
        return int(self.truth["seed"])

    @property
    def shows_its_levels(self) -> bool:
        """Whether all levels that are not hidden are well in the picture and readable."""
        width, height = self.camera.size_px
        seen = [
            meniscus["px"]
            for limb, menisci in enumerate(self.truth["menisci"])
            for meniscus in menisci
            if limb not in self.truth["hidden"]
        ]
        return (
            all(
                EDGE_PX < x < width - EDGE_PX and EDGE_PX < y < height - EDGE_PX
                for x, y in seen
            )
            and self.truth["info"]["px_per_div"] >= LEAST_DIVISION_PX
        )


def prepare(
    seed: int,
    cls: str,
    faces: Typefaces,
    size_px: int = SIZE_PX,
    finest_px_per_mm: float = FINEST_PX_PER_MM,
) -> Scene:
    """The first of a few attempts at a readable photograph that shows its levels."""
    for attempt in range(ATTEMPTS):
        scene = attempt_at(seed, cls, faces, size_px, finest_px_per_mm, attempt)
        if is_negative(cls) or scene.shows_its_levels:
            break
    return scene


def attempt_at(
    seed: int,
    cls: str,
    faces: Typefaces,
    size_px: int,
    finest_px_per_mm: float,
    attempt: int,
) -> Scene:
    """One attempt; each draws anew."""
    rng = np.random.default_rng([seed, zlib.crc32(cls.encode()), attempt])
    stage = Stage()
    what = plan.draw(rng, cls, finest_px_per_mm)
    mounted = board.put_up(stage, rng, what, faces)
    filling = levels.fill(rng, what)
    upward = np.array([0, 1.0, 0])
    hidden = filling.hidden
    liquids: Liquids | None = None
    if what.scaleless:
        surroundings.put_pipes_before(stage, rng, what)
    else:
        glass = glassware.put_up(stage, rng, what, filling)
        upward, liquids = glass.upward, glass.liquids
        hidden += () if glass.broken is None else (glass.broken,)
        hidden += hardware.put_up(stage, rng, what, filling, glass, faces)
    around = surroundings.put_up(stage, rng, what, mounted.thickness_mm)
    view = camera.aim(rng, what, filling, upward, size_px)
    spoil = spoiling.draw(rng, what, filling, view)
    info: dict[str, Any] = {
        "font": mounted.font,
        "light": around.room,
        "wall": around.wall,
        "contact": _contacts(liquids),
    }
    if view.widened:
        info["px_per_div_low"] = True
    return Scene(
        parts=tuple(stage.parts),
        finishes=stage.finishes,
        absorptions=stage.absorptions,
        light=around.light,
        camera=view.camera,
        middle_mm=what.board_height_mm / 2,
        spoil=spoil,
        truth=truth.record(seed, what, mounted, filling, hidden + spoil.hidden, view, info),
    )


def _contacts(liquids: Liquids | None) -> dict[str, list[float]]:
    """Capillary area [mm^2] and contact angle [deg] of every interface."""
    if liquids is None:
        return {}
    return {
        f"{lower}/{upper}": [round(area, 3), round(contact, 3)]
        for (lower, upper), (area, contact) in liquids.interfaces.items()
    }
