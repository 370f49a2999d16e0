"""What a photograph shows, in the form of :mod:`sample_images.generator.truth`.

Positions are px of the upright picture, the centre of its first pixel at (0, 0).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from sample_images.generator.truth import POINTS
from sample_images.path_tracer.board import Board
from sample_images.path_tracer.camera import View
from sample_images.path_tracer.levels import Filling
from sample_images.path_tracer.plan import Plan


def record(
    seed: int,
    plan: Plan,
    board: Board,
    filling: Filling,
    hidden: tuple[int, ...],
    view: View,
    info: Mapping[str, Any],
) -> dict[str, Any]:
    """Truth as plain JSON data; ``info`` is what else is worth knowing."""
    g, camera = plan.scale, view.camera
    return {
        "cls": plan.cls,
        "seed": seed,
        "kind": plan.kind,
        "graduation": {
            "unit_mm": g.unit_mm,
            "minor": g.minor,
            "major": g.major,
            "label_every": g.label_every,
            "lo": g.lo,
            "hi": g.hi,
            "labels": g.labels,
            "y_zero": g.y_zero_mm,
        },
        "tube": {
            "ri": plan.inner_mm,
            "ro": plan.outer_mm,
            "z": plan.axis_mm,
            "scale_z": None if plan.scaleless else board.scale_z_mm,
            "x": list(plan.limbs_mm),
        },
        "fluid": plan.fluid,
        "menisci": _menisci(plan, filling, view),
        "hidden": list(hidden),
        "graduation_px": [] if plan.scaleless else _scales(plan, board, view),
        "camera": {
            "f35": camera.f35_mm,
            "k1": camera.k1,
            "origin": camera.origin.tolist(),
            "target": camera.target.tolist(),
            "crop": list(camera.crop),
            "aperture": camera.aperture_mm,
            "distance": camera.distance_mm,
        },
        "info": dict(info, glass_n=plan.glass_index, px_per_div=view.division_px),
    }


def _menisci(plan: Plan, filling: Filling, view: View) -> list[list[dict[str, Any]]]:
    """Levels of every limb: apex on the axis, and the fluid under it."""
    return [
        [
            {
                "fluid": fluid,
                "y_mm": y,
                "reading": plan.scale.value(y),
                "px": view.camera.project((x, y, plan.axis_mm)),
            }
            for fluid, y in zip(column.fluids, column.levels_mm, strict=False)
        ]
        for x, column in zip(plan.limbs_mm, filling.columns, strict=True)
    ]


def _scales(plan: Plan, board: Board, view: View) -> list[dict[str, Any]]:
    values = [float(v) for v in np.linspace(plan.scale.lo, plan.scale.hi, POINTS)]
    return [
        {
            "values": values,
            "px": [
                view.camera.project((plate.middle_mm, plan.scale.y_mm(v), board.scale_z_mm))
                for v in values
            ],
            "ticks": plate.side,
        }
        for plate in board.plates
    ]
