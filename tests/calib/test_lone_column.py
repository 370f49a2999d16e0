"""Maps of a lone column, and lines that would turn it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.scale_fit import fit_scale_map
from tests.helpers.scale_maps import COLUMNS, WIDE, fitted, frame_of


def test_single_column_holds_beside_it():
    """With one column the direction of the lines alone carries values to the tube."""
    camera = replace(WIDE, roll=4.0, pitch=3.0)
    found = fitted(camera, (COLUMNS[0],))
    x, y = camera.project(np.full(5, 3.0), np.linspace(-35, 35, 5))
    np.testing.assert_allclose(found.value_at(x, y), np.linspace(-35, 35, 5), atol=0.05)


def test_stubs_do_not_turn_it():
    """Lines of few pixels lie flat, however their scale leans."""
    camera = replace(WIDE, roll=6.0, pitch=3.0)
    [comb] = [COLUMNS[0].comb(camera)]
    lines = comb.lines
    stub = COLUMNS[0].numbers < 0
    flat = replace(
        lines,
        slope=np.where(stub, 0.2 * lines.slope, lines.slope),
        left=np.where(stub, lines.x - 4.0, lines.left),
        right=np.where(stub, lines.x + 4.0, lines.right),
    )
    value = COLUMNS[0].numbers.astype(float)
    found = fit_scale_map((replace(comb, lines=flat),), (value,), frame_of(camera))
    x, y = camera.project(np.full(5, 3.0), np.linspace(-35, 35, 5))
    np.testing.assert_allclose(found.value_at(x, y), np.linspace(-35, 35, 5), atol=0.1)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_lone_column_stands_square_to_its_lines(seed):
    """Slopes of short lines alone leave open how the plane is turned about the scale: uprights
    18 mm beside it leaned by a millimetre, and heights there were as uncertain."""
    camera = replace(WIDE, yaw=6.0, pitch=8.0)
    found = fitted(camera, COLUMNS[:1], noise_px=0.5, seed=seed)
    value = np.linspace(-40.0, 40.0, 9)
    seen = camera.project(np.full(9, 9.0), value, 6.0)
    across, values = found.plane().from_pixel(*seen, in_front=6.0)
    assert np.ptp(across) < 0.1
    np.testing.assert_allclose(found.plane().to_pixel(across, values, 6.0), seen, atol=1e-3)
    true = [found.true_value_at(float(x), float(y), 6.0) for x, y in zip(*seen, strict=True)]
    np.testing.assert_allclose(true, value, atol=0.6)


@pytest.mark.parametrize(
    ("length_px", "found_px", "u"),
    [(12.0, 1.0, 0.045), (40.0, 1.0, 0.003), (40.0, 3.3, 0.045)],
)
def test_short_lines_of_a_lone_column_slope_less_surely(length_px, found_px, u):
    """By a third of their slope at 12 px, nearly not at 40, in pixels of the picture in which
    they were found; the map may turn by as much about their spine."""
    camera = replace(WIDE, roll=8.0)
    comb, frame = replace(COLUMNS[0].comb(camera), found_px=found_px), frame_of(camera)
    middle = comb.lines.x
    lines = replace(comb.lines, left=middle - 0.5 * length_px, right=middle + 0.5 * length_px)
    found = fit_scale_map((replace(comb, lines=lines),), (COLUMNS[0].values,), frame)
    assert found.u_slope == pytest.approx(u, rel=0.15)
    assert fitted(camera).u_slope == 0.0

    x, y = float(np.median(lines.right)), float(np.median(lines.y))
    _, by_y = found.gradient(x, y)
    by_each = found.sensitivity(x + 60.0, y)
    turned = float(np.sqrt(by_each @ found.covariance @ by_each))
    assert turned == pytest.approx(60.0 * u * abs(float(by_y)), rel=0.3)


def test_lines_that_a_tube_has_cut_do_not_turn_a_lone_column():
    """Three in four are stubs that lie flat; the whole ones tell the direction."""
    camera = replace(WIDE, roll=8.0)
    comb, frame = COLUMNS[0].comb(camera), frame_of(camera)
    lines, cut = comb.lines, comb.index % 4 > 0
    stubs = replace(
        lines,
        left=np.where(cut, lines.right - 0.45 * lines.length.max(), lines.right - 29.0),
        slope=np.where(cut, 0.2 * lines.slope, lines.slope),
    )
    found = fit_scale_map((replace(comb, lines=stubs),), (COLUMNS[0].values,), frame)
    x, y = camera.project(np.full(9, 9.0), np.linspace(-40.0, 40.0, 9))
    np.testing.assert_allclose(found.value_at(x, y), np.linspace(-40.0, 40.0, 9), atol=0.15)
