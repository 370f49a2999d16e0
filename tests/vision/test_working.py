"""The smaller copy: coordinates kept, and print told from the gaps between print."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from limbsight.vision import working
from limbsight.vision.working import (
    are_every_other,
    find_scales,
    long_between,
    working_image,
)
from tests.helpers.boards import Camera, Column, photograph, print_of


def spots(width: int, height: int, places: list[tuple[float, float]]) -> np.ndarray:
    """Soft spots on black whose centres are known between pixels."""
    picture = np.zeros((height, width, 3), np.uint8)
    for x, y in places:
        left, top = int(x) - 30, int(y) - 30
        rows, columns = np.mgrid[top : top + 61, left : left + 61]
        spot = 250 * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * 6.0**2))
        picture[top : top + 61, left : left + 61] = np.round(spot)[:, :, None]
    return picture


def centre(picture: np.ndarray, x: float, y: float, reach: int) -> tuple[float, float]:
    left, top = max(round(x) - reach, 0), max(round(y) - reach, 0)
    part = picture[top : top + 2 * reach + 1, left : left + 2 * reach + 1, 1].astype(float)
    moments = cv2.moments(part)
    return left + moments["m10"] / moments["m00"], top + moments["m01"] / moments["m00"]


def test_a_small_picture_stays_as_it_is():
    picture = np.zeros((1200, 1600, 3), np.uint8)
    same = working_image(picture)
    assert same.factor == 1.0
    assert same.bgr is picture
    assert same.full_size_px == (1600, 1200)


@pytest.mark.parametrize(
    "size", [(2400, 3200), (3024, 4032), (3001, 4003), (2901, 2903), (4031, 2269)]
)
def test_coordinates_are_kept(size):
    width, height = size
    places = [
        (45.3, 50.8),
        (width - 60.4, 70.2),
        (width / 2 + 0.3, height / 2 - 0.4),
        (52.7, height - 48.6),
        (width - 47.1, height - 55.5),
    ]
    working = working_image(spots(width, height, places))
    assert working.factor > 1.2
    assert working.full_size_px == size
    for x, y in places:
        small_x, small_y = ((v + 0.5) / working.factor - 0.5 for v in (x, y))
        seen = centre(working.bgr, small_x, small_y, int(20 / working.factor))
        assert seen == pytest.approx((small_x, small_y), abs=0.05)


def shift_of(camera: Camera, column: Column, picture: np.ndarray) -> np.ndarray:
    """Distance of every found line from the nearest drawn one, in divisions."""
    groups = find_scales(working_image(picture))
    assert groups
    comb = groups[0][0]
    assert len(comb.index) > 0.9 * len(column.numbers)
    truth = column.comb(camera).lines
    at = truth.y_at(np.full(len(truth), float(np.median(comb.lines.x))))
    found = comb.lines.y_at(np.full(len(comb.lines), float(np.median(comb.lines.x))))
    return np.asarray(np.abs(found[:, None] - at[None, :]).min(axis=1) / comb.pitch_px)


@pytest.mark.parametrize("thickness", [0.2, 0.45])
@pytest.mark.parametrize(("ink", "board"), [(0.03, 0.7), (0.8, 0.06)])
@pytest.mark.parametrize("lengths", [(3.0, 4.5, 6.0), (4.0, 4.0, 7.0)])
@pytest.mark.parametrize(("focal_px", "options"), [(1517.0, {}), (1400.0, {"blur_px": 1.2})])
def test_print_is_read_and_not_its_gaps(thickness, ink, board, lengths, focal_px, options):
    """Half a division is what a mistaken polarity costs."""
    camera = Camera(focal_px=focal_px, roll=3.0)
    column = Column(thickness=thickness, lengths=lengths)
    picture = photograph(camera, print_of(column, ink=ink, board=board), **options)
    assert np.median(shift_of(camera, column, picture)) < 0.05


def test_a_large_picture_gives_full_coordinates():
    camera = Camera(width=2600, height=3700, focal_px=8200.0, roll=2.0)
    column = Column()
    picture = photograph(camera, print_of(column), blur_px=1.5, supersample=1)
    assert working_image(picture).factor > 1.2
    assert np.median(shift_of(camera, column, picture)) < 0.02


def test_an_empty_picture_has_no_scale():
    assert find_scales(working_image(np.full((300, 300, 3), 90, np.uint8))) == ()


def test_gaps_alone_are_no_scale(monkeypatch):
    """Where dark lines merge or are too thin, only the light gaps between them are found."""
    all_found = working._groups

    def light_ones(grey, *, dark, **options):
        return () if dark else all_found(grey, dark=dark, **options)

    picture = working_image(photograph(Camera(roll=2.0), print_of(Column())))
    assert all_found(picture.searched, dark=False, boards=True, local_noise=False)
    monkeypatch.setattr(working, "_groups", light_ones)
    assert find_scales(picture) == ()


class TestLongBetween:
    """Whether long lines stand between the lines found."""

    def found(self):
        column = Column()
        working = working_image(photograph(Camera(roll=2.0), print_of(column)))
        return working, find_scales(working)[0][0]

    def test_none_where_every_line_was_found(self):
        working, comb = self.found()
        assert long_between(working, (comb,), 10) == 0.0

    def test_figures_beside_short_lines_are_no_long_lines(self):
        """Between two lines their strokes are as dark as a long one would be there."""
        working, comb = self.found()
        bgr, half, figures = working.bgr.copy(), 0.5 * comb.pitch_px, []
        way = 1 if comb.side == "left" else -1
        short = way * float(np.quantile(comb.lines.length, 0.3))
        for x, y in zip(comb.spine_x[::4], comb.lines.y[::4], strict=True):
            near, far = x + 1.1 * short, x + 3 * short
            left, right = ((round(end), round(y + half)) for end in (near, far))
            cv2.line(bgr, left, right, (0, 0, 0), 1)
            figures.append(np.array([[near, y], [far, y], [far, y + 2 * half]]))
        painted = working_image(bgr)
        assert long_between(painted, (comb,), 10) > 0.2
        assert long_between(painted, (comb,), 10, figures) == 0.0

    def test_some_where_every_other_line_was_found(self):
        working, comb = self.found()
        other = comb.index % 2 == 0
        halved = replace(
            comb, index=comb.index[other] // 2, lines=comb.lines.take(np.flatnonzero(other))
        )
        assert are_every_other(working, (halved,))
        assert not are_every_other(working, (comb,))
        # Of ten lines the fifth is long, and one of five pairs of neighbours has it between.
        assert 0.1 < long_between(working, (halved,), 5) < 0.3


def test_a_strip_between_tubes_of_a_bank_is_no_board():
    """Its lines end on both sides alike, as those of a board do; the other strips tell."""
    camera = Camera(width=1600)
    strips = [Column(spine=at, side="right").comb(camera) for at in (-30.0, 0.0, 30.0)]
    assert working._is_one_of_several(strips[1], (tuple(strips),))
    assert not working._is_one_of_several(strips[1], ((strips[1],),))
    few = replace(
        strips[2], index=strips[2].index[:9], lines=strips[2].lines.take(np.arange(9))
    )
    assert not working._is_one_of_several(strips[1], ((strips[1], few),))


@pytest.mark.parametrize("thickness", [0.2, 0.5, 0.6])
@pytest.mark.parametrize("roll", [0.0, 3.0])
def test_numbered_lines_much_thicker_than_the_others_are_found(thickness, roll):
    """Seen from near: divisions of 11 px, every fifth line of 2, 5.5 and 6.6 px; by the edges
    of the thickest the fine ones were no scale, either."""
    camera = Camera(width=420, height=1000, focal_px=3300.0, roll=roll)
    fine = Column(lengths=(4.0, 4.0, 6.0), thickness=0.2)
    bold = Column(first=-8, last=8, division=5.0, lengths=(6.0, 6.0, 6.0), thickness=thickness)
    combs = find_scales(working_image(photograph(camera, print_of(fine, bold))))[0]
    comb = max(combs, key=lambda comb: len(comb.index))
    assert len(comb.index) >= 78
    _, height = camera.on_plane(comb.lines.x, comb.lines.y)
    off = height - comb.index
    assert np.abs(off - np.round(np.median(off))).max() < 0.1
