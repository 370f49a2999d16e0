"""Scale maps fitted to columns of graduations that a pinhole camera saw."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from limbsight.calib.camera import Frame
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.calib.scale_map import ScaleMap
from tests.helpers.boards import Camera, Column

COLUMNS = (Column(spine=-9.0, side="right"), Column(spine=9.0, side="left"))
WIDE = Camera(focal_px=700.0, distance=150.0)
"""Near and wide: perspective shows."""

POSES = st.builds(
    Camera,
    focal_px=st.just(700.0),
    distance=st.floats(140.0, 220.0),
    x=st.floats(-15.0, 15.0),
    y=st.floats(-25.0, 25.0),
    yaw=st.floats(-5.0, 5.0),
    pitch=st.floats(-8.0, 8.0),
    roll=st.floats(-15.0, 15.0),
    k1=st.floats(-0.02, 0.02),
)


def frame_of(camera: Camera) -> Frame:
    return Frame(
        width_px=camera.width,
        height_px=camera.height,
        focal_px=camera.focal_px,
        focal_relative_uncertainty=0.0,
    )


def fitted(
    camera: Camera, columns: tuple[Column, ...] = COLUMNS, noise_px: float = 0.0, seed: int = 0
) -> ScaleMap:
    combs = [
        c.comb(camera, noise_px=noise_px, seed=seed + 7 * k) for k, c in enumerate(columns)
    ]
    values = [c.values for c in columns]
    return fit_scale_map(tuple(combs), tuple(values), frame_of(camera))


def grid_mm() -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.linspace(-9, 9, 5), np.linspace(-40, 40, 9))
    return x.ravel(), y.ravel()
