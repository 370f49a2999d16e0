"""A scale read as if there were no file, in the divisions of the file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.camera import Frame
from limbsight.calib.indexing import heights_of, value_of_height
from limbsight.calib.numbering import NamedScale
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.calib.unknown_scale import ScaleFromPicture
from limbsight.errors import NotMeasurable
from limbsight.scale_of_file import in_divisions_of
from tests.helpers.boards import Camera, Column
from tests.helpers.scales import millimetres

CAMERA = Camera(focal_px=1517.0)
FRAME = Frame.of_picture(1500, 2000, None, whole=True)
START = 7
FINE = Column(first=0, last=120).comb(CAMERA)
SEEN = replace(FINE, index=START + np.arange(13), lines=FINE.lines.take(np.arange(0, 121, 10)))
"""Every tenth line of a scale, thirteen of them."""


def read_as(lowest: float, highest: float, numbers, *, unit=None) -> ScaleFromPicture:
    """What was read from the picture: lines at every tenth unit."""
    spec = replace(millimetres(lowest, highest, numbers), division=10.0)
    heights = heights_of(SEEN.index, -START, spec)
    return ScaleFromPicture(
        named=NamedScale(
            combs=(SEEN,),
            shifts=(-START,),
            map=fit_scale_map((SEEN,), (heights,), FRAME),
            numbers_read=True,
        ),
        spec=spec,
        unit_printed=unit,
        figure_height=None,
    )


@pytest.mark.parametrize(
    ("own", "file", "lowest_value"),
    [
        # A part of a long scale, and graph paper that begins below its zero.
        ((40.0, 160.0, "upward"), (0.0, 500.0, "upward"), 40.0),
        ((-10.0, 110.0, "away-from-zero"), (0.0, 120.0, "upward"), -10.0),
        ((0.0, 120.0, "downward"), (0.0, 150.0, "downward"), 120.0),
    ],
)
def test_the_numbers_of_the_file_are_in_its_divisions(own, file, lowest_value):
    spec = millimetres(*file)
    named = in_divisions_of(read_as(*own), spec)
    (comb,), (shift,) = named.combs, named.shifts
    heights = heights_of(comb.index, shift, spec)
    assert value_of_height(float(heights[0]), spec) == pytest.approx(lowest_value)
    assert np.diff(heights) == pytest.approx(10.0)
    at = named.map.value_at(comb.lines.x, comb.lines.y)
    np.testing.assert_allclose(at, heights, atol=0.2)
    assert named.apart == 10


@pytest.mark.parametrize(
    ("own", "unit", "file"),
    [
        # Other ends, numbers the other way, another unit, divisions of no whole parts.
        ((400.0, 520.0, "upward"), None, millimetres(0.0, 300.0)),
        ((0.0, 120.0, "downward"), None, millimetres(0.0, 120.0)),
        ((0.0, 120.0, "upward"), "cm", millimetres(0.0, 120.0)),
        ((0.0, 120.0, "upward"), None, replace(millimetres(0.0, 120.0), division=4.0)),
        ((0.0, 120.0, "upward"), None, replace(millimetres(0.0, 120.0), division=20.0)),
    ],
)
def test_another_scale_than_the_file_states(own, unit, file):
    with pytest.raises(NotMeasurable) as stop:
        in_divisions_of(read_as(*own, unit=unit), file)
    assert stop.value.code == "scale_differs_from_file"
