"""The truth file written beside each photograph."""

from __future__ import annotations

from typing import Any

import numpy as np

from sample_images.generator.cases import Case

POINTS = 9  # points given along each scale


def record(case: Case) -> dict[str, Any]:
    """Truth as plain JSON data; positions in px of the upright picture, first centre 0, 0."""
    g, cam = case.graduation, case.camera
    menisci = []
    for limb in case.limbs:
        rows = []
        for fluid, y in zip(limb.fluids, limb.levels_mm, strict=False):
            px = cam.project(np.array([[limb.x_mm, y, case.tube_z_mm]]))[0]
            _, on_scale = case.turn.on_print(np.array(limb.x_mm), np.array(y))
            rows.append(
                {
                    "fluid": fluid,
                    "y_mm": y,
                    "reading": g.value(float(on_scale)),
                    "px": [float(px[0]), float(px[1])],
                }
            )
        menisci.append(rows)
    values = np.linspace(g.lo, g.hi, POINTS)
    scales = []
    for s in case.scales:
        heights = np.array([g.y_mm(float(v)) for v in values])
        x, y_mm = case.turn.on_face(np.full(POINTS, s.x_mm), heights)
        at = np.stack([x, y_mm, np.full(POINTS, s.z_mm)], axis=1)
        scales.append(
            {
                "values": [float(v) for v in values],
                "px": cam.project(at).tolist(),
                "ticks": s.ticks,
            }
        )
    d = case.degrade.record()
    d["noise"] = float(np.sqrt(0.5 / case.degrade.full_well))
    return {
        "cls": case.cls,
        "seed": case.seed,
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
            "ri": case.inner_mm,
            "ro": case.outer_mm,
            "z": case.tube_z_mm,
            "scale_z": case.scale_z_mm,
            "x": [limb.x_mm for limb in case.limbs],
        },
        "fluid": case.fluid,
        "menisci": menisci,
        "hidden": list(case.hidden),
        "graduation_px": scales,
        "camera": {
            "f35": cam.f35_mm,
            "k1": cam.k1,
            "origin": list(cam.origin_mm),
            "target": list(cam.target_mm),
            "roll_deg": float(np.degrees(cam.roll_rad)),
            "width": cam.width_px,
            "height": cam.height_px,
        },
        "degrade": d,
        "incline_deg": case.incline_deg,
        "askew_deg": float(np.degrees(case.turn.angle_rad)),
        "look": case.look,
    }
