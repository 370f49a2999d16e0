"""Fits of one apex held against each other: means, rivals, one level or two."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.level_fits import agree, mean_of, mean_of_all, same_level, settled
from tests.helpers.levels import ambiguous, apex, lone


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (apex(0.4), True),
        (apex(0.8), False),
        (apex(0.1, ok=False), False),
        (ambiguous(0.4), True),
        (ambiguous(0.8), False),
        (replace(apex(0.1, ok=False), reason="apex_outside_search"), False),
    ],
)
def test_glare_leaves_a_level_that_columns_beside_it_show(other, same):
    assert same_level(apex(7.0), other, 0.1) is same


def test_rivals_fall_when_both_sides_confirm():
    fit = settled(ambiguous(2.0), [apex(0.25), apex(-0.1)])
    assert (fit.ok, fit.reason, fit.position_px) == (True, "", 2.0)
    assert fit.u_components_px["ambiguity"] == pytest.approx(0.25)
    assert fit.u_model_px == pytest.approx(np.hypot(0.2, 0.25))


@pytest.mark.parametrize("aside", [apex(0.8), apex(-2.9), apex(np.nan), ambiguous(0.1)])
def test_rivals_stay_when_one_side_differs_or_has_some(aside):
    doubted = ambiguous(2.0)
    assert settled(doubted, [apex(0.1), aside]) == doubted


def test_fits_beside_the_axis_of_a_mirror_have_their_say():
    fit = mean_of(lone(4.0), [lone(0.6), lone(-0.3)])
    assert fit.position_px == pytest.approx(4.1)
    assert fit.u_components_px["room"] == pytest.approx(np.std([0, 0.6, -0.3]) / np.sqrt(2))
    assert fit.u_components_px["tone"] == pytest.approx(0.2)
    assert (fit.ok, fit.reason) == (True, "")


def test_a_doubtful_fit_beside_the_axis_counts_a_quarter():
    doubtful = lone(1.0, ok=False, reason="meniscus_not_seen")
    assert mean_of(lone(4.0), [doubtful]).position_px == pytest.approx(4.2)


@pytest.mark.parametrize(
    ("right", "alike"),
    [
        (lone(0.5), True),
        (lone(0.6), False),
        (lone(0.0, ok=False, reason="meniscus_not_seen"), False),
    ],
)
def test_both_sides_of_a_mirror_must_show_one_level(right, alike):
    assert agree(lone(0.0), right) is alike
    assert agree(right, lone(0.0)) is alike


def test_rivals_of_a_mirror_stay_where_all_fits_have_them():
    alone = mean_of(ambiguous(2.0), [ambiguous(0.2), ambiguous(-0.1)])
    assert (alone.ok, alone.reason) == (False, "level_ambiguous")
    told = mean_of(ambiguous(2.0), [lone(0.2), lone(-0.1)])
    assert told.ok
    assert told.u_components_px["ambiguity"] < 0.05


def test_the_mean_of_fits_counts_from_their_row():
    fits = [lone(3.0), lone(5.0)]
    assert mean_of_all(fits).position_px == pytest.approx(4.0)
    assert mean_of_all(fits[:1]) is fits[0]
