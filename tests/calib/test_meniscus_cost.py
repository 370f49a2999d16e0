"""Costs and noise of fitted profiles against what they were made with."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_cost import (
    best_coordinates,
    costs_at_shifts,
    inflation_of,
    misfit_of,
    noise_of,
    robust_cost,
    without_waves,
)

ROWS, SIGMA = 400, np.array([0.02, 0.03, 0.01])


def noisy(seed=0):
    return np.random.default_rng(seed).standard_normal((ROWS, 3))


def test_noise_is_told_from_a_smooth_profile_with_an_edge():
    smooth = (
        np.linspace(0.2, 0.7, ROWS)[:, None]
        + np.where(np.arange(ROWS) < 90, 0.0, 0.3)[:, None]
    )
    assert noise_of(smooth + SIGMA * noisy()) == pytest.approx(SIGMA, rel=0.15)


def test_independent_residuals_are_worth_what_they_are():
    assert inflation_of(noisy()) == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize("alike", [2, 4])
def test_neighbours_that_say_the_same_are_worth_less(alike):
    residual = np.repeat(noisy()[: ROWS // alike], alike, axis=0)
    assert inflation_of(residual) > 0.6 * alike


def test_channels_that_say_the_same_are_worth_less():
    residual = np.repeat(noisy()[:, :1], 3, axis=1)
    assert inflation_of(residual) == pytest.approx(3.0, rel=0.3)


def test_robust_cost_is_a_square_near_zero_and_hardly_grows_far_away():
    assert robust_cost(np.array([0.1])) == pytest.approx(0.01, rel=1e-3)
    assert robust_cost(np.array([100.0])) - robust_cost(np.array([50.0])) < 25.0


def test_best_coordinates_and_shift_are_those_of_the_profile():
    rows = np.arange(ROWS + 20.0)
    columns = np.exp(-0.5 * ((rows - 200.0) / 3.0) ** 2)
    shown = np.tile(np.stack([np.full(ROWS + 20, 0.1), columns], axis=1), (3, 1, 1))
    # Shift k shows the rows from 20 - k on.
    data = 0.1 + np.array([0.5, 0.4, 0.3]) * columns[13 : 13 + ROWS, None] + 0.01 * noisy()
    costs = costs_at_shifts(shown, data, np.full(3, 0.01))
    assert int(costs.argmin()) == 7
    z = best_coordinates(shown[:, 13 : 13 + ROWS], data, np.full(3, 0.01))
    assert z[:, 0] == pytest.approx([0.5, 0.4, 0.3], abs=0.02)


def test_misfit_is_of_the_worst_channel_beyond_the_noise():
    data = np.linspace(0.0, 1.0, ROWS)[:, None] * np.ones(3)
    residual = 0.01 * noisy()
    residual[:, 1] += 0.1 * np.sign(noisy(1)[:, 1])
    misfit = misfit_of(residual, data, np.full(3, 0.01), np.ones(ROWS, dtype=bool))
    assert misfit == pytest.approx(0.1, rel=0.05)


def test_waves_are_taken_out_and_nothing_else():
    turn = 2.0 * np.pi * np.arange(ROWS) / 12.5
    waves = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    step = np.where(np.arange(ROWS) < 200, 0.3, 0.6)[:, None] * np.ones(3)
    left = without_waves(waves, step + 0.2 * waves[:, :1])
    assert left == pytest.approx(step, abs=0.02)
    assert without_waves(waves[:, :0], step) is step
