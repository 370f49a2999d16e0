"""How far from the graduations limbs are looked for, and when a tube is looked at twice."""

from __future__ import annotations

from concurrent.futures import Future
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.special import expit, logit

from limbsight import straighten
from limbsight.level_kinds import LevelKind
from limbsight.straighten import SplitTube, _has_far_limb, lines_go_on
from limbsight.vision.layers import Layers
from limbsight.vision.level_net import TubeView
from limbsight.vision.working import working_image
from tests.helpers.boards import Camera, Column, photograph, print_of
from tests.helpers.scale_maps import fitted


@pytest.mark.parametrize(
    ("lines", "limbs", "from_picture", "far"),
    [
        (6.0, 2, False, True),
        (60.0, 2, False, False),
        (6.0, 1, False, False),
        (6.0, 2, True, False),
    ],
    ids=["ruler between limbs", "lines behind them", "one limb", "limbs seen elsewhere"],
)
def test_a_limb_may_stand_beyond_a_ruler(lines, limbs, from_picture, far):
    known: Any = SimpleNamespace(limb_count=limbs, from_picture=from_picture)
    assert _has_far_limb(known, lines, 8.0) is far


def seen(level: float) -> TubeView:
    """A tube with a level in its middle, of so much probability."""
    rows = np.arange(0.5, 400, 1.5)
    likely = np.where(np.abs(rows - 200) < 4, level, 1e-4)
    kinds = np.stack([1 - likely, likely, 0 * likely, 0 * likely], axis=1)
    states = np.stack([0 * rows + 1, 0 * rows, 0 * rows, 0 * rows], axis=1)
    return TubeView(rows=rows, kinds=kinds, states=states, apart=15.0)


@pytest.mark.parametrize(
    ("first", "second", "asked", "doubted"),
    [(0.95, 0.0, False, False), (0.85, 0.99, True, False), (0.85, 0.4, True, True)],
    ids=["sure", "likely, then sure", "likely, then not"],
)
def test_a_second_network_is_asked_in_doubt(monkeypatch, first, second, asked, doubted):
    calls = []

    def look_again(strip: object) -> TubeView:
        calls.append(strip)
        return seen(second)

    monkeypatch.setattr(straighten, "look_again", look_again)
    looking: Future[TubeView] = Future()
    looking.set_result(seen(first))
    tube: Any = SimpleNamespace(
        seen=None, clean=SimpleNamespace(width_columns=30.0), rows=(0, 400)
    )
    steps = Layers(interfaces=(), hidden=(), hidden_change=None, rival=None, visible=(0, 400))
    split = SplitTube(tube=tube, count=1, steps=steps, looking=looking)
    assert split.layers.doubted is doubted
    assert bool(calls) is asked
    both = expit(0.5 * (logit(first) + logit(max(second, 1e-4))))
    assert split.network.near(200, 5) == pytest.approx(both if asked else first, abs=0.01)
    assert len(calls) == asked  # once, however often it is needed


@pytest.mark.parametrize(
    ("first", "second", "asked", "denied"),
    [(0.6, 0.0, False, False), (0.4, 0.9, True, False), (0.4, 0.1, True, True)],
    ids=["seen", "seen by both together", "seen by none"],
)
def test_witnesses_deny_what_both_together_do_not_see(
    monkeypatch, first, second, asked, denied
):
    calls = []

    def look(strip: object, network: str) -> TubeView:
        calls.append(network)
        return seen(second)

    testified: Future[TubeView] = Future()
    testified.set_result(seen(first))
    monkeypatch.setattr(straighten, "look", look)
    monkeypatch.setattr(straighten, "look_meanwhile", lambda strip, network: testified)
    tube: Any = SimpleNamespace(seen=None)
    steps: Any = None
    split = SplitTube(tube=tube, count=1, steps=steps, looking=Future())
    assert split.is_denied(200.0, 5.0) is denied
    assert bool(calls) is asked
    least = pytest.approx(max(min(first, second), 1e-4))
    assert split.witnessed(LevelKind.UNDER_GAS, 200.0, 5.0) == least
    assert split.witnessed(LevelKind.MERCURY, 200.0, 5.0) == 0.0
    assert split.is_denied(100.0, 5.0)
    assert len(calls) == 1  # once, however often it is needed


@pytest.mark.parametrize(("end_mm", "go_on"), [(40.0, True), (14.0, False)])
def test_lines_that_run_on_beside_the_board_are_seen(end_mm, go_on):
    """Of the board 18 mm are looked at to the right of the lines' beginning."""
    camera = Camera(width=1200)
    drawn = Column(spine=0.0, side="left", lengths=(end_mm,) * 3)
    found = Column(spine=0.0, side="left", lengths=(6.0,) * 3)
    scale: Any = SimpleNamespace(map=fitted(camera, (found,)), combs=(found.comb(camera),))
    across = np.linspace(-6.0, 18.0, 25)
    grid = SimpleNamespace(across=across, across_at=lambda column: float(across[column]))
    view: Any = SimpleNamespace(upright=working_image(photograph(camera, print_of(drawn))))
    board: Any = SimpleNamespace(grid=grid)
    assert lines_go_on(view, scale, board, 6.0) is go_on
