"""What the picture alone tells: how the steps are put together, with networks stood in for.

Whole photos without a file are read in test_reading.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from limbsight import know_picture
from limbsight.errors import NotMeasurable
from limbsight.know_picture import USUAL_WIDTH_M, _depth_text, _on_board, _propose, _tubes_on
from limbsight.know_picture import _tubes_proposed as tubes_proposed
from limbsight.knowledge import knowledge_from_picture, with_limbs
from limbsight.straighten import Scene
from limbsight.unit_by_size import SeenSizes
from limbsight.vision.limb_net import ProposedLimb, ProposedLimbs
from limbsight.without_file import BESIDE_WIDTHS, PROPOSED
from tests.helpers.scales import millimetres

SPEC = millimetres(0.0, 100.0)
KNOWN = knowledge_from_picture(SPEC)
STEP_MM = 0.5
NO_VIEW: Any = None
"""Nothing is looked at here."""


def board(step=STEP_MM, left=-30.0, columns=120) -> Any:
    """As much of a straightened board as is asked for; distances across in millimetres."""
    across = left + step * np.arange(columns)
    grid = SimpleNamespace(
        step=step, across=across, across_at=lambda column: left + step * column
    )
    return SimpleNamespace(grid=grid, picture=SimpleNamespace(bgr="picture"))


def limbs(*places, width=18.0):
    candidates = tuple(
        ProposedLimb(centre_column=column, width_columns=width, probability=p)
        for column, p in places
    )
    return ProposedLimbs(candidates=candidates, width_columns=width)


@pytest.fixture
def network(monkeypatch):
    """Answers one by one, and the widths that were asked for."""
    asked = []

    def answers(*found):
        queue = list(found)

        def propose(bgr, width):
            asked.append(width)
            return queue.pop(0)

        monkeypatch.setattr(know_picture, "propose_limbs", propose)
        return asked

    return answers


class TestProposal:
    usual = USUAL_WIDTH_M / (1e-3 * STEP_MM)

    def test_usual_tubing_is_asked_for_once(self, network):
        first = limbs((60.0, 0.9), width=1.2 * self.usual)
        asked = network(first)
        assert _propose(board(), KNOWN) is first
        assert asked == [pytest.approx(self.usual)]

    @pytest.mark.parametrize("times", [0.5, 2.5])
    def test_other_tubing_is_looked_at_once_more_at_its_size(self, network, times):
        first, again = limbs((60.0, 0.6), width=times * self.usual), limbs((60.0, 0.9))
        asked = network(first, again)
        assert _propose(board(), KNOWN) is again
        assert asked[1] == times * self.usual

    def test_what_is_not_seen_again_stands_as_it_was(self, network):
        first = limbs((60.0, 0.6), width=3 * self.usual)
        network(first, None)
        assert _propose(board(), KNOWN) is first

    def test_nothing_is_nothing(self, network):
        asked = network(None)
        assert _propose(board(), KNOWN) is None
        assert len(asked) == 1


class TestUnits:
    """Where none is printed they are tried; a distance of 500 leaves cm and mm open."""

    def tried(self, monkeypatch, network, printed, *found):
        boards = []

        def straighten(view, named, known):
            boards.append(known.instrument.scale.unit)
            return board()

        monkeypatch.setattr(know_picture, "straighten_board", straighten)
        monkeypatch.setattr(know_picture, "units_by_size", lambda _: ("mm", "cm", "in"))
        network(*found)
        scale: Any = SimpleNamespace(spec=SPEC, named=None, unit_printed=printed)
        sizes = SeenSizes(tube=None, figure=3.0, distance=500.0, u_distance=0.1)
        return tubes_proposed(NO_VIEW, scale, sizes, None), boards

    def test_a_printed_one_is_the_only_one(self, monkeypatch, network):
        (known, _, _), boards = self.tried(monkeypatch, network, "mm", limbs((60.0, 0.2)))
        assert boards == ["mm"]
        assert known.unit_m == 1e-3

    def test_the_first_that_shows_tubes_is_taken(self, monkeypatch, network):
        found = (limbs((60.0, 0.2)), limbs((60.0, 0.8), width=1.8))
        (known, _, proposed), boards = self.tried(monkeypatch, network, None, *found)
        assert boards == ["mm", "cm"]
        assert known.unit_m == 1e-2
        assert proposed.best == 0.8

    def test_of_three_poor_ones_the_best(self, monkeypatch, network):
        poor = (limbs((60.0, 0.5 * PROPOSED)), limbs((60.0, 0.9 * PROPOSED), width=1.8))
        found = (*poor, None)
        (known, _, _), boards = self.tried(monkeypatch, network, None, *found)
        assert boards == ["mm", "cm", "in"]
        assert known.instrument.scale.unit == "cm"

    def test_where_none_shows_any_it_is_said(self, monkeypatch, network):
        with pytest.raises(NotMeasurable) as caught:
            self.tried(monkeypatch, network, None, None, None, None)
        assert caught.value.code == "limb_not_found"


def test_candidates_keep_their_place_on_a_wider_board():
    """The same distance across and the same width, in columns of the other board."""
    narrow, wide = board(), board(step=0.8, left=-70.0)
    (found,) = _on_board(wide, narrow, limbs((44.0, 0.7)).candidates)
    assert wide.grid.across_at(found.centre_column) == pytest.approx(-30.0 + 22.0)
    assert found.width_columns * 0.8 == pytest.approx(18.0 * STEP_MM)
    assert found.probability == 0.7


class TestTubesOn:
    @pytest.fixture
    def looks(self, monkeypatch):
        """Columns that are looked at; the choice is stood in for."""
        seen: list[float] = []

        def looked_at(*args):
            seen.append(args[-1])
            return SimpleNamespace(column=args[-1])

        walled = SimpleNamespace(bands=(SimpleNamespace(centre_column=80.0),))
        monkeypatch.setattr(know_picture, "_looked_at", looked_at)
        monkeypatch.setattr(know_picture, "limb_candidates", lambda *_: walled)
        return seen

    def chosen(self, monkeypatch, *counts):
        """So many tubes each time; what there was to choose from."""
        queue, offered = list(counts), []

        def choose(looked, width, beside):
            offered.append([one.column for one in looked])
            return tuple(looked[: queue.pop(0)]), True

        monkeypatch.setattr(know_picture, "choose_tubes", choose)
        return offered

    def on(self, count):
        known = with_limbs(KNOWN, count, 9e-3)
        scene = Scene(view=NO_VIEW, board=board(), scale=NO_VIEW, known=known)
        return _tubes_on(scene, limbs((40.0, 0.9)).candidates)

    def test_what_is_proposed_and_what_has_walls(self, monkeypatch, looks):
        offered = self.chosen(monkeypatch, 2)
        tubes, _ = self.on(2)
        assert offered == [[40.0, 80.0]]
        assert len(tubes) == 2

    def test_one_of_two_may_have_been_missed(self, monkeypatch, looks):
        """The whole board is looked over, half a tube at a time."""
        offered = self.chosen(monkeypatch, 1, 2)
        tubes, _ = self.on(2)
        assert len(tubes) == 2
        width = 9.0 / STEP_MM
        everywhere = offered[1][2:]
        assert np.diff(everywhere) == pytest.approx(0.5 * width)
        assert everywhere[0] == 0.5 * width
        assert everywhere[-1] >= 120 - 1.01 * width

    def test_one_of_one_may_not(self, monkeypatch, looks):
        offered = self.chosen(monkeypatch, 1)
        self.on(1)
        assert len(offered) == 1

    def test_no_place_is_looked_at_twice(self, monkeypatch, looks):
        def choose(looked, width, beside):
            around = [column.column for place in looked for column in beside(place)]
            assert around == pytest.approx(
                [c + aside * width for c in (40.0, 80.0) for aside in BESIDE_WIDTHS]
            )
            beside(looked[0])
            return tuple(looked), True

        monkeypatch.setattr(know_picture, "choose_tubes", choose)
        self.on(2)
        assert len(looks) == len(set(looks)) == 10


class TestDepth:
    def test_a_guess_is_the_ends_of_its_rectangle(self):
        """5 mm, rectangular from 0 to 10: standard uncertainty 2.9 mm."""
        tube = replace(KNOWN.tube, axis_to_scale_m=5e-3, u_axis_to_scale_m=5e-3 / np.sqrt(3))
        text = _depth_text(replace(KNOWN, tube=tube), before_lines=False)
        assert text == "are taken to stand 0 to 10 mm in front of the graduated face"

    def test_no_tube_is_behind_the_face(self):
        tube = replace(KNOWN.tube, axis_to_scale_m=2e-3, u_axis_to_scale_m=4e-3)
        text = _depth_text(replace(KNOWN, tube=tube), before_lines=False)
        assert "stand 0 to 9 mm" in text

    def test_a_face_that_goes_on_behind_them_is_said(self):
        assert _depth_text(KNOWN, before_lines=True).endswith("which goes on behind them")

    def test_a_given_one_is_no_guess(self):
        given = knowledge_from_picture(SPEC, 7.25e-3)
        assert "7.25 mm in front of the graduated face, as given" in _depth_text(
            given, before_lines=True
        )
