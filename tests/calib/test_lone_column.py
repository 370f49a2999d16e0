"""Maps of a lone column, and lines that would turn it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.lone_column import wrong_slopes
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.vision.comb import Comb
from tests.helpers.boards import Camera
from tests.helpers.scale_maps import COLUMNS, WIDE, fitted, frame_of


def lone_comb(camera: Camera, length_px: float, found_px: float = 1.0) -> Comb:
    """A column whose lines are all as long, seen in another size."""
    comb = COLUMNS[0].comb(camera)
    middle = comb.lines.x
    left, right = middle - 0.5 * length_px, middle + 0.5 * length_px
    return replace(comb, lines=replace(comb.lines, left=left, right=right), found_px=found_px)


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
    they were found."""
    comb = lone_comb(replace(WIDE, roll=8.0), length_px, found_px)
    found = fit_scale_map((comb,), (COLUMNS[0].values,), frame_of(WIDE))
    by_length, together = wrong_slopes(found, comb)
    assert np.abs(by_length) == pytest.approx(u, rel=0.15)
    assert together == pytest.approx(0.0)


@pytest.mark.parametrize("share", [1.0, 0.9, 0.7])
@pytest.mark.parametrize("turned", [{}, {"yaw": 10.0, "pitch": 10.0}])
def test_lines_that_slope_wrongly_together_hardly_turn_it(share, turned):
    """The spine holds the map, and its covariance takes in what is left of their pull: where
    slopes change along the column, they feign another turn of the plane."""
    camera = replace(WIDE, roll=8.0, **turned)
    comb = lone_comb(camera, 12.0)
    flat = replace(comb, lines=replace(comb.lines, slope=share * comb.lines.slope))
    found = fit_scale_map((flat,), (COLUMNS[0].values,), frame_of(camera))
    assert 0.0 < found.u_slope < 0.1 * float(np.abs(wrong_slopes(found, comb)[0]).mean())

    x, y = camera.project(np.full(9, 20.0), COLUMNS[0].values[::10], 0.0)
    by_each = np.stack([found.sensitivity(*at) for at in zip(x, y, strict=True)])
    u = np.sqrt(np.einsum("nk,kl,nl->n", by_each, found.covariance, by_each))
    assert np.all(np.abs(found.value_at(x, y) - COLUMNS[0].values[::10]) < 2 * u)


def test_two_columns_tell_their_slope_by_where_they_are():
    assert fitted(replace(WIDE, roll=8.0)).u_slope == 0.0


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
