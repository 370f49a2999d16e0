"""Columns of graduations: each line its number, whatever the pose and whatever is missing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.comb import MIN_GRADUATIONS
from limbsight.vision.graduations import find_combs
from limbsight.vision.segments import Segments, find_segments
from tests.helpers.boards import Camera, Column, photograph, print_of
from tests.helpers.combs import CAMERA, COLUMN, combs_in, offsets


@pytest.mark.parametrize(
    ("pose", "options"),
    [
        ({}, {}),
        ({"roll": 13.0}, {}),
        ({"roll": -10.0, "yaw": 2.0}, {}),
        ({"distance": 150.0, "focal_px": 750.0, "pitch": 9.0, "y": -20.0}, {}),
        ({"k1": -0.02}, {}),
        ({"k1": 0.02, "roll": 4.0}, {}),
        ({"focal_px": 1000.0}, {}),
        ({"roll": 2.0}, {"blur_px": 1.5}),
        ({"roll": 2.0}, {"noise": 5.0}),
        ({"roll": 2.0}, {"gamma": 1.0}),
    ],
)
@pytest.mark.parametrize("side", ["left", "right"])
def test_every_line_has_its_number(pose, options, side):
    camera = Camera(**{"focal_px": 1517.0, **pose})
    column = Column(side=side)
    combs = combs_in(camera, column, **options)
    assert len(combs) == 1
    [comb] = combs
    assert len(comb.index) >= 0.95 * len(column.numbers)
    assert len(set(offsets(comb, column, camera))) == 1
    assert comb.side == side
    assert comb.residual_px < 0.1 * comb.pitch_px
    assert comb.filling > 0.95
    assert comb.pitch_px == pytest.approx(camera.px_per_mm, rel=0.1)


@pytest.mark.parametrize("gap", [(-3, 3), (10, 16), (-30, -23)])
def test_a_covered_stretch_costs_its_lines_and_no_number(gap):
    def with_clip(x, y):
        light = print_of(COLUMN)(x, y)
        return np.where((y > gap[0] - 0.5) & (y < gap[1] + 0.5), 0.35, light)

    picture = photograph(CAMERA, with_clip)
    [comb] = find_combs(find_segments(np.ascontiguousarray(picture[:, :, 1]), dark=True))
    shifts = set(offsets(comb, COLUMN, CAMERA))
    assert len(shifts) == 1
    missing = set(range(int(comb.index[0]), int(comb.index[-1]) + 1)) - set(
        comb.index.tolist()
    )
    hidden = {k - COLUMN.first + shifts.copy().pop() for k in range(gap[0], gap[1] + 1)}
    assert missing <= hidden
    assert len(missing) >= gap[1] - gap[0]


@settings(max_examples=15, deadline=None)
@given(
    roll=st.floats(-15, 15),
    pitch=st.floats(-8, 8),
    yaw=st.floats(-4, 4),
    k1=st.floats(-0.03, 0.03),
    missing=st.floats(0, 0.25),
    seed=st.integers(0, 1000),
)
def test_geometry_alone(roll, pitch, yaw, k1, missing, seed):
    """Exact lines with noise of a tenth of a pixel and a quarter of them missing."""
    camera = Camera(focal_px=1517.0, roll=roll, pitch=pitch, yaw=yaw, k1=k1)
    truth = COLUMN.comb(camera, noise_px=0.1, seed=seed, missing=missing)
    combs = find_combs(truth.lines)
    assert combs
    comb = combs[0]
    assert len(comb.index) >= 0.85 * len(truth.index)
    assert len(set(offsets(comb, COLUMN, camera))) == 1


@pytest.mark.parametrize("seed", range(6))
def test_lines_at_random_are_no_scale(seed):
    random = np.random.default_rng(seed)
    count = 400
    left = random.uniform(0, 600, count)
    lines = Segments(
        x=left + 10,
        y=random.uniform(0, 800, count),
        slope=random.normal(0, 0.05, count),
        left=left,
        right=left + 20,
        strength=random.uniform(2, 60, count),
    )
    assert find_combs(lines) == ()


def test_too_few_lines_are_no_scale():
    short = Column(first=0, last=MIN_GRADUATIONS - 2)
    assert find_combs(short.comb(CAMERA).lines) == ()
    nothing = COLUMN.comb(CAMERA).lines.take(np.zeros(len(COLUMN.numbers), bool))
    assert find_combs(nothing) == ()


def test_long_lines_are_found_by_their_free_ends_where_short_ones_merge():
    """A stick: all lines begin at its edge, where most of the short ones are lost."""
    rng = np.random.default_rng(3)
    number = np.arange(401)
    long = number % 5 == 0
    kept = long | (rng.random(401) < 0.4)
    number, long = number[kept], long[kept]
    y = 1900.0 - 3.7 * number + np.where(long, 0.1, 0.6) * rng.normal(size=len(number))
    left = 100.0 + rng.normal(0.0, 0.5, len(number))
    right = 100.0 + np.where(long, 27.0, 12.0 + rng.normal(0.0, 2.0, len(number)))
    lines = Segments(
        x=0.5 * (left + right),
        y=y,
        slope=np.zeros(len(y)),
        left=left,
        right=right,
        # Votes count by what stands out over the faintest.
        strength=np.where(long, 16.0, rng.uniform(2.0, 16.0, len(y))),
    )
    found = [comb for comb in find_combs(lines) if comb.side == "right"]
    assert found[0].pitch_px == pytest.approx(5 * 3.7, rel=0.02)
    assert len(found[0].index) >= 75
