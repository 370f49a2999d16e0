"""Two opinions on the levels of one tube: which decides, and when a person should look."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.vision.layers import Interface, Layers
from limbsight.vision.level_choice import (
    at_cover_seen_before,
    is_in_doubt,
    settle,
    settle_by_both,
)
from limbsight.vision.level_net import TubeView

WIDTH = 30.0
ROWS = (0, 400)


def view(cover: tuple[float, float] = (0.0, 0.0), **places: float) -> TubeView:
    """Probabilities of a level about rows given as ``r120=0.9``; rows that a cover hides."""
    rows = np.arange(0.5, 400, 1.5)
    level = np.full(len(rows), 1e-4)
    for name, probability in places.items():
        level[np.abs(rows - float(name[1:])) < 4] = probability
    kinds = np.stack([1 - level, level, 0 * level, 0 * level], axis=1)
    covered = np.where((rows > cover[0]) & (rows < cover[1]), 0.97, 0.01)
    rest = (1 - covered) / 3
    states = np.stack([rest, rest, covered, rest], axis=1)
    return TubeView(rows=rows, kinds=kinds, states=states, apart=0.5 * WIDTH)


def steps(*rows: float, **other) -> Layers:
    options = {"hidden": (), "hidden_change": None, "rival": None, "visible": ROWS} | other
    return Layers(interfaces=tuple(Interface(row=r, step=50.0) for r in rows), **options)


def rows_of(layers: Layers) -> list[float]:
    return [i.row for i in layers.interfaces]


def test_where_both_agree_the_step_says_where():
    settled = settle(steps(120.0), view(r123=0.95), WIDTH, 1, ROWS)
    assert rows_of(settled) == [120.0]
    assert settled.interfaces[0].apex_row == pytest.approx(123.0, abs=1.0)
    assert not settled.doubted


@pytest.mark.parametrize(("unexplained", "doubted"), [(0.04, True), (0.3, False)])
def test_a_step_that_explains_all_colours_leaves_another_place_in_doubt(unexplained, doubted):
    """A stain above a coloured liquid may look like its level."""
    seen = steps(300.0, unexplained=unexplained)
    settled = settle(seen, view(r200=0.97), WIDTH, 1, ROWS)
    assert rows_of(settled) == pytest.approx([200.0], abs=1.0)
    assert settled.doubted == doubted


@pytest.mark.parametrize("probability", [0.6, 0.95])
def test_a_level_that_steps_miss_is_taken_and_doubted_unless_sure(probability):
    settled = settle(steps(), view(r200=probability), WIDTH, 1, ROWS)
    assert rows_of(settled) == pytest.approx([200.0], abs=1.0)
    assert settled.doubted == (probability < 0.9)


def test_a_sure_network_overrules_a_false_step_and_what_follows_from_it():
    false = steps(300.0, hidden_change=(50, 80), rival=Interface(row=90.0, step=40.0))
    settled = settle(false, view(r200=0.97), WIDTH, 1, ROWS)
    assert rows_of(settled) == pytest.approx([200.0], abs=1.0)
    assert settled.hidden_change is None
    assert settled.rival is None
    assert not settled.doubted


@pytest.mark.parametrize(
    ("level", "other", "stays"), [(0.97, 0.02, True), (0.99, 0.1, True), (0.999, 0.02, False)]
)
def test_a_rival_of_steps_that_stand_stays_unless_it_is_surely_none(level, other, stays):
    rival = Interface(row=90.0, step=40.0)
    seen = view(r200=level, r90=other)
    settled = settle(steps(200.0, rival=rival), seen, WIDTH, 1, ROWS)
    assert settled.rival == (rival if stays else None)


def test_an_unlikely_step_stands_but_is_doubted():
    settled = settle(steps(300.0), view(r200=0.3), WIDTH, 1, ROWS)
    assert rows_of(settled) == [300.0]
    assert settled.doubted


@pytest.mark.parametrize(
    ("cover", "probability", "hidden"),
    [
        ((205, 260), 0.97, True),
        ((212, 260), 0.97, False),
        ((212, 260), 0.7, True),
        ((230, 290), 0.7, False),
    ],
    ids=["at a sure one", "near a sure one", "near a likely one", "far"],
)
def test_what_looks_like_a_level_at_the_edge_of_a_cover_is_hidden(cover, probability, hidden):
    settled = settle(steps(200.0), view(cover, r200=probability), WIDTH, 1, ROWS)
    assert (settled.hidden_change is not None) == hidden


@pytest.mark.parametrize(
    ("layers", "doubt"),
    [
        (steps(120.0), False),
        (steps(), True),
        (steps(120.0, doubted=True), True),
        (steps(120.0, hidden_change=(200, 210)), True),
        (steps(120.0, rival=Interface(row=300.0, step=50.0)), True),
    ],
    ids=["plain", "missing", "doubted", "hidden", "rival"],
)
def test_what_calls_for_a_second_look(layers, doubt):
    assert is_in_doubt(layers, 1) is doubt


@pytest.mark.parametrize(
    ("row", "probability", "hidden"),
    [(208, 0.3, (100, 200)), (150, 0.3, (100, 200)), (300, 0.3, None), (208, 0.97, None)],
)
def test_a_cover_seen_about_another_axis_is_kept_at_its_edge(row, probability, hidden):
    before = steps(208.0, hidden_change=(100, 200))
    seen = view(**{f"r{row}": probability})
    kept = at_cover_seen_before(steps(float(row)), before, seen, 10.0)
    assert kept.hidden_change == hidden


def test_a_covered_level_stays_covered():
    settled = settle(steps(300.0, hidden_change=(100, 140)), view(r200=0.2), WIDTH, 1, ROWS)
    assert settled.hidden_change == (100, 140)
    assert settled.doubted


@pytest.mark.parametrize(
    ("other", "doubted"), [(0.001, False), (0.3, False), (0.75, True), (0.97, True)]
)
def test_one_level_more_than_the_instrument_has(other, doubted):
    settled = settle(steps(120.0), view(r120=0.95, r250=other), WIDTH, 1, ROWS)
    assert settled.doubted == doubted
    assert rows_of(settled) == [120.0]


def test_two_levels_bottom_to_top():
    settled = settle(steps(150.0), view(r150=0.99, r260=0.98), WIDTH, 2, ROWS)
    assert rows_of(settled) == pytest.approx([260.0, 150.0], abs=1.0)
    assert not settled.doubted


def test_agreement_bears_what_is_only_likely():
    likely = view(r120=0.7)
    assert not settle(steps(128.0), likely, WIDTH, 1, ROWS).doubted
    assert settle(
        steps(128.0, rival=Interface(row=9.0, step=9.0)), likely, WIDTH, 1, ROWS
    ).doubted
    assert settle(steps(300.0), likely, WIDTH, 1, ROWS).doubted


def test_at_the_edge_of_a_cover_agreement_bears_nothing():
    assert not settle(steps(120.0), view(r120=0.4), WIDTH, 1, ROWS).doubted
    assert settle(steps(120.0), view(cover=(122, 180), r120=0.4), WIDTH, 1, ROWS).doubted


def test_levels_beyond_the_scale_are_not_taken():
    assert rows_of(settle(steps(), view(r350=0.99), WIDTH, 1, (0, 300))) == []


@pytest.mark.parametrize(
    ("second", "doubted"), [(0.05, False), (0.3, True)], ids=["one network", "both"]
)
def test_another_level_under_gas_that_both_see_is_a_broken_column(second, doubted):
    first, again = view(r120=0.999, r250=0.3), view(r120=0.999, r250=second)
    found, seen = settle_by_both(steps(120.0), first, lambda: again, WIDTH, 1, ROWS)
    assert rows_of(found) == [120.0]
    assert found.doubted is doubted
    assert seen is first
