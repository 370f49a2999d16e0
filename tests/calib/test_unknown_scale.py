"""A scale without a file: columns put together, and how it is stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib import numbering
from limbsight.calib.camera import Frame
from limbsight.calib.unknown_scale import _spec, _step_to_own_lines
from limbsight.errors import NotMeasurable
from limbsight.vision.numerals import Numbering, NumeralVerdict
from tests.helpers.boards import Camera, Column
from tests.helpers.figures import figures_every_tenth

CAMERA = Camera(width=900, height=700, focal_px=1500.0, yaw=3.0, roll=-4.0)
BLANK = np.zeros((9, 9), np.uint8)
FRAME = Frame(width_px=900, height_px=700, focal_px=1500.0, focal_relative_uncertainty=0.02)


@pytest.mark.parametrize(
    ("direction", "unsigned", "zero", "stated", "shift"),
    [
        (1, False, 0.0, ("upward", 0.0, 60.0), 0),
        (-1, False, 60.0, ("downward", 0.0, 60.0), 0),
        # A border of the board beyond the zero is no graduation.
        (-1, False, 59.0, ("downward", 0.0, 60.0), 1),
        (1, False, 1.0, ("upward", 0.0, 60.0), -1),
        (1, True, 30.0, ("away-from-zero", -30.0, 30.0), 0),
        (1, False, 60.0, ("upward", -60.0, 0.0), 0),
    ],
)
def test_numbers_are_stated_as_an_instrument_file_has_them(
    direction, unsigned, zero, stated, shift
):
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    best = Numbering(
        numbered_every=10,
        division=1.0,
        direction=direction,
        unsigned=unsigned,
        zero_index=zero,
    )
    spec, from_bottom = _spec(comb, best, 0, "mm")
    assert (spec.numbers, spec.lowest, spec.highest) == stated
    assert from_bottom == shift


def read_at(zero_index, above_px=0.0):
    """Numbers 20 px high that were taken to stand beside the lines from there on."""
    best = Numbering(
        numbered_every=10, division=1.0, direction=1, unsigned=False, zero_index=zero_index
    )
    return NumeralVerdict(
        best=best,
        margin=30.0,
        shift_margin=8.0,
        scores=np.zeros(0),
        evidence_per_label=6.0,
        labels=(),
        column=figures_every_tenth(above_px),
        stance="upright",
        sign_certain=True,
        conflict=False,
        above_px=above_px,
        pitch_px=5.0,
    )


def long_every_tenth():
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    return replace(comb, overhang=np.where(comb.index % 10 == 0, 20.0, 0.0))


def step_at(combs, zero_index):
    found = read_at(zero_index)
    return _step_to_own_lines(BLANK, 1.0, combs, found, found.best, place_told=True)


def test_numbers_a_division_beside_the_long_lines_are_refused():
    combs = (long_every_tenth(),)
    assert step_at(combs, 0.0) == 0
    for beside in (-1.0, 1.0):
        with pytest.raises(NotMeasurable) as stop:
            step_at(combs, beside)
        assert stop.value.code == "scale_ambiguous"


@pytest.mark.parametrize("under", [True, False])
def test_numbers_that_stand_on_their_lines_belong_to_those(monkeypatch, under):
    """Lines that the lowest strokes may touch have to run on under the figures."""
    monkeypatch.setattr(numbering, "run_under", lambda *look: under)
    combs = (long_every_tenth(),)
    assert step_at(combs, 3.0) == -3
    if under:
        assert step_at(combs, 2.0) == -2
        return
    with pytest.raises(NotMeasurable) as stop:
        step_at(combs, 2.0)
    assert stop.value.code == "scale_ambiguous"


@pytest.mark.parametrize(("above_px", "told"), [(0.0, True), (1.0, True), (-2.5, False)])
def test_among_lines_all_alike_figures_name_one_only_if_they_stand_right_beside_it(
    above_px, told
):
    """They would as well stand on another line, or hang from it, two to three divisions on."""
    alike = Column(first=0, last=60, lengths=(4.0, 4.0, 4.0)).comb(CAMERA, start=0)
    found = read_at(0.0, above_px)

    def step_among(comb):
        return _step_to_own_lines(BLANK, 1.0, (comb,), found, found.best, place_told=True)

    assert step_among(long_every_tenth()) == 0
    if told:
        assert step_among(alike) == 0
        return
    with pytest.raises(NotMeasurable) as stop:
        step_among(alike)
    assert stop.value.code == "scale_ambiguous"


def test_figures_stand_on_lines_that_are_missed_one_and_all(monkeypatch):
    """Thick lines that are not seen for lines; the longest that are left are half-way."""
    monkeypatch.setattr(numbering, "run_under", lambda *look: True)
    comb = Column(first=0, last=120).comb(CAMERA, start=0)
    seen = comb.index % 10 != 0
    thin = replace(comb, index=comb.index[seen], lines=comb.lines.take(seen))
    assert step_at((thin,), 3.0) == -3


def test_of_two_lines_that_figures_are_between_the_longer_one_is_theirs(monkeypatch):
    """Every second line is long; one of the two beside the figures is, and none farther out
    may be named."""
    monkeypatch.setattr(numbering, "run_under", lambda *look: True)
    comb = Column(first=0, last=60).comb(CAMERA, start=0)
    comb = replace(comb, overhang=np.where(comb.index % 2 == 0, 20.0, 0.0))
    for zero_index, above_px, step in ((-1.0, 8.5, 1), (1.0, -8.5, -1)):
        found = replace(read_at(zero_index, above_px), pitch_px=17.0)
        told = _step_to_own_lines(BLANK, 1.0, (comb,), found, found.best, place_told=False)
        assert told == step


def test_figures_beside_short_lines_name_none():
    """A third of the lines are long, too few of them to tell which is numbered: not the short
    one that the figures seem to stand beside."""
    comb = Column(first=0, last=30).comb(CAMERA, start=0)
    comb = replace(comb, overhang=np.where(comb.index % 10 // 3 == 1, 20.0, 0.0))

    def step_at_place(zero_index):
        found = replace(read_at(zero_index), pitch_px=25.0)
        return _step_to_own_lines(BLANK, 1.0, (comb,), found, found.best, place_told=True)

    assert step_at_place(4.0) == 0
    with pytest.raises(NotMeasurable) as stop:
        step_at_place(1.0)
    assert stop.value.code == "scale_ambiguous"


def test_columns_that_miss_the_same_lines_say_so_together(monkeypatch):
    """Each alone is too short to tell."""
    monkeypatch.setattr(numbering, "run_under", lambda *look: True)
    comb = Column(first=0, last=35).comb(CAMERA, start=0)
    seen = comb.index % 10 != 0
    thin = replace(comb, index=comb.index[seen], lines=comb.lines.take(seen))
    assert step_at((thin, thin, thin), 3.0) == -3
