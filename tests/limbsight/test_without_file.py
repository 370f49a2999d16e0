"""What is stated about the fillings of tubes that no instrument file describes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.knowledge import knowledge_from_picture, with_limbs
from limbsight.level_kinds import LevelKind
from limbsight.unit_by_size import SeenSizes
from limbsight.vision.dark_line import DarkLine
from limbsight.vision.level_net import TubeView
from limbsight.without_file import (
    BARELY_PROPOSED,
    PROPOSED,
    UNPROPOSED,
    LookedAt,
    SeenLevel,
    SeenLevels,
    choose_tubes,
    is_row,
    looked_at,
    seen_levels,
    with_fillings,
    with_unit,
)
from tests.helpers.scales import millimetres
from tests.helpers.tube_views import view_with

GAS, LIQUID, MERCURY = LevelKind.UNDER_GAS, LevelKind.UNDER_LIQUID, LevelKind.MERCURY


def known_with(limbs: int):
    scale = millimetres(0.0, 100.0)
    return with_limbs(knowledge_from_picture(scale), limbs, 9e-3)


def place(k: int, kind: LevelKind, probability: float = 0.99, share: float = 1.0) -> SeenLevel:
    """The k-th level from the bottom; what the kind leaves is divided among the others."""
    shares = np.full(3, (1 - share) / 2)
    shares[kind - 1] = share
    return SeenLevel(row=300.0 - 90.0 * k, probability=probability, shares=tuple(shares))


def sure(*kinds: LevelKind) -> SeenLevels:
    return SeenLevels(places=tuple(place(k, kind) for k, kind in enumerate(kinds)))


def unseen(row: float) -> None:
    """Of no line anything is seen."""


def unlike(row: float, view: TubeView) -> float:
    """Of fillings that differ alike at all levels."""
    return 100.0


def rows_of(levels: SeenLevels) -> list[float]:
    return sorted(p.row for p in levels.places)


def test_places_that_surely_hold_no_level_are_left_out():
    view = view_with((150, 0.99, LIQUID), (60, 0.97, GAS), (100, 0.05, GAS))
    assert rows_of(seen_levels(view, (0.0, 400.0), unseen, unlike)) == pytest.approx(
        [120.0, 300.0]
    )


def test_levels_outside_the_scale_do_not_count():
    view = view_with((150, 0.99, GAS), (20, 0.97, GAS))
    assert rows_of(seen_levels(view, (100.0, 400.0), unseen, unlike)) == pytest.approx([300.0])


@pytest.mark.parametrize(
    ("other", "plain"),
    [
        ((180, 0.3, LIQUID), False),
        ((180, 0.3, MERCURY), False),
        ((180, 0.3, GAS), True),
        ((60, 0.3, GAS), True),
        ((60, 0.3, LIQUID), True),
        ((60, 0.05, LIQUID), True),
    ],
    ids=["plug", "plug on mercury", "gas within", "gas", "above gas", "surely none"],
)
def test_a_level_that_may_be_there_makes_the_number_doubtful(other, plain):
    """One that can't be in a whole column beside the likely ones does not."""
    view = view_with((150, 0.99, GAS), other)
    assert seen_levels(view, (0.0, 400.0), unseen, unlike).is_plain is plain


@pytest.mark.parametrize(("change", "plain"), [(0.0, True), (10.0, True), (30.0, False)])
def test_fillings_of_one_colour_are_one(change, plain):
    view = view_with((150, 0.99, GAS), (180, 0.3, MERCURY))

    def change_at(row: float, view: TubeView) -> float:
        return change if row > 350.0 else 100.0

    assert seen_levels(view, (0.0, 400.0), unseen, change_at).is_plain is plain


def test_nothing_is_below_mercury():
    view = view_with((150, 0.99, MERCURY), (180, 0.3, LIQUID))
    assert seen_levels(view, (0.0, 400.0), unseen, unlike).is_plain


def test_a_likely_level_stays_where_none_can_be():
    """A column may be broken."""
    view = view_with((150, 0.99, GAS), (60, 0.6, GAS))
    assert rows_of(seen_levels(view, (0.0, 400.0), unseen, unlike)) == pytest.approx(
        [120.0, 300.0]
    )


@pytest.mark.parametrize(("probability", "kept"), [(0.4, 3), (0.2, 1)])
def test_several_that_are_jointly_likely_stay_as_well(probability, kept):
    view = view_with((150, 0.99, GAS), (100, probability, GAS), (60, probability, GAS))
    assert len(seen_levels(view, (0.0, 400.0), unseen, unlike).places) == kept


@pytest.mark.parametrize(
    ("darkness", "likeliest"), [(None, GAS), (0.0, LIQUID), (0.4, GAS), (0.8, GAS)]
)
def test_a_level_without_a_dark_line_is_hardly_under_gas(darkness, likeliest):
    view = view_with((150, 0.99, GAS))
    view.kinds[150] = [0.01, 0.9, 0.08, 0.01]
    line = None
    if darkness is not None:
        line = DarkLine(darkness=darkness, shine=0.5, above_bores=0.1)
    (level,) = seen_levels(view, (0.0, 400.0), lambda row: line, unlike).places
    assert LevelKind(1 + int(np.argmax(level.shares))) is likeliest
    assert sum(level.shares) == pytest.approx(1.0)
    assert level.probability == pytest.approx(0.99)


@pytest.mark.parametrize(
    ("seen", "fillings"),
    [
        ((sure(GAS), sure(GAS)), ("unknown liquid", "air")),
        ((sure(MERCURY), sure(MERCURY)), ("mercury", "air")),
        (
            (sure(LIQUID, GAS), sure(LIQUID, GAS)),
            ("unknown water-based liquid", "unknown oil", "air"),
        ),
    ],
)
def test_limbs_that_agree(seen, fillings):
    known, certain = with_fillings(known_with(2), ("left", "right"), seen)
    assert certain
    for name in ("left", "right"):
        assert tuple(f.name for f in known.fillings(name)) == fillings


def test_a_process_liquid_in_one_limb():
    known, certain = with_fillings(known_with(2), ("left", "right"), (sure(GAS), sure(LIQUID)))
    assert certain
    assert [known.filling("left", 1), known.filling("right", 1)] == ["air", "unknown oil"]


FAINT, FAINTER = (
    SeenLevels(places=(place(0, MERCURY, faint, 0.97), place(1, GAS))) for faint in (0.4, 0.2)
)


@pytest.mark.parametrize("other", [sure(MERCURY, GAS), FAINT], ids=["one plain", "together"])
def test_limbs_tell_the_number_of_levels(other):
    known, certain = with_fillings(known_with(2), ("left", "right"), (FAINT, other))
    assert certain
    names = [known.filling("left", k) for k in range(3)]
    assert names == ["mercury", "unknown upper liquid", "air"]


def test_kinds_that_the_limbs_share_are_weighed_together():
    hardly = SeenLevels(places=(place(0, MERCURY, share=0.9),))
    assert with_fillings(known_with(2), ("left", "right"), (hardly, sure(MERCURY)))[1]
    assert not with_fillings(known_with(1), ("tube",), (hardly,))[1]


@pytest.mark.parametrize(
    "seen",
    [
        (sure(GAS), sure(MERCURY)),
        (sure(GAS), sure(LIQUID, GAS)),
        (sure(GAS, GAS), sure(GAS, GAS)),
        (sure(GAS), SeenLevels(places=(place(0, GAS, share=0.9),))),
        (FAINT, FAINTER),
        (sure(GAS), SeenLevels(places=(place(0, LIQUID, 0.3), place(1, GAS)))),
        (sure(), sure()),
        (sure(LIQUID, LIQUID, LIQUID, GAS),) * 2,
    ],
    ids=[
        "two manometric liquids",
        "buffer in one limb",
        "gas within",
        "under gas or liquid",
        "no number is plain",
        "a plug in one limb",
        "none",
        "four",
    ],
)
def test_limbs_that_do_not_agree(seen):
    before = known_with(2)
    assert with_fillings(before, ("left", "right"), seen) == (before, False)


def looked(
    column: float,
    best_level: float,
    no_tube: float,
    proposed: float = 0.4,
    about: float | None = None,
) -> LookedAt:
    return LookedAt(
        column=column,
        count_levels=lambda: sure(GAS),
        best_level=best_level,
        no_tube=no_tube,
        no_tube_about=no_tube if about is None else about,
        proposed=proposed,
    )


def same_beside(place: LookedAt) -> list[LookedAt]:
    """A place that looks alike a little to the left and to the right."""
    return [place] * 4


def bare_beside(place: LookedAt) -> list[LookedAt]:
    """A place that looks like a tube from one column only."""
    return [replace(place, best_level=0.0, no_tube=0.9)] * 4


class TestTubes:
    def test_two_sure_ones_left_to_right(self):
        tubes, certain = choose_tubes(
            [looked(90.0, 0.99, 0.0), looked(20.0, 0.98, 0.01), looked(50.0, 0.0, 0.99)],
            12.0,
            same_beside,
        )
        assert [tube.column for tube in tubes] == [20.0, 90.0]
        assert certain

    def test_what_overlaps_a_tube_is_no_other(self):
        tubes, certain = choose_tubes(
            [looked(20.0, 0.99, 0.0), looked(27.0, 0.5, 0.4)], 12.0, same_beside
        )
        assert len(tubes) == 1
        assert certain

    def test_a_tube_without_a_level_is_one_in_doubt(self):
        tubes, certain = choose_tubes(
            [looked(20.0, 0.99, 0.0), looked(60.0, 0.02, 0.1)], 12.0, same_beside
        )
        assert len(tubes) == 2
        assert not certain

    @pytest.mark.parametrize(("column", "certain"), [(80.0, True), (160.0, False)])
    def test_a_third_without_a_level_out_of_step_with_two_is_none(self, column, certain):
        pair = [looked(20.0, 0.99, 0.0), looked(90.0, 0.99, 0.0)]
        third = looked(column, 0.2, 0.1)
        tubes, sure = choose_tubes([*pair, third], 8.0, same_beside)
        assert len(tubes) == (2 if certain else 3)
        assert sure is certain

    @pytest.mark.parametrize(
        ("proposed", "certain"), [(1.1 * UNPROPOSED, True), (0.9 * UNPROPOSED, False)]
    )
    def test_a_tube_shorter_than_the_scale(self, proposed, certain):
        short = looked(20.0, 0.99, 0.55, proposed, about=0.01)
        tubes, sure = choose_tubes([short], 12.0, same_beside)
        assert len(tubes) == int(certain)
        assert sure is certain

    @pytest.mark.parametrize(
        ("proposed", "certain"),
        [(0.9 * BARELY_PROPOSED, True), (1.1 * BARELY_PROPOSED, False)],
    )
    def test_what_is_barely_proposed_is_none(self, proposed, certain):
        lined = looked(60.0, 0.4, 0.0, proposed)
        tubes, sure = choose_tubes([looked(20.0, 0.99, 0.0), lined], 12.0, same_beside)
        assert len(tubes) == (1 if certain else 2)
        assert sure is certain

    @pytest.mark.parametrize(("no_tube", "certain"), [(0.1, False), (0.4, True)])
    def test_a_limb_whose_level_is_out_of_sight(self, no_tube, certain):
        """Hardly proposed, but surely a tube to the network of levels."""
        pair = [looked(20.0, 0.99, 0.0), looked(60.0, 0.001, no_tube, 0.9 * UNPROPOSED)]
        _, sure = choose_tubes(pair, 12.0, same_beside)
        assert sure is certain

    @pytest.mark.parametrize(
        ("proposed", "certain"), [(1.1 * PROPOSED, True), (0.9 * PROPOSED, False)]
    )
    def test_a_tube_proposed_off_its_axis_is_taken_where_its_level_shows(
        self, proposed, certain
    ):
        def beside(place: LookedAt) -> list[LookedAt]:
            return [place, place, replace(place, column=62.0, best_level=0.95), place]

        off = looked(60.0, 0.5, 0.0, proposed)
        tubes, sure = choose_tubes([looked(20.0, 0.99, 0.0), off], 12.0, beside)
        assert [tube.column for tube in tubes] == [20.0, 62.0 if certain else 60.0]
        assert sure is certain

    def test_what_looks_like_a_tube_from_one_column_only_is_none(self):
        tubes, certain = choose_tubes(
            [looked(20.0, 0.99, 0.0), looked(60.0, 0.4, 0.1)], 12.0, bare_beside
        )
        assert [tube.column for tube in tubes] == [20.0]
        assert certain

    def test_one_more_look_that_shows_a_tube_leaves_the_doubt(self):
        def beside(place: LookedAt) -> list[LookedAt]:
            return [place, *bare_beside(place)[1:]]

        tubes, certain = choose_tubes(
            [looked(20.0, 0.99, 0.0), looked(60.0, 0.02, 0.4)], 12.0, beside
        )
        assert len(tubes) == 2
        assert not certain

    def test_a_place_that_nobody_proposes_and_shows_no_level_is_none(self):
        tubes, certain = choose_tubes(
            [looked(20.0, 0.99, 0.0), looked(60.0, 0.02, 0.4, proposed=0.0)], 12.0, same_beside
        )
        assert [tube.column for tube in tubes] == [20.0]
        assert certain

    @pytest.mark.parametrize(("level", "none"), [(0.9, False), (0.6, True)])
    def test_a_sure_level_in_a_place_that_nobody_proposes_leaves_the_doubt(self, level, none):
        tubes, certain = choose_tubes(
            [looked(20.0, 0.99, 0.0), looked(60.0, level, 0.5, 0.0)], 12.0, same_beside
        )
        assert len(tubes) == (1 if none else 2)
        assert certain is none

    def test_a_proposed_tube_with_a_level_may_be_half_hidden(self):
        _, certain = choose_tubes([looked(20.0, 0.99, 0.5, proposed=0.9)], 12.0, same_beside)
        assert certain

    def test_nothing_is_nothing(self):
        assert choose_tubes([looked(20.0, 0.0, 0.99)], 12.0, same_beside) == ((), False)

    def test_a_candidate_is_judged_within_its_rows(self):
        view = view_with((150, 0.99, GAS), (20, 0.6, GAS))

        def within(*rows: float) -> LookedAt:
            return looked_at(view, lambda: view, (rows[0], rows[1]), 7.0, 0.9, unseen, unlike)

        assert within(100.0, 400.0).best_level == pytest.approx(0.99)
        assert within(0.0, 200.0).best_level == pytest.approx(0.6)
        assert within(0.0, 200.0).no_tube == pytest.approx(0.25)

    def test_levels_are_those_of_both_networks(self):
        first = view_with((20, 0.99, GAS))
        second = view_with((20, 0.99, GAS), (150, 0.99, MERCURY))
        both = first.pooled(second)
        seen = looked_at(first, lambda: second, (0.0, 400.0), 7.0, 0.9, unseen, unlike)
        assert seen.best_level == pytest.approx(0.99)
        assert seen.count_levels() == seen_levels(both, (0.0, 400.0), unseen, unlike)
        assert seen.count_levels() != seen_levels(first, (0.0, 400.0), unseen, unlike)


class TestUnit:
    IN_INCHES = SeenSizes(tube=0.35, figure=0.12, distance=18.0, u_distance=0.03)

    def test_sizes_tell_it(self):
        known, source = with_unit(known_with(2), self.IN_INCHES, None)
        assert known.instrument.scale.unit == "in"
        assert known.unit_m == pytest.approx(25.4e-3)
        assert source is not None

    def test_sizes_may_allow_two(self):
        sizes = replace(self.IN_INCHES, tube=0.55, figure=None)
        before = known_with(2)
        assert with_unit(before, sizes, None) == (before, None)

    @pytest.mark.parametrize(
        ("printed", "source"),
        [("in", "as printed"), ("mbar", "as printed"), ("mm", None), ("cm", None)],
    )
    def test_what_is_printed_stands_unless_sizes_speak_against_it(self, printed, source):
        assert with_unit(known_with(2), self.IN_INCHES, printed)[1] == source


@pytest.mark.parametrize(
    ("columns", "even"),
    [
        ((100.0, 160.0), True),
        ((100.0, 160.0, 218.0, 281.0), True),
        ((100.0, 160.0, 420.0, 480.0), False),
        ((100.0, 160.0, 290.0), False),
    ],
    ids=["two", "bank", "two U-tubes", "U-tube and another tube"],
)
def test_tubes_of_one_bank_stand_evenly(columns, even):
    tubes = [looked(column, 0.99, 0.0) for column in columns]
    assert is_row(tubes, 28.0) is even
