"""Printed numbers against an instrument file: labels by hand, no picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib import numbering
from limbsight.calib.indexing import Indexing, line_evidence
from limbsight.calib.numbering import (
    RULED_OUT,
    _check_against_numerals,
    _check_agreed,
    _check_not_contradicted,
    _lowest_indices,
    _near_figures,
    are_strokes,
    check_ink,
)
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb
from limbsight.vision.numbering import Numbering
from limbsight.vision.numerals import LabelEvidence, NumeralVerdict
from limbsight.vision.segments import Segments
from tests.helpers.boards import Camera, Column
from tests.helpers.figures import figures_every_tenth
from tests.helpers.scales import millimetres

SCALE = millimetres(0.0, 80.0)


def verdict(read, every=10, evidence=-2.0):
    labels = tuple(
        LabelEvidence(
            index=every * k, expected="", read=text, evidence=evidence, box_px=np.zeros((4, 2))
        )
        for k, text in enumerate(read)
    )
    return NumeralVerdict(
        best=None,
        margin=0.0,
        shift_margin=0.0,
        scores=np.zeros(1),
        evidence_per_label=evidence,
        labels=labels,
        column=None,
        stance="upright",
        sign_certain=True,
        conflict=False,
    )


@pytest.mark.parametrize(
    "read",
    [
        ["200", "210", "220", "230", "240"],  # the file's steps, elsewhere
        ["0", "20", "40", "60", "80"],  # twice the file's division
        ["100", "95", "90", "85", "?", "75", "70"],  # half of it
        ["10", "9", "8", "7", "6", "5"],  # a tenth of it: another unit
    ],
)
def test_even_steps_that_are_not_the_files_refuse_it(read):
    with pytest.raises(NotMeasurable) as stop:
        _check_against_numerals(verdict(read), SCALE)
    assert stop.value.code == "scale_differs_from_file"


@pytest.mark.parametrize(
    "read",
    [
        ["0", "7", "20", "1", "40", "11"],  # misread
        ["0", "20", "40", "60"],  # too few to be no chance
        ["8", "8", "8", "8", "8", "8"],  # no numbers at all
        ["0", "100", "200", "300", "400"],  # points too small to be seen
    ],
)
def test_chance_readings_and_lost_points_do_not(read):
    _check_against_numerals(verdict(read), SCALE)


def test_labels_that_bear_the_file_out_do_not():
    _check_against_numerals(verdict(["0", "20", "40", "60", "80"], evidence=5.0), SCALE)


TENS = Numbering(numbered_every=10, division=1.0, direction=1, unsigned=False, zero_index=0.0)
LABELS = tuple(
    LabelEvidence(
        index=10 * k, expected=f"{k}", read="", evidence=0.0, box_px=np.zeros((4, 2))
    )
    for k in range(4)
)


def placed(shift, margin=30.0):
    return Indexing(shifts=(shift,), margin=margin)


def figures(stance="upright", above_px=0.0):
    """A division is five pixels long."""
    found = verdict(["0", "10"])
    return replace(
        found,
        stance=stance,
        column=figures_every_tenth(above_px),
        above_px=above_px,
        pitch_px=5.0,
    )


@pytest.mark.parametrize(
    ("changes", "kept"),
    [
        ({}, [14, 15, 16, 17, 18, 19, 20]),  # 19 px from their middle and less
        ({"stance": "rising"}, list(range(10, 25))),  # they may begin anywhere
        ({"shift_margin": 1.0}, list(range(10, 25))),  # their own place is in doubt
    ],
)
def test_no_line_is_named_from_farther_off_than_figures_stand(changes, kept):
    """Those half-way may be the longest that are seen."""
    read = [replace(label, read=label.expected, evidence=6.0) for label in LABELS]
    usual = {"best": TENS, "margin": 30.0, "shift_margin": 8.0, "labels": tuple(read)}
    found = replace(figures(), **usual | changes)
    said = _near_figures({shift: -abs(shift - 17.0) for shift in range(10, 25)}, found)
    assert [shift for shift, score in said.items() if score > RULED_OUT] == kept


@pytest.mark.parametrize(("told", "refused"), [(17, False), (22, True)])
def test_lines_alone_do_not_overrule_figures_that_read_well(told, refused):
    read = [replace(label, read=label.expected, evidence=6.0) for label in LABELS]
    found = replace(figures(), labels=tuple(read))
    said = {shift: 30.0 if shift == told else 0.0 for shift in range(12, 24)}
    smeared = replace(found, labels=tuple(replace(label, read="") for label in read))
    _check_not_contradicted(said, placed(17), smeared)
    if not refused:
        _check_not_contradicted(said, placed(17), found)
        return
    with pytest.raises(NotMeasurable) as stop:
        _check_not_contradicted(said, placed(17), found)
    assert stop.value.code == "scale_ambiguous"


def on_lines(found, moved):
    """Without a picture: lines run under figures wherever they may stand on one."""
    return found.may_stand_on(moved)


def test_lines_do_not_overrule_figures():
    """A place that the figures rule out is refused, however sure the lines are of it."""
    said = {16: 107.0, 17: 107.8, 18: 105.4}
    _check_agreed(said, placed(17), figures(), on_lines)
    _check_agreed(said, placed(16), figures(), on_lines)
    for chosen in (22, None):
        with pytest.raises(NotMeasurable) as stop:
            _check_agreed(said | {22: 100.0}, placed(chosen), figures(), on_lines)
        assert stop.value.code == "scale_ambiguous"
    with pytest.raises(NotMeasurable):
        _check_agreed(said, placed(18), figures(), on_lines)


@pytest.mark.parametrize(
    ("chosen", "margin", "stance", "agreed"),
    [
        (20, 30.0, "upright", True),  # three divisions lower: they stand on that line
        (14, 30.0, "upright", True),  # or hang from the one as far above
        (18, 30.0, "upright", False),  # one lower: the line runs through them
        (22, 30.0, "upright", False),  # five lower: away from it
        (20, 10.0, "upright", True),  # sure but for what the figures say
        (20, 5.0, "upright", False),  # lines that are not sure themselves
        (20, 30.0, "turned", False),
    ],
)
def test_figures_may_stand_on_the_line_that_the_lines_tell(chosen, margin, stance, agreed):
    said = {shift: 100.0 for shift in range(12, 24)} | {17: 107.5}
    if agreed:
        _check_agreed(said, placed(chosen, margin), figures(stance), on_lines)
        return
    with pytest.raises(NotMeasurable):
        _check_agreed(said, placed(chosen, margin), figures(stance), on_lines)


@pytest.mark.parametrize("stance", ["rising", "falling"])
def test_lines_say_at_which_of_them_figures_along_the_scale_begin(stance):
    said = {21: 109.4, 22: 105.8, 26: 101.7}
    _check_agreed(said, placed(22), figures(stance), on_lines)
    with pytest.raises(NotMeasurable):
        _check_agreed(said, placed(26), figures(stance), on_lines)


@pytest.mark.parametrize("figures_dark", [True, False, None])
@pytest.mark.parametrize("lines_dark", [True, False])
def test_lines_of_another_ink_than_the_figures_are_gaps(monkeypatch, figures_dark, lines_dark):
    monkeypatch.setattr(numbering, "figures_are_dark", lambda grey, labels: figures_dark)
    lines = replace(Column(first=0, last=19).comb(Camera()), dark=lines_dark)
    picture = np.zeros((9, 9), np.uint8)
    if figures_dark is (not lines_dark):
        with pytest.raises(NotMeasurable) as refused:
            check_ink(picture, verdict(["0", "10"]), (lines,))
        assert refused.value.code == "scale_ambiguous"
    else:
        told = check_ink(picture, verdict(["0", "10"]), (lines,))
        assert told is (figures_dark is not None)


@pytest.mark.parametrize(
    ("reach", "every", "strokes"), [(1.0, 1, True), (-1.0, 1, False), (1.0, 10, False)]
)
def test_strokes_lie_within_the_figures(reach, every, strokes):
    """Lines that the outlines of the figures only touch, or cover half of, begin outside; of
    those that figures stand on most lie between the figures."""
    comb = Column(first=0, last=80).comb(Camera())
    lines = comb.lines
    sides = np.stack([lines.left - reach, lines.right + 20.0], axis=1)
    boxes = [
        np.array([(x, y + up) for x in ends for up in (-4.0, 4.0)])
        for ends, y in zip(sides[::every], lines.y[::every], strict=True)
    ]
    read = verdict(["1"] * len(boxes))
    labels = tuple(
        replace(label, box_px=box) for label, box in zip(read.labels, boxes, strict=True)
    )
    assert are_strokes(replace(read, labels=labels), (comb,), 1.0) is strokes


def test_paper_longer_than_its_numbers_may_begin_anywhere_on_it():
    comb = Column(first=0, last=130).comb(Camera(), start=5)
    assert len(_lowest_indices((comb,), SCALE)) == 0
    paper = replace(comb, parts=(comb,))
    assert set(range(5, 56)) <= set(_lowest_indices((paper,), SCALE))


def test_a_column_with_strays_may_have_them_beyond_either_end():
    """100 lines in a row of a scale of 81: it may begin at any of the first 20."""
    comb = Column(first=0, last=99).comb(Camera(), start=5)
    assert set(range(5, 25)) <= set(_lowest_indices((comb,), SCALE))


def test_long_lines_beside_the_column_settle_what_figures_leave_open():
    """All lines are alike but for ends beside them, figures half-way between two."""
    count, pitch = 81, 6.0
    rows = np.linspace(20.0 + pitch * (count - 1), 20.0, count)
    ones = np.ones(count)
    lines = Segments(
        x=100.0 * ones,
        y=rows,
        slope=0.0 * ones,
        left=90.0 * ones,
        right=110.0 * ones,
        strength=50.0 * ones,
    )
    comb = Comb(side="left", index=np.arange(count) - 40, lines=lines, residual_px=0.05)
    grey = np.full((520, 220), 210, np.uint8)
    for number, y in enumerate(rows):
        grey[round(y), 90:111] = 120
        if number % 10 == 0:
            grey[round(y), 118:130] = 120
    grey += np.random.default_rng(3).integers(0, 4, grey.shape).astype(np.uint8)
    lowest = numbering._lowest_indices((comb,), SCALE)
    scores = np.array([0.0 if k in (-40, -39) else -30.0 for k in lowest])
    spoken = replace(verdict(["10"] * 9), scores=scores, margin=50.0)
    lines_say = line_evidence((comb,), SCALE)
    index = numbering._index_by_numbers(grey, 1.0, (comb,), SCALE, spoken, lines_say)
    assert index.shifts == (40,)
    assert index.margin > numbering.MIN_MARGIN_WITH_NUMERALS
    blank = np.full_like(grey, 210)
    doubtful = numbering._index_by_numbers(blank, 1.0, (comb,), SCALE, spoken, lines_say)
    assert doubtful.margin < index.margin


@pytest.mark.parametrize(("above_px", "told"), [(0.0, True), (2.5, False)])
def test_lines_all_alike_are_told_only_by_figures_right_beside_them(above_px, told):
    """They would as well stand on another line, two to four divisions on."""
    plain = Column(first=0, last=60, lengths=(4.0, 4.0, 4.0))
    comb = plain.comb(Camera(), start=5)
    lines_say = line_evidence((comb,), SCALE)
    lowest = numbering._lowest_indices((comb,), SCALE)
    middle = sorted(lowest)[len(lowest) // 2]
    scores = np.array([-8.0 * abs(k - middle) for k in lowest])
    read = [replace(label, read=label.expected, evidence=6.0) for label in LABELS]
    found = replace(
        figures(above_px=above_px),
        best=TENS,
        margin=30.0,
        shift_margin=8.0,
        labels=tuple(read),
        scores=scores,
    )
    blank = np.full((520, 220), 210, np.uint8)
    if told:
        index = numbering._index_by_numbers(blank, 1.0, (comb,), SCALE, found, lines_say)
        assert index.shifts == (-middle,)
        return
    with pytest.raises(NotMeasurable) as stop:
        numbering._index_by_numbers(blank, 1.0, (comb,), SCALE, found, lines_say)
    assert stop.value.code == "scale_ambiguous"
