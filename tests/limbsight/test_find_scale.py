"""What is searched for a scale, in which order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from limbsight import find_scale
from limbsight.calib.boards import Boards
from limbsight.errors import NotMeasurable
from limbsight.find_scale import (
    _are_longer,
    _is_contradicted,
    _of_another_board,
    _out_of_step,
    _rivals,
    _tries,
    upright,
)
from limbsight.vision.working import GREEN, RED, WorkingImage, enlarged, working_image
from tests.helpers.boards import Camera, Column
from tests.helpers.scale_maps import fitted
from tests.helpers.scales import millimetres

CAMERA = Camera()
FINE = Column(first=0, last=80).comb(CAMERA)


BLANK = WorkingImage(bgr=np.zeros((60, 60, 3), np.uint8), factor=1.0, full_size_px=(60, 60))
NO_VIEW: Any = SimpleNamespace(upright=BLANK, frame=None)


@dataclass(frozen=True)
class Named:
    combs: Any
    numbers_read: bool = True
    rivals: int = 0


def every(apart: int):
    """Every so many-th line of the column, with indices of its own."""
    kept = np.arange(0, 81, apart)
    return replace(FINE, index=np.arange(len(kept)) - 3, lines=FINE.lines.take(kept))


def moved(comb, by_px: float):
    lines = comb.lines
    across = {name: getattr(lines, name) + by_px for name in ("x", "left", "right")}
    return replace(comb, lines=replace(lines, **across))


def pictures_of(width: int, height: int) -> tuple[Any, WorkingImage]:
    """An empty one, as taken and at the size of the search."""
    bgr = np.zeros((height, width, 3), np.uint8)
    return SimpleNamespace(bgr=bgr), working_image(bgr)


def tried(width: int, height: int) -> list[tuple[float, int, bool]]:
    """Factor of the picture searched, the channel, and whether it is as it was taken."""
    return [
        (source.factor, source.channel, stand.turn.is_none)
        for source, stand in _tries(*pictures_of(width, height), None)
    ]


def test_a_large_picture_is_searched_once_more_at_its_own_size():
    as_taken = [(2.0, GREEN, True), (1.0, GREEN, True), (2.0, RED, True), (1.0, RED, True)]
    assert tried(3000, 4000)[:4] == as_taken


def test_a_small_one_is_not():
    assert tried(1200, 1600)[:2] == [(1.0, GREEN, True), (1.0, RED, True)]
    assert all(not as_taken for *_, as_taken in tried(1200, 1600)[2:])


@pytest.mark.parametrize("found_at_full_size", [True, False])
def test_longer_lines_wait_for_the_picture_at_its_own_size(found_at_full_size):
    longer = SimpleNamespace(numbers_read=True, apart=5, combs=(every(5),))
    whole = SimpleNamespace(numbers_read=True, apart=1, combs=(FINE,), second_choice=False)

    def find(view):
        if view.upright.factor > 1.0:
            return longer
        if not found_at_full_size:
            raise NotMeasurable("", code="scale_not_found")
        return whole

    view, found = upright(*pictures_of(3000, 4000), None, find)
    assert found is (whole if found_at_full_size else longer)
    assert view.upright.factor == (1.0 if found_at_full_size else 2.0)


@pytest.mark.parametrize(
    ("kept", "second_choice", "more", "again"),
    [
        (np.arange(81), False, FINE, False),
        (np.arange(81) % 3 > 0, False, FINE, True),
        (np.arange(40), True, FINE, True),
        # The same lines with more noise are no gain.
        (np.arange(81) % 3 > 0, False, None, False),
    ],
)
def test_a_fine_scale_with_gaps_is_looked_for_at_its_own_size(
    kept, second_choice, more, again
):
    def seen(comb):
        return SimpleNamespace(
            numbers_read=True, apart=1, combs=(comb,), second_choice=second_choice
        )

    # Lines 7 px apart: 3.5 px in the reduced picture.
    small = enlarged(FINE, 7.0 / FINE.pitch_px)
    which = np.flatnonzero(kept) if kept.dtype == bool else kept
    some = replace(small, index=small.index[which], lines=small.lines.take(which))
    reduced, whole = seen(some), seen(some if more is None else small)
    _, found = upright(
        *pictures_of(3000, 4000), None, lambda v: reduced if v.upright.factor > 1.0 else whole
    )
    assert found is (whole if again else reduced)


def test_longer_lines_are_whole_multiples_of_a_division():
    assert _are_longer((every(5),), (FINE,))
    assert _are_longer((every(2),), (FINE,))
    assert not _are_longer((FINE,), (FINE,))
    lines = FINE.lines
    inches = replace(lines, y=lines.y[0] + 2.54 * (lines.y - lines.y[0]))
    assert not _are_longer((replace(FINE, lines=inches),), (FINE,))


@pytest.mark.parametrize("borne_out", [True, False])
def test_two_figures_look_turned_where_longer_lines_bear_all_out(monkeypatch, borne_out):
    def longer(grey, factor, board, spec, frame):
        if not borne_out:
            raise NotMeasurable("", code="scale_ambiguous")
        return Named(combs=board)

    monkeypatch.setattr(find_scale, "name_longer_lines", longer)
    monkeypatch.setattr(find_scale, "_of_other_ink", lambda view, board: ())
    turned = NotMeasurable("", code="picture_turned")
    boards = Boards(chosen=(every(5),))
    spec = millimetres(0.0, 80.0)
    if borne_out:
        assert _of_another_board(NO_VIEW, boards, spec, turned).combs == boards.chosen
    else:
        with pytest.raises(NotMeasurable) as stop:
            _of_another_board(NO_VIEW, boards, spec, turned)
        assert stop.value.code == "picture_turned"


@pytest.mark.parametrize(("lengths", "known"), [((2.4, 3.2, 4.0), True), ((3.0,) * 3, False)])
def test_long_lines_contradict_a_numbering_that_others_gave(lengths, known):
    """Of 61 lines in the picture, of a scale that goes on."""
    column = Column(first=0, last=60, lengths=lengths)
    board = (column.comb(CAMERA, start=0),)
    right = fitted(CAMERA, (column,))
    spec = millimetres(-40.0, 100.0)

    def named(by: int):
        return SimpleNamespace(combs=board, map=right.renumbered(1.0, float(by)))

    view: Any = SimpleNamespace(upright=BLANK)
    found: Any
    for by in (-1, 0, 1):
        found = named(by)
        assert _is_contradicted(view, found, spec, board) is (known and by != 0)
    aside = (moved(board[0], 60.0 * FINE.pitch_px),)
    assert not _is_contradicted(view, found, spec, aside)


@pytest.mark.parametrize("aside", [0.0, 60.0])
def test_columns_within_a_pattern_of_lines_are_its_board(monkeypatch, aside):
    columns = (moved(FINE, aside * FINE.pitch_px),)

    def named(view, board, spec):
        if board is not columns:
            raise NotMeasurable("", code="scale_ambiguous")
        return Named(combs=board)

    monkeypatch.setattr(find_scale, "_named", named)
    monkeypatch.setattr(find_scale, "_columns_before", lambda view, board: (columns,))
    boards = Boards(chosen=(replace(FINE, parts=(FINE,)),))
    stop = NotMeasurable("", code="scale_ambiguous")
    found = _of_another_board(NO_VIEW, boards, millimetres(0.0, 80.0), stop)
    assert found.rivals == (1 if aside else 0)


def test_a_board_beside_is_a_rival_and_its_own_lines_are_not():
    spec = millimetres(0.0, 80.0)
    aside_px = 60.0 * FINE.pitch_px
    assert _rivals((), (FINE,), spec) == 0
    assert _rivals(((FINE,),), (moved(FINE, 5.0),), spec) == 0
    assert _rivals(((FINE,),), (moved(FINE, aside_px),), spec) == 1


def test_pieces_of_the_graduations_are_no_other_scale():
    spec = millimetres(0.0, 80.0)

    class Plane:
        def from_pixel(self, x, y):
            return x, (FINE.lines.y[0] - y) / FINE.pitch_px

    wide = (FINE, moved(FINE, 300.0))
    named: Any = SimpleNamespace(map=SimpleNamespace(plane=Plane), combs=wide)
    half_off = replace(FINE.lines, y=FINE.lines.y + 0.5 * FINE.pitch_px)
    pieces = (moved(FINE, 200.0),)
    assert _out_of_step([pieces], named, spec) == 0
    assert _out_of_step([pieces, (replace(FINE, lines=half_off),)], named, spec) == 1
    assert _out_of_step([(moved(FINE, 400.0),)], named, spec) == 1


def test_columns_among_others_are_no_other_instrument():
    """Half of them stand beyond the ones that were read, as in every second gap of a bank."""
    spec = millimetres(0.0, 80.0)
    apart = 30.0 * FINE.pitch_px
    read = (FINE, moved(FINE, 2 * apart))
    among = (moved(FINE, apart), moved(FINE, 3 * apart))
    beyond = (moved(FINE, 2.5 * apart), moved(FINE, 5 * apart))
    assert _rivals((among,), read, spec) == 0
    assert _rivals((among,), read, spec, stated=False) == 1
    assert _rivals((beyond,), read, spec) == 1


def test_tubes_of_a_wide_board_need_a_file():
    spec = millimetres(0.0, 80.0)
    wide = (FINE, moved(FINE, 60.0 * FINE.pitch_px))
    assert _rivals((wide,), (FINE,), spec) == 0
    assert _rivals((wide,), (FINE,), spec, stated=False) == 1
    assert _rivals(((FINE,),), wide, spec, stated=False) == 0


def test_where_short_lines_merge_longer_ones_are_looked_for_in_less_detail(monkeypatch):
    """Lines that no board bears, and in the reduced picture others that are the file's."""
    searched, every_fifth = [], every(5)

    def found_in(working):
        searched.append(working.factor)
        return ((every_fifth,),)

    def named(grey, factor, board, spec, frame):
        assert factor == 1.0  # figures are read in all detail
        if board != (every_fifth,):
            raise NotMeasurable("", code="scale_ambiguous")
        return Named(combs=board)

    monkeypatch.setattr(find_scale, "find_scales", found_in)
    monkeypatch.setattr(find_scale, "find_lines", lambda *_, **__: ())
    monkeypatch.setattr(find_scale, "name_longer_lines", named)
    stop = NotMeasurable("", code="scale_ambiguous")
    found = find_scale._of_doubtful_lines(NO_VIEW, millimetres(0.0, 80.0), ((FINE,),), stop)
    assert found.combs == (every_fifth,)
    assert searched == [2.0]


def test_a_mirror_image_is_not_read_on_its_head():
    # Of figures flipped upside down 0, 1, 3 and 8 stay what they are.
    named = SimpleNamespace(numbers_read=True, apart=1, combs=(FINE,), second_choice=False)

    def find(view):
        if view.turn.is_none:
            raise NotMeasurable("", code="picture_mirrored")
        return named

    with pytest.raises(NotMeasurable) as stop:
        upright(*pictures_of(1200, 1600), None, find)
    assert stop.value.code == "picture_mirrored"
