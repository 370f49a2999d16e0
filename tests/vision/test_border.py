"""A border around what a picture shows, as about a screen or a print."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.border import has_border

SIZE = 900, 1200
TABLE = 110


def shown(width: int, height: int, seed: int = 1) -> np.ndarray:
    """A board with lines on a mottled wall."""
    rng = np.random.default_rng(seed)
    rough = rng.normal(0.0, 1.0, (height // 40, width // 40)).astype(np.float32)
    wall = 105 + 12 * cv2.resize(rough, (width, height), interpolation=cv2.INTER_CUBIC)
    wall[height // 8 : -height // 8, width // 4 : -width // 4] = 215
    wall[height // 6 : -height // 6 : 9, width // 3 : width // 2] = 50
    return np.asarray(wall, np.float32)


def picture(border_px: tuple[int, int], light: float, *, askew: float = 0.0) -> np.ndarray:
    """What is shown, in a border as wide at its sides and above as told, on a table."""
    width, height = SIZE
    across, above = border_px
    inner = shown(width - 200 - 2 * across, height - 200 - 2 * above)
    framed = cv2.copyMakeBorder(
        inner, above, above, across, across, cv2.BORDER_CONSTANT, value=light
    )
    whole = cv2.copyMakeBorder(framed, *(100,) * 4, cv2.BORDER_CONSTANT, value=TABLE)
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    moved = corners + askew * np.array([[9, 22], [-24, 5], [-8, -20], [15, -6]], np.float32)
    whole = cv2.warpPerspective(
        whole,
        cv2.getPerspectiveTransform(corners, moved),
        SIZE,
        borderMode=cv2.BORDER_REPLICATE,
    )
    noise = np.random.default_rng(2).normal(0.0, 3.0, (*whole.shape, 3))
    return np.asarray(np.clip(whole[..., None] + noise, 0, 255), np.uint8)


@pytest.mark.parametrize("light", [15.0, 250.0])
@pytest.mark.parametrize("askew", [0.0, 1.0, -1.0])
def test_a_screen_and_a_print_have_one(light, askew):
    assert has_border(picture((24, 24), light, askew=askew))


def test_large_and_small_pictures():
    large = cv2.resize(picture((24, 24), 15.0), None, fx=3.0, fy=3.0)
    assert has_border(np.asarray(large, np.uint8))
    small = cv2.resize(picture((24, 24), 15.0), None, fx=0.5, fy=0.5)
    assert has_border(np.asarray(small, np.uint8))


def test_a_plain_photo_has_none():
    plain = np.repeat(shown(*SIZE)[..., None], 3, axis=2)
    assert not has_border(np.asarray(np.clip(plain, 0, 255), np.uint8))


def test_a_board_on_a_wall_ends_in_one_edge():
    assert not has_border(picture((0, 0), 15.0))


def test_a_beam_of_another_width_is_no_border():
    assert not has_border(picture((12, 80), 15.0))


def test_two_sides_are_not_enough():
    seen = picture((24, 24), 15.0)
    assert not has_border(np.ascontiguousarray(seen[:, 150:-150]))
