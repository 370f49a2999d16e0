"""Straightened grids: what is drawn at a place of the board comes back at its row."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.camera import Frame
from limbsight.calib.rectify import combs_across, make_grid, print_columns, px_per_unit
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.vision.strip import sample
from tests.helpers.boards import Camera, Column, photograph, print_of

CAMERA = Camera(focal_px=700.0, distance=150.0, roll=6.0, pitch=4.0, yaw=2.0, k1=0.01)
COLUMNS = (Column(spine=-9.0, side="right"), Column(spine=9.0, side="left"))
COMBS = tuple(column.comb(CAMERA) for column in COLUMNS)
FRAME = Frame(width_px=360, height_px=640, focal_px=700.0, focal_relative_uncertainty=0.0)
PLANE = fit_scale_map(COMBS, tuple(c.values for c in COLUMNS), FRAME).plane()


def grid_of(step=0.2, in_front=0.0):
    left, right = combs_across(PLANE, COMBS, in_front)
    return make_grid(
        PLANE, values=(-40.0, 40.0), across=(left, right), step=step, in_front=in_front
    )


@pytest.mark.parametrize("in_front", [0.0, 5.0])
def test_rows_are_values_and_columns_distances(in_front):
    grid = grid_of(in_front=in_front)
    assert grid.step == pytest.approx(0.2)
    for row in (0.0, 33.0, 120.7, len(grid.values) - 1.0):
        assert grid.row_at(grid.value_at(row)) == pytest.approx(row)
    # Every point of the grid is where the camera sees that place of the board.
    rows, columns = np.arange(0, len(grid.values), 37), np.arange(0, len(grid.across), 11)
    x_px, y_px = (a[np.ix_(rows, columns)].astype(float) for a in (grid.x_px, grid.y_px))
    _, value = CAMERA.on_plane(x_px, y_px, in_front)
    np.testing.assert_allclose(
        value, np.repeat(grid.values[rows, None], len(columns), 1), atol=0.02
    )
    across, value = PLANE.from_pixel(x_px, y_px, in_front)
    np.testing.assert_allclose(value, grid.values[rows, None] + 0 * across, atol=2e-3)
    np.testing.assert_allclose(across, grid.across[None, columns] + 0 * across, atol=2e-3)


def test_a_photo_is_straightened():
    """Graduations of a tilted board lie in level rows, at the rows of their values."""
    grid = grid_of(step=0.1)
    picture = photograph(CAMERA, print_of(*COLUMNS, ink=0.02), noise=0.0)
    straight = sample(picture, grid.x_px, grid.y_px)[:, :, 1].astype(float)
    column = straight[:, round(1.5 / grid.step)]  # half way along the shortest lines
    for value in (-30, -7, 0, 12, 39):
        rows = np.arange(round(grid.row_at(value)) - 4, round(grid.row_at(value)) + 5)
        dark = column[rows].max() - column[rows]
        at = float((rows * dark).sum() / dark.sum())
        assert grid.value_at(at) == pytest.approx(value, abs=0.06)


def test_columns_of_print():
    grid = grid_of(step=0.25)
    left, right = combs_across(PLANE, COMBS, 0.0)
    # Means of lines of 3, 4.5 and 6 mm: between 3 mm (the median) and the whole.
    assert right - left == pytest.approx(2 * 9.0 + 2 * 3.0, abs=0.2)
    marked = print_columns(grid, PLANE, COMBS, widest=10.0)
    middle = np.abs(grid.across - 0.5 * (left + right)) < 8.0
    assert not marked[middle].any()
    assert marked.sum() * grid.step == pytest.approx(6.0, abs=1.0)
    assert not print_columns(grid, PLANE, COMBS, widest=2.0).any()


def test_inside():
    grid = make_grid(PLANE, values=(-90, 90), across=(-30, 30), step=1.0, in_front=0.0)
    inside = grid.inside(360, 640)
    assert inside.any()
    assert not inside.all()
    np.testing.assert_array_equal(
        inside,
        (grid.x_px >= 2) & (grid.x_px <= 357) & (grid.y_px >= 2) & (grid.y_px <= 637),
    )


def test_pixels_per_unit():
    across, _ = PLANE.from_pixel(*CAMERA.project(np.array(0.0), np.array(10.0)))
    low, high = CAMERA.project(np.zeros(2), np.array([9.5, 10.5]))
    expected = float(np.hypot(low[1] - low[0], high[1] - high[0]))
    assert px_per_unit(PLANE, float(across), 10.0) == pytest.approx(expected, rel=0.01)
    nearer = px_per_unit(PLANE, float(across), 10.0, in_front=15.0)
    assert nearer / expected == pytest.approx(150 / 135, rel=0.02)
