"""Brightness factors: how many there are, and what is supposed of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.calib.meniscus_factors import BANDS, KNOTS, factor_priors, harmonics, is_uneven
from tests.helpers.menisci import AIR, CASES, MERCURY, OIL, WATER
from tests.helpers.menisci import surroundings as around

CASE = CASES["water"]
VIEW = CASE[0]


def lined(pitch_px):
    return replace(VIEW, line_pitch_m=pitch_px / VIEW.px_per_m)


class TestHarmonics:
    def test_none_without_lines(self):
        assert harmonics(VIEW) == 0

    @given(st.floats(0.1, 200.0))
    def test_none_is_shorter_than_two_pixels(self, pitch_px):
        """Sampling theorem."""
        count = harmonics(lined(pitch_px))
        assert 0 <= count <= 3
        assert count == 0 or pitch_px / count >= 2.0 * (1 - 1e-9)

    @pytest.mark.parametrize(("pitch_px", "count"), [(1.9, 0), (3.0, 1), (5.0, 2), (50.0, 3)])
    def test_as_many_as_the_picture_can_hold(self, pitch_px, count):
        assert harmonics(lined(pitch_px)) == count


FLUIDS = {
    "water": (WATER, AIR),
    "two liquids": (WATER, OIL),
    "mercury": (MERCURY, AIR),
    "mercury under water": (MERCURY, WATER),
}


@pytest.mark.parametrize("fluids", FLUIDS)
@pytest.mark.parametrize("pitch_px", [0.0, 12.0])
class TestPriors:
    def priors(self, fluids, pitch_px):
        below, above = FLUIDS[fluids]
        return factor_priors(around(CASE, view=lined(pitch_px), below=below, above=above))

    def test_they_are_a_distribution(self, fluids, pitch_px):
        mean, precision = self.priors(fluids, pitch_px)
        assert precision.shape == (len(mean), len(mean))
        assert precision == pytest.approx(precision.T)
        assert np.linalg.eigvalsh(precision).min() > 0.0

    def test_light_is_supposed_even_and_lines_unknown(self, fluids, pitch_px):
        mean, precision = self.priors(fluids, pitch_px)
        assert mean[:BANDS] == pytest.approx(1.0)
        waves = 2 * harmonics(lined(pitch_px))
        if waves:
            assert mean[-waves:] == pytest.approx(0.0)
            # of either phase alike
            own = precision[-waves:, -waves:]
            assert own == pytest.approx(own[0, 0] * np.eye(waves))

    def test_the_boards_unevenness_is_where_it_is_said_to_be(self, fluids, pitch_px):
        mean, precision = self.priors(fluids, pitch_px)
        uneven = is_uneven(len(mean))
        assert uneven.sum() == len(KNOTS)
        assert mean[uneven] == pytest.approx(0.0)
        # it is a block of its own, in which neighbours hang together
        assert not precision[np.ix_(uneven, ~uneven)].any()
        assert (np.diag(precision[uneven][:, uneven], 1) < 0.0).all()

    def test_a_board_changes_slowly(self, fluids, pitch_px):
        """As much light too much everywhere is likelier than by turns too much, too little."""
        mean, precision = self.priors(fluids, pitch_px)
        uneven = is_uneven(len(mean))
        own = precision[np.ix_(uneven, uneven)]
        even, jagged = np.ones(len(KNOTS)), (-1.0) ** np.arange(len(KNOTS))
        assert even @ own @ even < 0.2 * (jagged @ own @ jagged)
