"""What counts as glare about a level, what as a cover, what its dark line says, and where a
tube's axis is looked for."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from limbsight import read_limb
from limbsight.calib.instrument_file import parse_instrument
from limbsight.calib.meniscus import AS_SEEN, NOT_SEEN, UNLIKE_MODEL
from limbsight.calib.meniscus_outcome import MISFIT_LIMIT, SPOILT
from limbsight.knowledge import knowledge_of
from limbsight.level_kinds import LevelKind
from limbsight.read_limb import (
    BORNE_OUT,
    _covered_away_from,
    _doubted_as_mercury,
    _glare_reasons,
    _is_missing,
    _meniscus_reasons,
)
from limbsight.vision.axis import Axis
from limbsight.vision.dark_line import DarkLine
from limbsight.vision.layers import Interface, Layers
from tests.helpers.instrument_files import BENCH
from tests.helpers.levels import lone
from tests.helpers.tube_views import view_with

GAS, LIQUID, MERCURY = LevelKind.UNDER_GAS, LevelKind.UNDER_LIQUID, LevelKind.MERCURY


@pytest.mark.parametrize(
    ("stated", "seen", "again", "from_picture", "doubted"),
    [
        ("mercury", MERCURY, GAS, False, False),
        ("mercury", GAS, MERCURY, False, True),
        ("mercury", LIQUID, MERCURY, False, True),
        ("water", GAS, GAS, False, False),
        ("water", MERCURY, GAS, False, True),
        ("mercury", MERCURY, MERCURY, True, False),
        ("mercury", MERCURY, GAS, True, True),
        ("water", GAS, GAS, True, False),
    ],
)
def test_a_level_that_looks_like_mercury_and_is_none_is_doubted_and_the_reverse(
    stated, seen, again, from_picture, doubted
):
    """Where no file states the liquid both networks have to see it."""
    level = Interface(row=300.0, step=1.0, apex_row=301.0)
    layers = Layers(
        interfaces=(level,), hidden=(), hidden_change=None, rival=None, visible=(0, 399)
    )
    known = knowledge_of(parse_instrument(BENCH + f'manometric = "{stated}"'))
    first, second = (view_with((150, 0.6, kind)) for kind in (seen, again))
    split: Any = SimpleNamespace(network=first, seen_by_both=first.pooled(second))
    known = replace(known, fillings_seen=from_picture)
    assert _doubted_as_mercury(layers, split, known, "left").doubted == doubted


@pytest.mark.parametrize(
    ("cover", "rows"),
    [
        ((5.0, 20.0), range(5, 21)),
        ((-8.0, 20.0), range(21)),
        ((75.0, 130.0), range(75, 100)),
        ((5.0, 45.0), ()),
        ((40.0, 60.0), ()),
        ((130.0, 140.0), ()),
        ((-20.0, -10.0), ()),
    ],
)
def test_a_cover_that_ends_at_the_level_may_be_a_flash(cover, rows):
    covered = _covered_away_from(50.0, 20.0, [cover], 100)
    assert np.flatnonzero(covered).tolist() == list(rows)


@pytest.mark.parametrize(
    ("darkness", "shine", "missing"),
    [(0.05, 0.6, True), (0.12, 0.6, True), (0.3, 0.6, False), (0.12, 0.05, False)],
)
def test_only_at_a_nearly_black_liquid_may_the_dark_line_be_faint(darkness, shine, missing):
    line = DarkLine(darkness=darkness, shine=shine, above_bores=0.1)
    assert _is_missing(line, glare=False) == missing


@pytest.mark.parametrize(("darkness", "missing"), [(0.14, True), (0.31, False)])
def test_beside_glare_the_dark_line_must_be_plain(darkness, missing):
    line = DarkLine(darkness=darkness, shine=0.1, above_bores=0.1)
    assert _is_missing(line, glare=True) == missing


@pytest.mark.parametrize(
    ("why", "misfit", "codes"),
    [
        (NOT_SEEN, 0.9 * SPOILT * MISFIT_LIMIT, []),
        (NOT_SEEN, 1.1 * SPOILT * MISFIT_LIMIT, ["level_unlike_meniscus"]),
        (UNLIKE_MODEL, 1.1 * MISFIT_LIMIT, ["level_unlike_meniscus"]),
    ],
)
def test_a_dark_line_excuses_a_profile_that_shows_nothing(monkeypatch, why, misfit, codes):
    """Not one that a meniscus explains, but not well: its place is not to be trusted."""
    monkeypatch.setattr(read_limb, "_lines_about", lambda *_: lambda bores: None)
    monkeypatch.setattr(read_limb, "stands_out", lambda line_at: True)
    level: Any = SimpleNamespace(
        apex=lone(0.0, ok=False, reason=why, misfit=misfit), clear_of_glare=None
    )
    known: Any = SimpleNamespace(
        optics=lambda limb, k: SimpleNamespace(opaque_mirror=False),
        is_between_liquids=lambda limb, k: False,
    )
    near: Any = [None]
    split: Any = SimpleNamespace(tube=None)
    found = _meniscus_reasons(near, (level,), known, "left", None, split)
    assert [doubt.code for doubt in found] == codes


@pytest.mark.parametrize("witnessed", [BORNE_OUT, 0.99 * BORNE_OUT])
@pytest.mark.parametrize("reason", ["", AS_SEEN, UNLIKE_MODEL])
def test_witnesses_excuse_a_missing_line_but_no_fit_that_explains_too_little(
    monkeypatch, witnessed, reason
):
    faint = DarkLine(darkness=0.0, above_bores=0.0, shine=0.6)
    monkeypatch.setattr(read_limb, "_lines_about", lambda *_: lambda bores: faint)
    monkeypatch.setattr(read_limb, "_line_stands_out", lambda *_: False)
    level: Any = SimpleNamespace(
        apex=lone(0.0, ok=not reason, reason=reason, misfit=0.0),
        clear_of_glare=None,
        height=1.0,
    )
    known: Any = SimpleNamespace(
        optics=lambda limb, k: SimpleNamespace(opaque_mirror=False),
        is_between_liquids=lambda limb, k: False,
    )
    near: Any = [None]
    split = split_with(witnessed)
    found = _meniscus_reasons(near, (level,), known, "left", None, split)
    excused = witnessed >= BORNE_OUT and reason != UNLIKE_MODEL
    assert ("level_unlike_meniscus" in [doubt.code for doubt in found]) is not excused


@pytest.mark.parametrize("witnessed", [BORNE_OUT, 0.99 * BORNE_OUT])
def test_witnesses_excuse_glare(monkeypatch, witnessed):
    known = knowledge_of(parse_instrument(BENCH + 'manometric = "water"'))
    grid: Any = SimpleNamespace(
        across=np.zeros(41),
        step=known.tube.bore_radius_m / known.unit_m,
        row_at=lambda h: 50.0,
    )
    near: Any = SimpleNamespace(
        grid=grid, uncovered=np.zeros((100, 41, 3), np.float32), bore_rows=lambda known: 20.0
    )
    level: Any = SimpleNamespace(clear_of_glare=False, height=1.0)
    found = _glare_reasons([near], (level,), known, "left", split_with(witnessed))
    assert [doubt.code for doubt in found] == ["glare_on_level"][: witnessed < BORNE_OUT]


def split_with(witnessed: float) -> Any:
    """A tube whose witnesses give a level under gas at row 50 so much."""

    def likelihood(kind: LevelKind, row: float, reach: float) -> float:
        return witnessed if (kind, row) == (GAS, 50.0) else 0.0

    tube = SimpleNamespace(
        clean=SimpleNamespace(bore_columns=20.0),
        grid=SimpleNamespace(row_at=lambda height: 50.0),
    )
    return SimpleNamespace(tube=tube, witnessed=likelihood)


@pytest.mark.parametrize(("lined", "codes"), [(True, []), (False, ["level_unlike_meniscus"])])
def test_lines_of_the_board_hide_no_dark_line(monkeypatch, lined, codes):
    """They may be as dark; it stands out in the strip that they are taken out of."""
    asked = iter([False, True])
    monkeypatch.setattr(read_limb, "_lines_about", lambda *_: lambda bores: None)
    monkeypatch.setattr(read_limb, "stands_out", lambda line_at: next(asked))
    level: Any = SimpleNamespace(
        apex=lone(0.0, ok=False, reason=NOT_SEEN, misfit=0.0), clear_of_glare=None, height=1.0
    )
    known: Any = SimpleNamespace(
        optics=lambda limb, k: SimpleNamespace(opaque_mirror=False),
        is_between_liquids=lambda limb, k: False,
    )
    tube: Any = SimpleNamespace(
        clean=SimpleNamespace(lined=lined, bore_columns=20.0),
        grid=SimpleNamespace(row_at=lambda height: 50.0),
    )
    near: Any = [None]
    split: Any = SimpleNamespace(tube=tube)
    found = _meniscus_reasons(near, (level,), known, "left", None, split)
    assert [doubt.code for doubt in found] == codes


@pytest.mark.parametrize(
    ("shifts", "looks", "moved"),
    [
        ([0.2], 0, 0.0),
        ([2.0], 1, 2.0),
        ([4.0, 0.2], 1, 4.0),
        ([4.0, 6.0, 2.0], 3, 12.0),
        ([6.0, -6.0] * 4, 4, 0.0),
    ],
    ids=["on it", "near", "far", "farther than seen", "to and fro"],
)
def test_a_tube_far_from_its_strip_is_looked_at_again(monkeypatch, shifts, looks, moved):
    strip = SimpleNamespace(width_columns=30.0, bore_columns=20.0)
    layers = SimpleNamespace(interfaces=())
    split: Any = SimpleNamespace(
        tube=SimpleNamespace(clean=strip, grid=SimpleNamespace(step=0.5)),
        layers=layers,
        network=None,
        count=1,
    )
    found = iter(shifts)
    monkeypatch.setattr(
        read_limb,
        "find_axis",
        lambda *_: Axis(shift_columns=next(found), u_columns=0.5, contrast=100.0),
    )
    places = []

    def split_along(*arguments: Any) -> Any:
        places.append(arguments[1])
        return split

    monkeypatch.setattr(read_limb, "split_along", split_along)
    monkeypatch.setattr(read_limb, "at_cover_seen_before", lambda after, *_: after)
    nothing: Any = None
    across, *_ = read_limb._about_axis(nothing, 10.0, split)
    assert across == pytest.approx(10.0 + 0.5 * moved)
    assert len(places) == looks
