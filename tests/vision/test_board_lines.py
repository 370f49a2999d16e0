"""Lines over a whole board behind tubes, drawn with their truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.board_lines import board_width, find_board
from limbsight.vision.board_map import BoardMap
from limbsight.vision.comb import Comb
from limbsight.vision.segments import find_ridges, segments_of
from limbsight.vision.working import find_scales, full_size
from tests.helpers.boards import Camera, Column, Tube, behind_tubes, photograph, print_of

CAMERA = Camera(width=620, height=880, focal_px=1510.0)
LINES = Column(spine=-35.0, first=-60, last=60, lengths=(70.0, 70.0, 70.0), thickness=0.3)
BOLD = Column(
    spine=-35.0, first=-6, last=6, division=10.0, lengths=(70.0, 70.0, 70.0), thickness=0.6
)
TUBES = (Tube(centre=-18.0, level=10.0), Tube(centre=18.0, level=-25.0))


def board_in(picture: np.ndarray, *, dark: bool = True) -> Comb | None:
    grey = np.ascontiguousarray(picture[:, :, 1])
    ridges = find_ridges(grey, dark=dark)
    return find_board(grey, ridges, segments_of(ridges))


def deviations(board: Comb, camera: Camera) -> np.ndarray:
    """Height on the board of every line of every part, less its index [divisions]."""
    off = []
    for part in board.parts:
        _, height = camera.on_plane(part.lines.x, part.lines.y)
        off.append(height - part.index)
    every = np.concatenate(off)
    return every - np.round(np.median(every))


@pytest.mark.parametrize(
    "pose",
    [
        {},
        {"roll": 12.0},
        {"roll": -15.0, "pitch": 4.0},
        {"yaw": 4.0, "pitch": -4.0, "roll": 4.0, "k1": 0.02},
        {"k1": -0.03, "yaw": 3.0},
    ],
)
def test_every_line_is_found_with_its_place(pose):
    camera = replace(CAMERA, **pose)
    picture = photograph(camera, behind_tubes(print_of(LINES, BOLD), *TUBES))
    board = board_in(picture)
    assert board is not None
    assert board.index.tolist() == list(range(board.index[0], board.index[0] + 121))
    off = deviations(board, camera)
    # What is seen through a tube stands off by up to 3 divisions here.
    assert len(off) > 3 * 110
    assert np.abs(off).max() < 0.1
    assert abs(off.mean()) < 0.01
    for part in board.parts:
        x, _ = camera.on_plane(part.lines.x, part.lines.y)
        assert not any(tube.inside(x).any() for tube in TUBES)


def test_many_tubes_leave_little_of_the_board():
    """Two thirds of every line are seen through glass, and the rest decides."""
    tubes = tuple(
        Tube(centre=x, radius=5.0, level=level, opposite=10.0, shifts=(-0.004, 0.012))
        for x, level in zip((-30, -15, 0, 15, 30), (20, -10, 5, 30, -20), strict=True)
    )
    picture = photograph(CAMERA, behind_tubes(print_of(LINES, BOLD), *tubes))
    board = board_in(picture)
    assert board is not None
    assert len(board.index) == 121
    assert np.abs(deviations(board, CAMERA)).max() < 0.15


def test_numbered_lines_stand_out_by_thickness_or_reach():
    longer = replace(LINES, lengths=(70.0, 70.0, 74.0))
    for column, extra in ((LINES, (BOLD,)), (longer, ())):
        picture = photograph(CAMERA, behind_tubes(print_of(column, *extra), *TUBES))
        board = board_in(picture)
        assert board is not None
        assert board.overhang is not None
        numbered = (board.index - board.index[0]) % 10 == 0
        # The end lines have no neighbours on one side.
        inner = slice(1, -1)
        assert board.overhang[inner][numbered[inner]].min() > 2.5
        assert np.quantile(board.overhang[~numbered], 0.95) < 2.5


def test_columns_beside_tubes_are_no_board():
    columns = (Column(spine=-12.0), Column(spine=12.0, side="right"))
    assert board_in(photograph(CAMERA, print_of(*columns))) is None


def test_noise_and_few_lines_are_no_board():
    noise = np.random.default_rng(5).normal(128, 8, (500, 400, 3))
    assert board_in(np.clip(noise, 0, 255).astype(np.uint8)) is None
    few = replace(LINES, first=-3, last=3)
    assert board_in(photograph(CAMERA, print_of(few))) is None
    assert board_in(np.full((90, 120, 3), 128, np.uint8)) is None


@pytest.mark.parametrize(("ink", "paper"), [(0.03, 0.7), (0.6, 0.08)])
def test_print_not_the_gaps_is_taken(ink, paper):
    """Half a division lies between the lines and their gaps."""
    even = replace(LINES, thickness=0.45)
    picture = photograph(
        CAMERA, behind_tubes(print_of(even, BOLD, ink=ink, board=paper), *TUBES)
    )
    ((board,), *_) = find_scales(full_size(picture))
    assert board.parts
    assert board_width(board) > 25
    assert len(board.index) == 121
    assert np.abs(deviations(board, CAMERA)).max() < 0.15


@pytest.mark.parametrize("pose", [{"pitch": 6.0}, {"yaw": 5.0, "pitch": -6.0, "roll": 9.0}])
def test_uprights_of_the_board_are_columns(pose):
    camera = replace(CAMERA, **pose)
    x, y = (
        part.ravel() for part in np.meshgrid([-30.0, -10.0, 0.0, 30.0], np.arange(-60, 61))
    )
    across_px, down_px = (np.asarray(p, np.float64) for p in camera.project(x, y))
    start = BoardMap(
        parameters=np.array([0.0, -90.0, 0.0, 0.0, 0.0, 0.0]),
        size_px=(camera.width, camera.height),
    )
    board = start.fitted(across_px, down_px, y.astype(np.float64), 1e3, rounds=20)
    np.testing.assert_allclose(board.index_at(across_px, down_px), y, atol=0.02)
    across = board.across(across_px, down_px, focal=camera.focal_px / board.half_diagonal_px)
    for place in np.unique(x):
        assert np.ptp(across[x == place]) < 0.5
    # Pixels as in the middle: 5 px a millimetre there.
    wide = across[x == 30.0].mean() - across[x == -30.0].mean()
    assert wide == pytest.approx(60 * camera.px_per_mm, rel=0.05)


def test_two_boards_beside_each_other_are_two_groups():
    picture = photograph(CAMERA, behind_tubes(print_of(LINES, BOLD), *TUBES))
    wall = np.full((len(picture), 60, 3), 90, np.uint8)
    groups = find_scales(full_size(np.hstack([picture, wall, picture])))
    assert [len(group) for group in groups] == [1, 1]
    one, other = sorted(float(np.median(group[0].lines.x)) for group in groups)
    assert other - one == pytest.approx(CAMERA.width + 60, abs=12.0)


def grain(seed: int) -> np.ndarray:
    """Bent stripes in noise, as of wood."""
    rng = np.random.default_rng(seed)
    height, width = int(rng.integers(60, 260)), int(rng.integers(60, 260))
    pitch, bend = rng.uniform(3, 14), rng.uniform(0, 0.3)
    y, x = np.mgrid[:height, :width].astype(float)
    wander = bend * np.cumsum(rng.normal(0, 0.1, width))
    phase = y / pitch + wander + rng.uniform(0, 0.2) * x / pitch
    grey = 128 + rng.uniform(20, 100) * np.minimum(np.cos(2 * np.pi * phase), 0.3)
    noisy = grey + rng.normal(0, rng.uniform(1, 25), grey.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


@pytest.mark.parametrize("seed", [29891, 98193])
def test_what_is_found_has_a_pitch(seed):
    """Of 100 000 such pictures these left a board, or a part of one, with a line or none."""
    board = board_in(np.repeat(grain(seed)[:, :, None], 3, axis=2))
    for comb in () if board is None else (board, *board.parts):
        assert comb.pitch_px > 0
