"""The fit of a scale map: its uncertainty, stray and uneven lines, a square on the board."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.camera import Square
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.calib.scale_map import ScaleMap
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb
from tests.helpers.boards import Camera
from tests.helpers.scale_maps import COLUMNS, WIDE, fitted, frame_of

NOISE_PX = 0.15
RUNS = 60
NOISY = replace(WIDE, pitch=4.0, roll=3.0, k1=0.008)
PLACES = ((0.0, 0.0), (-5.0, 35.0), (5.0, -35.0), (0.0, 48.0))
"""In the middle, near the ends, and beyond them [mm]."""


@pytest.fixture(scope="module")
def fits() -> list[ScaleMap]:
    """One board seen many times, each time with other noise."""
    return [fitted(NOISY, noise_px=NOISE_PX, seed=100 * k) for k in range(RUNS)]


class TestUncertainty:
    @pytest.mark.parametrize("place", PLACES)
    def test_of_a_value_is_honest(self, fits, place):
        """Error over stated uncertainty scatters by one (chi: 60 runs tell it to 9 %)."""
        x, y = (float(v) for v in NOISY.project(place[0], place[1]))
        scores = []
        for found in fits:
            slope = found.sensitivity(x, y)
            u = float(np.sqrt(slope @ found.covariance @ slope))
            scores.append((float(found.value_at(x, y)) - place[1]) / u)
        assert 0.7 < np.sqrt(np.mean(np.square(scores))) < 1.35

    def test_of_a_point_in_front_is_honest(self, fits):
        depth, value = 8.0, 33.0
        x, y = (float(v) for v in NOISY.project(np.array(1.0), np.array(value), depth))
        scores = []
        for found in fits:
            slope, _ = found.true_sensitivity(x, y, depth)
            u = float(np.sqrt(slope @ found.covariance @ slope))
            scores.append((found.true_value_at(x, y, depth) - value) / u)
        assert 0.6 < np.sqrt(np.mean(np.square(scores))) < 1.35

    def test_residual_is_the_noise(self, fits):
        assert np.median([f.residual_px for f in fits]) == pytest.approx(NOISE_PX, rel=0.15)


def test_stray_lines_do_not_pull():
    [comb] = [COLUMNS[0].comb(WIDE, noise_px=0.1)]
    values = COLUMNS[0].numbers.astype(float)
    wrong = values.copy()
    wrong[::9] += 0.4
    found = fit_scale_map((comb,), (wrong,), frame_of(WIDE))
    np.testing.assert_allclose(found.value_at(comb.lines.x, comb.lines.y), values, atol=0.08)


def test_an_uneven_scale_is_refused():
    comb: Comb = COLUMNS[0].comb(WIDE)
    values = COLUMNS[0].numbers.astype(float)
    bent = values + 3 * np.sin(values / 4)
    with pytest.raises(NotMeasurable) as caught:
        fit_scale_map((comb,), (bent,), frame_of(WIDE))
    assert caught.value.code == "scale_uneven"


def label_of(camera: Camera, turn_deg: float = 20.0, tilt: float = 0.0) -> Square:
    """A square of 14 mm beside the scale, turned in the board, or tilted out of it."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    own = 7.0 * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
    x, y = (own @ np.array([[c, s], [-s, c]])).T
    return Square(
        corners_px=np.stack(camera.project(x + 22.0, y + 3.0, tilt * own[:, 0]), axis=1),
        edge=14.0,
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_square_on_the_board_tells_how_a_lone_column_is_turned(seed):
    """Heights 18 mm beside noisy lines, by their root mean square; and they are surer."""
    camera = replace(WIDE, yaw=6.0, pitch=8.0)
    comb = COLUMNS[0].comb(camera, noise_px=0.5, seed=seed)
    value = np.linspace(-40.0, 40.0, 9)
    x, y = camera.project(np.full(9, 9.0), value)
    off, sure = [], []
    for square in (None, label_of(camera)):
        frame = replace(frame_of(camera), square=square)
        found = fit_scale_map((comb,), (COLUMNS[0].values,), frame)
        assert found.frame.square is None
        off.append(np.sqrt(np.mean((found.value_at(x, y) - value) ** 2)))
        by_each = found.sensitivity(float(x[0]), float(y[0]))
        sure.append(np.sqrt(by_each @ found.covariance @ by_each))
    assert off[1] < 0.1
    assert sure[1] < 0.8 * sure[0]


def test_a_square_that_leans_out_of_the_board_is_left_aside():
    camera = replace(WIDE, yaw=6.0, pitch=8.0)
    leaning = replace(frame_of(camera), square=label_of(camera, tilt=0.5))
    combs = tuple(c.comb(camera) for c in COLUMNS)
    values = tuple(c.values for c in COLUMNS)
    plain = fit_scale_map(combs, values, frame_of(camera))
    found = fit_scale_map(combs, values, leaning)
    np.testing.assert_array_equal(found.parameters, plain.parameters)
