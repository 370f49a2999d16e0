"""Beer and Lambert in the fluids, and the light that comes to the board through a tube."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.calib.meniscus_light import BOARD_NODES, Shading, light_paths, shading_of
from limbsight.calib.meniscus_optics import BACK, Paths
from tests.helpers.menisci import CASES, MERCURY, OIL, WHITE
from tests.helpers.menisci import physics_supposed as supposed
from tests.helpers.menisci import surroundings as around

SHARE = st.floats(0.02, 1.0)
FIRST = np.zeros(1, dtype=np.int64)


def path(**changed):
    """A single path, none of it in a fluid."""
    zero = np.zeros(1)
    parts = {name: zero for name in Paths.__slots__} | {
        name: np.array([float(value)]) for name, value in changed.items()
    }
    whole = {name: FIRST for name in ("ray", "end")}
    return Paths(**parts | whole)


def stained(below, above=(1.0, 1.0, 1.0), skin=0.0):
    """One way of shading, by what a full chord lets through."""
    return Shading(
        skin_below=np.array([skin]),
        skin_above=np.array([skin]),
        log_below=np.log([below]),
        log_above=np.log([above]),
        board=np.ones((1, len(BOARD_NODES), 3, 1)),
    )


class TestTransmittance:
    @given(st.tuples(SHARE, SHARE, SHARE), st.floats(0.0, 1.0), st.floats(1.5, 3.0))
    def test_a_full_chord_is_the_plateau_wherever_the_colour_sits(self, colour, skin, chord):
        straight = path(below=chord, below_walls=1.0)
        found = stained(colour, skin=skin).transmittance(straight, chord, FIRST)
        assert found[0] == pytest.approx(colour)

    @given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
    def test_lengths_add_as_exponents(self, one, other):
        shade = stained((0.1, 0.3, 0.9))
        first, second, both = (
            shade.transmittance(path(below=length), 2.0, FIRST)
            for length in (one, other, one + other)
        )
        assert both == pytest.approx(first * second)

    def test_a_stain_on_the_glass_takes_as_much_however_short_the_way(self):
        shade = stained((0.1, 0.3, 0.9), skin=1.0)
        short, long = (
            shade.transmittance(path(below=length, below_walls=0.5), 2.0, FIRST)
            for length in (0.1, 1.9)
        )
        assert short == pytest.approx(long)
        # one wall of two
        assert short[0] == pytest.approx(np.sqrt([0.1, 0.3, 0.9]))

    def test_each_fluid_takes_its_own_part(self):
        shade = stained((0.25, 1.0, 1.0), above=(1.0, 0.25, 1.0))
        found = shade.transmittance(path(below=1.0, above=1.0), 2.0, FIRST)
        assert found[0] == pytest.approx([0.5, 0.5, 1.0])

    def test_variants_side_by_side(self):
        two = replace(
            stained((0.25, 0.25, 0.25)),
            skin_below=np.array([0.0, 1.0]),
            skin_above=np.zeros(2),
            log_below=np.log([[0.25] * 3] * 2),
            log_above=np.zeros((2, 3)),
        )
        both = two.transmittance(path(below=1.0), 2.0, np.arange(2)[:, None])
        assert both[:, 0, 0] == pytest.approx([0.5, 1.0])


@pytest.fixture(scope="module")
def light():
    case = CASES["water"]
    return light_paths(around(case), supposed(case))


class TestBoard:
    @settings(deadline=None)
    @given(st.tuples(SHARE, SHARE, SHARE), st.floats(0.0, 0.95))
    def test_plateaus_are_parted_into_board_and_liquid(self, light, once, lit):
        """What one passage lets through, from board * (1 - f + f t) * t."""
        t = np.array(once)
        plateau = WHITE * (1 - lit + lit * t) * t
        case = CASES["water"]
        place = around(case, below_colour=plateau)
        shade = shading_of(place, [supposed(case, lit_through=lit)], light)
        wanted = np.clip(plateau / WHITE, 1e-3, 1.0)
        found = np.exp(shade.log_below[0])
        assert found * (1 - lit + lit * found) == pytest.approx(wanted)
        assert shade.log_above[0] == pytest.approx(0.0, abs=1e-9)

    def test_behind_the_upper_plateau_it_has_the_plateaus_light(self, light):
        case = CASES["water"]
        ways = [
            supposed(case, lit_through=f, skin_below=s) for f in (0.0, 0.5) for s in (0, 1)
        ]
        shade = shading_of(around(case), ways, light)
        assert shade.board[:, -1].sum(axis=2) == pytest.approx(np.tile(WHITE, (4, 1)))

    def test_lit_past_the_tube_alone_it_is_even(self, light):
        case = CASES["water"]
        shade = shading_of(around(case), [supposed(case, lit_through=0.0)], light)
        assert shade.board[..., 1:] == pytest.approx(0.0)
        assert shade.board[0, :, :, 0] == pytest.approx(np.tile(WHITE, (len(BOARD_NODES), 1)))

    def test_lit_through_blue_water_it_is_blue_below(self, light):
        case = CASES["water"]
        shade = shading_of(around(case), [supposed(case, lit_through=0.9)], light)
        lowest, highest = shade.board[0, 0].sum(axis=1), shade.board[0, -1].sum(axis=1)
        red, blue = lowest[0] / highest[0], lowest[2] / highest[2]
        assert red < 0.5 < blue < 1.0

    def test_mercury_takes_no_part_of_the_board(self):
        case = CASES["mercury"]
        physics = supposed(case)
        shade = shading_of(around(case), [physics], light_paths(around(case), physics))
        assert not shade.log_below.any()
        assert np.isfinite(shade.board).all()

    def test_two_liquids_share_what_is_lost_against_the_brightest(self):
        case = CASES["water"]
        place = around(case, above=OIL, above_colour=np.array([0.6, 0.3, 0.6]))
        physics = supposed(case, above_index=1.455, lit_through=0.0)
        shade = shading_of(place, [physics], light_paths(place, physics))
        assert np.exp(shade.log_above[0]) == pytest.approx([1.0, 0.5, 1.0])
        assert np.exp(shade.log_below[0]) == pytest.approx(np.array([0.05, 0.15, 0.5]) / 0.6)


class TestPaths:
    def test_light_is_not_made_on_the_way(self, light):
        total = np.bincount(light.ray, light.weight)
        assert (total <= 1.0 + 1e-9).all()

    def test_above_a_level_it_comes_through_and_behind_mercury_none(self):
        case = CASES["mercury"]
        paths = light_paths(around(case), supposed(case))
        rays = int(paths.ray[-1]) + 1
        node = paths.ray // (rays // len(BOARD_NODES))
        through = np.bincount(node, paths.weight * (paths.end == BACK))
        assert through[0] == 0.0
        assert through[-1] > 0.9 * rays / len(BOARD_NODES)

    def test_a_camera_does_not_change_it(self):
        """One instrument's levels share it: elevation and light are the picture's."""
        case = CASES["water"]
        physics = supposed(case)
        high = replace(physics, elevation_rad=0.3, lit_through=0.2, skin_below=0.9)
        assert light_paths(around(case), physics) is light_paths(around(case), high)

    def test_mercury_and_water_are_traced_apart(self):
        case = CASES["water"]
        physics = supposed(case)
        other = around(case, below=MERCURY)
        assert light_paths(around(case), physics) is not light_paths(other, physics)
