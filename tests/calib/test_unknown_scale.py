"""A scale without a file: columns put together, and how it is stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.scale_map import Frame
from limbsight.calib.unknown_scale import _check_long_lines, _joined, _spec
from limbsight.errors import NotMeasurable
from limbsight.vision.numerals import Numbering
from tests.helpers.boards import Camera, Column

CAMERA = Camera(width=900, height=700, focal_px=1500.0, yaw=3.0, roll=-4.0)
FRAME = Frame(width_px=900, height_px=700, focal_px=1500.0, focal_relative_uncertainty=0.02)


def test_far_columns_are_joined_by_the_map_of_the_near_ones():
    """Their indices were three and two divisions off, which slopes alone did not tell."""
    first, near, far, farther = (
        Column(spine=x).comb(CAMERA, noise_px=0.05, seed=n)
        for n, x in enumerate((-60.0, -45.0, 20.0, 60.0))
    )
    near = replace(near, index_error=0.2, index_offset=0.05)
    far = replace(far, index=far.index + 3, index_error=1.5, index_offset=0.3)
    farther = replace(farther, index=farther.index - 2, index_error=2.0)
    combs, by_index = _joined((first, near, far, farther), FRAME)
    assert len(combs) == 4
    for comb, true in zip(combs, (first, near, far, farther), strict=True):
        assert comb.index[0] == first.index[0], true.index[0]
    _, height = CAMERA.on_plane(farther.lines.x, farther.lines.y)
    value = by_index.value_at(farther.lines.x, farther.lines.y)
    np.testing.assert_allclose(value - value[0], height - height[0], atol=0.05)


def test_a_column_half_way_between_is_left_out():
    first = Column(spine=-20.0).comb(CAMERA, noise_px=0.05)
    moved = Column(spine=20.0).comb(CAMERA, noise_px=0.05, seed=1)
    between = replace(
        moved,
        lines=replace(moved.lines, y=moved.lines.y + 0.5 * CAMERA.px_per_mm),
        index_error=1.0,
    )
    combs, _ = _joined((first, between), FRAME)
    assert len(combs) == 1
    assert combs[0] is first


@pytest.mark.parametrize(
    ("direction", "unsigned", "zero", "stated"),
    [
        (1, False, 0.0, ("upward", 0.0, 60.0)),
        (-1, False, 60.0, ("downward", 0.0, 60.0)),
        # Printed without sign and falling to a nought at the top: counted downward.
        (1, True, 60.0, ("downward", 0.0, 60.0)),
        (1, True, 30.0, ("away-from-zero", -30.0, 30.0)),
        (1, False, 60.0, ("upward", -60.0, 0.0)),
    ],
)
def test_numbers_are_stated_as_an_instrument_file_has_them(direction, unsigned, zero, stated):
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    best = Numbering(
        numbered_every=10,
        division=1.0,
        direction=direction,
        unsigned=unsigned,
        zero_index=zero,
    )
    spec, shift = _spec(comb, best, 0, "mm")
    assert (spec.numbers, spec.lowest, spec.highest) == stated
    assert shift == 0


def test_numbers_a_division_beside_the_long_lines_are_refused():
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    long = comb.index % 10 == 0
    comb = replace(comb, overhang=np.where(long, 20.0, 0.0))
    at = Numbering(
        numbered_every=10, division=1.0, direction=1, unsigned=False, zero_index=0.0
    )
    _check_long_lines((comb,), at)
    for beside in (-1.0, 1.0):
        with pytest.raises(NotMeasurable) as stop:
            _check_long_lines((comb,), replace(at, zero_index=beside))
        assert stop.value.code == "scale_ambiguous"
