"""Long lines that come out again beside what hides the ends of all lines."""

from __future__ import annotations

from dataclasses import fields, replace

import cv2
import numpy as np
import pytest

from limbsight.vision.comb import Comb
from limbsight.vision.long_lines import cut_at_figures, run_under, with_long_lines
from limbsight.vision.segments import Segments

COUNT, PITCH, EVERY = 61, 9.0, 10
MIDDLE, HALF = 200.0, 20.0
LONG_FROM, LONG_TO = 238, 262


def picture(*, figures: bool = False) -> np.ndarray:
    """Lines behind a tube, those of every tenth index beside it; noise of two grey levels."""
    rng = np.random.default_rng(4)
    grey = np.full((600, 400), 215, np.uint8)
    for k, y in enumerate(rows()):
        if k % EVERY == 3 and not figures:
            grey[round(y), LONG_FROM:LONG_TO] -= 60
        if k % EVERY == 3 and figures:
            place = (LONG_FROM - 10, round(y) + 9)
            cv2.putText(grey, "08", place, cv2.FONT_HERSHEY_SIMPLEX, 0.8, 150.0, 2)
    return np.clip(grey + rng.normal(0, 2.0, grey.shape), 0, 255).astype(np.uint8)


def rows() -> np.ndarray:
    return 570.0 - PITCH * np.arange(COUNT)


def column() -> Comb:
    ones = np.ones(COUNT)
    lines = Segments(
        x=MIDDLE * ones,
        y=rows(),
        slope=0.0 * ones,
        left=(MIDDLE - HALF) * ones,
        right=(MIDDLE + HALF) * ones,
        strength=50.0 * ones,
    )
    return Comb(side="left", index=np.arange(COUNT), lines=lines, residual_px=0.05)


def drawn(**how: bool) -> np.ndarray:
    grey = picture(**how)
    for y in rows():
        grey[round(y), int(MIDDLE - HALF) : int(MIDDLE + HALF)] = 120
    return grey


@pytest.mark.parametrize("factor", [1.0, 2.0])
def test_they_are_found_beside_the_tube(factor):
    comb = column()
    lines = comb.lines
    large = replace(
        lines,
        x=(lines.x + 0.5) * factor - 0.5,
        y=(lines.y + 0.5) * factor - 0.5,
        left=(lines.left + 0.5) * factor - 0.5,
        right=(lines.right + 0.5) * factor - 0.5,
    )
    (found,) = with_long_lines(drawn(), factor, (replace(comb, lines=large),), EVERY, ())
    assert found.overhang is not None
    longest = np.sort(np.argsort(found.overhang)[-6:])
    assert (longest % EVERY == 3).all()


def test_they_are_found_where_the_column_lacks_them():
    whole = column()
    short = whole.index % EVERY != 3
    lines = {field.name: getattr(whole.lines, field.name)[short] for field in fields(Segments)}
    comb = replace(whole, index=whole.index[short], lines=Segments(**lines))
    (found,) = with_long_lines(drawn(), 1.0, (comb,), EVERY, ())
    assert found.overhang is not None
    longest = np.argsort(found.overhang)[-6:]
    assert (found.index[longest] % EVERY == 3).all()


def test_figures_are_no_lines():
    comb = column()
    numbered = [y for k, y in enumerate(rows()) if k % EVERY == 3]
    corners = np.array([(0, -10), (36, -10), (36, 10), (0, 10)], float)
    boxes = [corners + np.array([LONG_FROM - 10, y]) for y in numbered]
    (found,) = with_long_lines(drawn(figures=True), 1.0, (comb,), EVERY, boxes)
    assert found is comb


def test_what_tells_more_is_kept():
    overhang = np.where(np.arange(COUNT) % EVERY == 3, 200.0, 0.0)
    comb = replace(column(), overhang=overhang + np.arange(COUNT) % 2)
    (found,) = with_long_lines(drawn(), 1.0, (comb,), EVERY, ())
    assert found is comb


@pytest.mark.parametrize(("moved", "under"), [(0, True), (-1, False), (3, False)])
def test_lines_run_on_under_figures_that_stand_on_them(moved, under):
    grey = drawn()
    at = np.arange(3, COUNT, EVERY)
    boxes = [
        np.array(
            [[LONG_FROM, y - 20], [LONG_TO, y - 20], [LONG_TO, y - 2], [LONG_FROM, y - 2]]
        )
        for y in rows()[at]
    ]
    assert run_under(grey, 1.0, column(), at + moved, boxes) is under
    assert not run_under(grey, 1.0, column(), at + 10 * COUNT, boxes)


@pytest.mark.parametrize(("first", "last"), [(225.0, 260.0), (140.0, 175.0)])
def test_lines_are_cut_off_where_figures_begin(first, last):
    """Those that strokes of figures lengthen by 15 px are as long as the others then."""
    comb = column()
    grown = comb.index % EVERY == 3
    reach = np.where(grown, 15.0, 0.0)
    lines = (
        replace(comb.lines, right=comb.lines.right + reach)
        if first > MIDDLE
        else replace(comb.lines, left=comb.lines.left - reach)
    )
    boxes = [
        np.array([[first, y - 5], [last, y - 5], [last, y + 5], [first, y + 5]])
        for y in comb.lines.y[grown]
    ]
    touched = replace(comb, lines=lines, overhang=reach)
    (cut,) = cut_at_figures((touched,), 0.5, [2.0 * box for box in boxes])
    assert np.ptp(touched.lines.length) == 15.0
    assert np.ptp(cut.lines.length) < 0.5
    (clear,) = cut_at_figures((touched,), 1.0, [])
    assert np.array_equal(clear.lines.length, touched.lines.length)
    assert clear.overhang is touched.overhang


def test_figures_beyond_the_places_of_the_overhang_leave_it():
    """It is looked for on the right, up to half a line's length beyond the short ones."""
    comb = replace(column(), overhang=np.zeros(COUNT))
    for first, kept in ((250.0, True), (228.0, False)):
        box = np.array([[first, 90.0], [first + 30, 90.0], [first + 30, 98.0], [first, 98.0]])
        (cut,) = cut_at_figures((comb,), 1.0, [box])
        assert (cut.overhang is not None) is kept
