"""Medians and quantiles over few values at many places, against NumPy's."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.vision.quantiles import (
    least_of,
    median_of_bytes,
    median_of_row,
    quantile_of_few,
    running_median,
)

RNG = np.random.default_rng(7)


@pytest.mark.parametrize("count", [1, 2, 5, 19, 300])
def test_median_of_bytes_is_numpys(count: int) -> None:
    values = RNG.integers(0, 256, (4, count, 6, 3)).astype(np.uint8)
    assert np.array_equal(median_of_bytes(values, axis=1), np.median(values, axis=1))


def test_median_of_bytes_at_both_ends_of_the_range() -> None:
    values = np.array([[0, 255, 255], [0, 255, 0], [0, 255, 255]], np.uint8)
    assert median_of_bytes(values, axis=0).tolist() == [0.0, 255.0, 255.0]


@pytest.mark.parametrize("k", [0, 2, 6])
def test_least_of_is_the_ranked_layer(k: int) -> None:
    layers = RNG.random((7, 5, 4))
    assert np.array_equal(least_of(list(layers), k), np.sort(layers, axis=0)[k])


@pytest.mark.parametrize("count", [1, 8, 9])
def test_median_of_row_is_numpys(count: int) -> None:
    values = RNG.random(count)
    assert median_of_row(values) == pytest.approx(float(np.median(values)))


@pytest.mark.parametrize("share", [0.0, 0.35, 0.5, 1.0])
def test_quantile_of_few_is_numpys(share: float) -> None:
    values = RNG.random((5, 7))
    assert quantile_of_few(values, share, axis=1) == pytest.approx(
        np.quantile(values, share, axis=1)
    )


def test_running_median_repeats_the_ends() -> None:
    values = np.array([[9.0], [1.0], [5.0], [2.0], [7.0]])
    assert running_median(values, 3)[:, 0].tolist() == [9.0, 5.0, 2.0, 5.0, 7.0]
