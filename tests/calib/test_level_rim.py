"""Levels of mercury by the rim of their dome, with fits and without."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.level_rim import apex_by_rim, borne_out_by_rim, rim_seen
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.rim import Rim, apex_from_rim
from tests.helpers.levels import apex, lone, mercury

RIM_ROW = 75.0


def rim_of(here: LevelStrip) -> Rim:
    rim = rim_seen(here, RIM_ROW)
    assert rim is not None
    return rim


def with_fits(here: LevelStrip, rim: Rim) -> FoundApex:
    found = apex_by_rim(here, rim, alone=False)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def seen():
    here = mercury(6)
    return here, rim_of(here)


def fits_at(monkeypatch, offsets_px, **changed):
    """Every fit sees the apex so far above the row it was begun in, band after band."""
    begun = []

    def fit(_, row, reach, band, **__):
        begun.append((row, reach, band))
        offset = offsets_px[(len(begun) - 1) % len(offsets_px)]
        return lone(offset, **changed) if offset is not None else apex(0.0, ok=False)

    monkeypatch.setattr(LevelStrip, "fit", fit)
    return begun


class TestSeen:
    def test_where_it_is_drawn(self, seen):
        """Between the last row of the dome and the first of the column."""
        _, rim = seen
        assert rim.row == pytest.approx(RIM_ROW - 0.5, abs=0.7)

    def test_glare_in_the_column_leaves_it_where_it_is(self, seen):
        here = mercury(6, burnt=slice(16, 24))
        here.strip[75:, here.burnt] = 1.0
        assert rim_of(here).row == pytest.approx(seen[1].row, abs=0.7)

    def test_columns_next_to_glare_count_where_no_others_are_left(self):
        """Rims of glare, two columns wide here, may cover all that is clear of it."""
        here = mercury(6)
        here.burnt[::4] = True
        here.strip[75:, here.burnt] = 1.0
        assert rim_of(here).row == pytest.approx(RIM_ROW - 0.5, abs=0.7)

    def test_a_column_without_an_end_has_none(self):
        here = mercury(0)
        here.strip[:] = here.strip[-1]
        assert rim_seen(here, RIM_ROW) is None


class TestWithFits:
    def test_they_begin_where_the_rim_puts_the_apex(self, seen, monkeypatch):
        here, rim = seen
        begun = fits_at(monkeypatch, [0.0])
        row, fit = apex_from_rim(rim, here.view(rim.row), here.interface)
        with_fits(here, rim)
        assert len(begun) == 3  # on the axis, left and right
        assert {start for start, _, _ in begun} == {row}
        # two standard uncertainties, JCGM 100:2008, 6.3.3
        assert {reach for _, reach, _ in begun} == {max(2 * fit.u_px, 2.0)}

    def test_the_mean_lies_between_rim_and_fits(self, seen, monkeypatch):
        here, rim = seen
        fits_at(monkeypatch, [1.0])
        row, _ = apex_from_rim(rim, here.view(rim.row), here.interface)
        found = with_fits(here, rim)
        assert row - 1.0 < found.apex_row < row
        # what the columns say by themselves is what the fits said
        assert found.own_row == pytest.approx(row - 1.0)

    def test_fits_that_are_surer_count_more(self, seen, monkeypatch):
        here, rim = seen
        fits_at(monkeypatch, [1.0], u_components_px={"tone": 0.01, "ambiguity": 0.0},
                u_model_px=0.01)  # fmt: skip
        row, _ = apex_from_rim(rim, here.view(rim.row), here.interface)
        assert with_fits(here, rim).apex_row == pytest.approx(row - 1.0, abs=0.01)

    def test_what_they_differ_by_is_in_the_interval(self, seen, monkeypatch):
        here, rim = seen
        fits_at(monkeypatch, [0.0])
        agreed = with_fits(here, rim).fit
        fits_at(monkeypatch, [3.0])
        apart = with_fits(here, rim).fit
        assert apart.u_components_px["room"] > agreed.u_components_px["room"] + 0.5
        assert apart.u_px > agreed.u_px

    def test_one_that_sees_no_meniscus_does_not_count(self, seen, monkeypatch):
        here, rim = seen
        fits_at(monkeypatch, [None, 1.0, 1.0])
        found = with_fits(here, rim)
        assert found.fit.ok
        assert found.band.off(here.axis) > 0.0  # beside the axis
        row, _ = apex_from_rim(rim, here.view(rim.row), here.interface)
        assert found.own_row == pytest.approx(row - 1.0)

    def test_bands_in_glare_are_not_fitted(self, monkeypatch):
        here = mercury(6)
        rim = rim_of(here)
        right = here.side(1).columns
        here.burnt[right[-1] :] = True
        begun = fits_at(monkeypatch, [0.0])
        with_fits(here, rim)
        assert right.tolist() not in [band.columns.tolist() for _, _, band in begun]
        assert begun


class TestWithout:
    @pytest.mark.parametrize("alone", [True, False])
    def test_the_rim_stands_alone_where_it_may(self, seen, monkeypatch, alone):
        here, rim = seen
        fits_at(monkeypatch, [None])
        found = apex_by_rim(here, rim, alone=alone)
        if not alone:
            assert found is None
            return
        assert found is not None
        row, _ = apex_from_rim(rim, here.view(rim.row), here.interface)
        assert found.apex_row == row
        assert found.fit.ok
        assert found.clear_of_glare

    def test_under_glare_from_wall_to_wall_nothing_is_fitted(self, seen, monkeypatch):
        here, rim = seen
        dark = replace(here, burnt=np.ones_like(here.burnt))
        begun = fits_at(monkeypatch, [0.0])
        assert apex_by_rim(dark, rim, alone=False) is None
        assert begun == []


class TestBorneOut:
    def test_it_is_drawn_to_the_rim_and_remembers_by_how_much(self, seen):
        here, rim = seen
        row, of_rim = apex_from_rim(rim, here.view(rim.row), here.interface)
        before = FoundApex(row=row - 4.0, fit=lone(0.5), band=here.on_axis, moved_px=0.25)
        found = borne_out_by_rim(here, rim, before)
        assert before.apex_row < found.apex_row < row
        assert found.own_row == pytest.approx(before.own_row)
        # weighted mean of two places, by their uncertainties' squares
        u_fit, u_rim = before.fit.u_px, of_rim.u_px
        share = u_fit**-2 / (u_fit**-2 + u_rim**-2)
        assert found.apex_row == pytest.approx(share * before.apex_row + (1 - share) * row)

    def test_where_both_agree_nothing_moves(self, seen):
        here, rim = seen
        row, _ = apex_from_rim(rim, here.view(rim.row), here.interface)
        before = FoundApex(row=row, fit=lone(0.0), band=here.on_axis)
        found = borne_out_by_rim(here, rim, before)
        assert found.apex_row == pytest.approx(row)
        assert math.isclose(found.moved_px, 0.0, abs_tol=1e-12)
