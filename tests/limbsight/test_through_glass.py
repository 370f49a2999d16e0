"""Lines seen through tubes, and those beside them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from limbsight.find_scale import View
from limbsight.through_glass import (
    ENDS_SHARE,
    places_on,
    rests_on_glass,
    with_tubes_covered,
)
from limbsight.vision.working import find_scales, full_size
from tests.helpers.boards import Camera, Column, Tube, behind_tubes, photograph, print_of
from tests.helpers.scales import millimetres

CAMERA = Camera(width=620, height=880, focal_px=2600.0, pitch=3.0, roll=2.0)
TUBES = (Tube(centre=-18.0, level=10.0), Tube(centre=18.0, level=-25.0))
KNOWN: Any = SimpleNamespace(
    tube=SimpleNamespace(outer_radius_m=5e-3, axis_to_scale_m=0.0),
    unit_m=1e-3,
    instrument=SimpleNamespace(scale=millimetres(-40.0, 40.0)),
)
BOARD = SimpleNamespace(
    to_pixel=lambda across, height, in_front: CAMERA.project(across, height, in_front),
    from_pixel=lambda x, y, in_front: CAMERA.on_plane(x, y, in_front),
)


def scale_of(view: View) -> Any:
    """The largest columns found, on the map that is true."""
    [combs, *_] = find_scales(view.upright)
    return SimpleNamespace(combs=combs, map=SimpleNamespace(plane=lambda: BOARD))


def limb_at(across: float) -> Any:
    x, y = CAMERA.project(np.full((9, 1), across), np.linspace(-40.0, 40.0, 9)[:, None])
    grid = SimpleNamespace(across_at=lambda _: across, x_px=x, y_px=y)
    return SimpleNamespace(axis_column=0.0, grid=grid)


def worst_mm(scale: Any) -> float:
    """Largest distance of a line from where its index would have it."""
    off = []
    for comb in scale.combs:
        _, height = CAMERA.on_plane(comb.lines.x, comb.lines.y)
        off.append(height - comb.index)
    every = np.concatenate(off)
    return float(np.abs(every - np.round(np.median(every))).max())


def test_lines_beside_tubes_are_found_where_those_are_covered():
    """Lines 3 mm longer than the tubes are wide show most of themselves through the glass,
    shifted by up to two divisions."""
    columns = [Column(spine=tube.centre - 6.5, lengths=(13.0, 14.0, 15.0)) for tube in TUBES]
    picture = photograph(CAMERA, behind_tubes(print_of(*columns), *TUBES))
    whole = full_size(picture)
    rest: Any = {"picture": None, "turn": SimpleNamespace(from_picture=lambda x, y: (x, y))}
    view = View(reduced=whole, upright=whole, **rest)
    limbs = [limb_at(tube.centre) for tube in TUBES]
    scale = scale_of(view)
    assert rests_on_glass(limbs, scale, KNOWN)
    assert worst_mm(scale) > 0.1

    covered = with_tubes_covered(view, limbs, scale, KNOWN)
    assert covered.reduced is view.reduced
    beside = scale_of(covered)
    assert not rests_on_glass(limbs, beside, KNOWN)
    assert len(beside.combs) == 4
    assert min(len(comb.index) for comb in beside.combs) > 70
    assert worst_mm(beside) < 0.05
    assert places_on(view, limbs, beside, KNOWN) == pytest.approx([-18.0, 18.0], abs=0.01)


@pytest.mark.parametrize(
    ("lines", "through"),
    [
        ([(16.0, 24.0)], True),
        ([(16.0, 24.0), (56.0, 64.2)], True),
        ([(26.0, 32.0)], False),
        ([(16.0, 24.0), (36.0, 44.0)], True),
        ([(12.0, 28.0)], True),
        ([(12.0, 28.0), (30.0, 36.0)], True),
        ([(23.0, 64.5)], True),
        ([(26.0, 32.0), (48.0, 54.0)], False),
    ],
)
def test_scales_that_rest_on_what_is_seen_through_tubes(lines, through):
    assert rests_on_glass(*columns_and_tubes(lines)) == through


@pytest.mark.parametrize(
    ("lines", "through"),
    [
        ([(23.0, 33.0), (47.0, 57.0)], False),
        ([(21.0, 27.0), (53.0, 59.0)], True),
        ([(16.0, 24.0), (36.0, 44.0)], True),
    ],
)
def test_ends_of_lines_before_tubes_are_told_from_halves(lines, through):
    case = columns_and_tubes(lines)
    assert rests_on_glass(*case)
    assert rests_on_glass(*case, ENDS_SHARE) == through


def columns_and_tubes(lines: list[tuple[float, float]]) -> tuple[Any, Any, Any]:
    """Limbs, scale and what is known: tubes of 8 mm at 20 and at 60 mm; columns of lines from
    left to right ends [mm]."""
    combs = []
    for left, right in lines:
        column = SimpleNamespace(
            lines=SimpleNamespace(
                left=np.full(20, left),
                right=np.full(20, right),
                length=np.full(20, right - left),
                y_at=np.zeros_like,
            ),
            found_px=0.1,
            parts=(),
        )
        column.straight = (column,)
        combs.append(column)
    plane = SimpleNamespace(from_pixel=lambda x, y, in_front: (x, y))
    scale: Any = SimpleNamespace(combs=combs, map=SimpleNamespace(plane=lambda: plane))
    limbs: Any = [
        SimpleNamespace(axis_column=0, grid=SimpleNamespace(across_at=lambda _, at=at: at))
        for at in (20.0, 60.0)
    ]
    tube = SimpleNamespace(outer_radius_m=4e-3, axis_to_scale_m=0.0)
    known: Any = SimpleNamespace(tube=tube, unit_m=1e-3)
    return limbs, scale, known
