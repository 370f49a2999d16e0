"""Place against index: perspective and lens are followed, strays are not."""

from __future__ import annotations

import numpy as np

from limbsight.vision.projective_fit import fit_projective, index_at, position_at

INDEX = np.arange(-20, 61)
S = (INDEX - 20.0) / 40.0
PLACE_PX = (400.0 - 300.0 * S + 2.0 * S**3) / (1.0 + 0.2 * S)


def test_it_follows_perspective_and_lens_and_goes_both_ways():
    fit = fit_projective(INDEX, PLACE_PX)
    assert fit is not None
    np.testing.assert_allclose(position_at(fit, INDEX), PLACE_PX, atol=0.02)
    np.testing.assert_allclose(index_at(fit, PLACE_PX), INDEX, atol=0.01)


def test_a_stray_does_not_pull():
    off = PLACE_PX.copy()
    off[30] += 3.0
    fit = fit_projective(INDEX, off)
    assert fit is not None
    np.testing.assert_allclose(position_at(fit, INDEX), PLACE_PX, atol=0.1)


def test_what_grows_downward_or_stands_still_is_no_scale():
    assert fit_projective(INDEX, -PLACE_PX) is None
    assert fit_projective(np.zeros(10, np.int64), np.arange(10.0)) is None
