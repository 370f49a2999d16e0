"""Printed on the board behind the tubes, or on a stick of its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from limbsight.vision.face import ends_with_graduations, goes_on_behind

ROWS, BLOCK = 600, 40
TICKS, AXIS, WIDTH = (60, 80), 120, 28
BOARD = (205, 212, 216)


def board(
    colour=BOARD,
    *,
    edge: int | None = None,
    beyond=BOARD,
    shadow: float = 0.0,
    axes=(AXIS,),
    ticks=(TICKS,),
    columns: int = 240,
    seed: int = 1,
) -> np.ndarray:
    """A face with lines and figures up to an edge, another one beyond, tubes and a shadow."""
    rng = np.random.default_rng(seed)
    light = np.empty((ROWS, columns, 3))
    light[:] = colour
    if edge is not None:
        light[:, edge:] = beyond
    for left, right in ticks:
        light[::8, left:right] = 40
        light[::40, left - 8 : left] = 40
    across = np.arange(columns)
    for axis in axes:
        light *= 1 - shadow * np.exp(-np.square((across - axis + 18) / 12))[:, None]
        inside = abs(across - axis) <= WIDTH / 2
        light[:, inside] *= 0.8
        light[250:, abs(across - axis) < WIDTH / 3] = (40, 40, 170)
        light[:, abs(abs(across - axis) - WIDTH / 2) < 2] *= 0.6
    light[100:112, 90:150] = (30, 60, 60)  # a clip
    light = gaussian_filter1d(light, 0.7, axis=1)
    noisy = light + rng.normal(0.0, 3.0, light.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def goes_on(picture, ticks=(TICKS,), axes=(AXIS,)) -> bool:
    return goes_on_behind(picture, BLOCK, ticks, axes, WIDTH)


def test_one_board():
    assert goes_on(board())


def test_the_scale_may_stand_on_either_side():
    ticks = (160, 180)
    assert goes_on(board(ticks=(ticks,)), ticks=(ticks,))


def test_a_soft_shadow_is_no_edge():
    assert goes_on(board(shadow=0.04))


@pytest.mark.parametrize("edge", [82, 90, 98, 106, 120, 134])
def test_a_stick_ends_beside_or_behind_the_tube(edge):
    assert not goes_on(board(edge=edge, beyond=(170, 180, 190)))


def test_a_stick_of_the_boards_colour_shows_its_edge():
    picture = board()
    picture[:, 92:94] = (picture[:, 92:94] * 0.8).astype(np.uint8)
    picture[:, 94:100] = (picture[:, 94:100] * 0.93).astype(np.uint8)
    assert not goes_on(picture)


def test_another_hue_alone_is_another_face():
    assert not goes_on(board(edge=106, beyond=(180, 213, 222)))


def test_between_two_sticks_nothing_is_told():
    ticks = (TICKS, (160, 180))
    assert not goes_on(board(ticks=ticks), ticks=ticks)


def test_of_a_bank_the_outer_tubes_tell():
    axes = (120, 200, 280)
    picture = board(axes=axes, columns=420)
    assert goes_on(picture, ((140, 160),), axes)
    assert not goes_on(picture, (), axes)
    four = (*axes, 360)
    assert not goes_on(board(axes=four, columns=480), ((220, 240),), four)


def test_what_the_picture_does_not_show_is_not_told():
    assert not goes_on(board()[:, :130])
    assert not goes_on(board()[:, 58:], ((2, 22),), (62,))


def test_where_lines_reach_the_tube_its_far_side_tells():
    ticks = (82, 102)
    assert goes_on(board(ticks=(ticks,)), ticks=(ticks,))
    assert not goes_on(board(ticks=(ticks,), edge=110, beyond=(170, 180, 190)), ticks=(ticks,))


GRADUATED = (40, 560)
"""Rows between which the graduations are, a clear row beyond each end."""


def ends(picture, *, shade: float = 1.0, until: int = 240, grain: float = 0.0) -> bool:
    """Whether a face is seen to end that is lighter or darker from row 20 down to column
    ``until``."""
    rng = np.random.default_rng(2)
    seen = picture.astype(float)
    seen[: GRADUATED[0], TICKS[0] - 8 : TICKS[1]] = BOARD
    seen[GRADUATED[1] :, TICKS[0] - 8 : TICKS[1]] = BOARD
    seen[20:, :until] *= shade
    seen *= np.exp(grain * rng.standard_normal((ROWS, 1, 1)))
    seen[24:32, TICKS[0] : TICKS[0] + 12] *= 0.4  # a name over half of the graduations
    seen = np.clip(seen, 0, 255).astype(np.uint8)
    return ends_with_graduations(seen, GRADUATED, (TICKS,), (AXIS,), WIDTH)


@pytest.mark.parametrize("shade", [0.9, 1.1])
def test_a_stick_of_the_boards_colour_ends_above_its_graduations(shade):
    assert ends(board(), shade=shade, until=106)


def test_the_board_itself_ends_beyond_the_tube_as_well():
    assert not ends(board(), shade=0.6)


def test_a_plain_board_ends_nowhere():
    assert not ends(board())


def test_the_grain_of_a_board_is_no_end():
    assert not ends(board(), grain=0.05)


def test_where_the_picture_ends_beside_the_tube_nothing_is_told():
    picture = board()[:, : AXIS + round(0.6 * WIDTH)]
    assert not ends(np.ascontiguousarray(picture), shade=0.9, until=106)
