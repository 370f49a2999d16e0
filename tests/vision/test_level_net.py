"""The network's places against tubes drawn flat, and against tubes drawn by ray optics.

The flat ones look like nothing it was trained on; the others are of seeds that the training
never draws (it begins at 20000).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit, logit

from limbsight.level_kinds import LevelKind
from limbsight.vision.level_net import SECOND_WITNESS, WITNESS, TubeView, look, look_again
from limbsight.vision.tube_strip import TubeStrip
from sample_images.generator import cases, render
from sample_images.generator.strips import StripCamera
from tests.helpers.tube_views import view_with
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS, Cover, Tube

ROWS = (20, 380)
TUBE = Tube()
HALF_BORE = 0.5 * TUBE.bore


@pytest.mark.parametrize("level", [60.2, 210.3, 330.9])
@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
@pytest.mark.parametrize("noise", [0.0, 4.0])
def test_flat_tubes(level, filling, noise):
    strip = replace(TUBE, fillings=(filling, GLASS), levels=(level,)).strip(noise=noise)
    best, *rest = look(strip).places(ROWS)
    assert abs(best.row - level) < HALF_BORE
    # Near the end of the strip noise hides most of a clear one.
    faint = (level, filling, noise) == (60.2, CLEAR, 4.0)
    assert best.probability > (0.3 if faint else 0.5)
    assert all(other.probability < 0.1 for other in rest)


@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
def test_the_second_network_sees_them_too(filling):
    strip = replace(TUBE, fillings=(filling, GLASS)).strip(noise=2.0)
    (first, second) = (looks(strip).places(ROWS)[0] for looks in (look, look_again))
    assert abs(first.row - second.row) < HALF_BORE
    (both, *_) = look(strip).pooled(look_again(strip)).places(ROWS)
    assert both.probability <= max(first.probability, second.probability)
    assert both.probability >= 0.5 * max(first.probability, second.probability)


@pytest.mark.parametrize(
    "tube",
    [
        replace(TUBE, fillings=(BLUE_WATER,), levels=()),
        replace(TUBE, fillings=(GLASS,), levels=()),
        replace(TUBE, fillings=(GLASS,), levels=(), streak=(100, 250)),
        replace(TUBE, covers=(Cover(rows=(180, 240)),)),
    ],
)
def test_nothing_where_no_level_is_seen(tube):
    assert all(place.probability < 0.3 for place in look(tube.strip()).places(ROWS))


@pytest.mark.parametrize("size", [0.5, 1.0, 2.5])
def test_the_sampling_of_the_strip_does_not_matter(size):
    tube = replace(
        TUBE,
        rows=int(400 * size),
        columns=int(91 * size),
        width=30 * size,
        bore=21 * size,
        levels=(210.3 * size,),
    )
    best = look(tube.strip()).places((0, int(400 * size)))[0]
    assert abs(best.row - 210.3 * size) < HALF_BORE * size


@pytest.mark.parametrize("size", [0.5, 1.0, 2.5])
def test_every_row_has_the_probability_of_its_nearest_place(size):
    tube = replace(TUBE, rows=int(400 * size), columns=int(91 * size), width=30 * size)
    view = look(tube.strip())
    apart = view.rows[1] - view.rows[0]
    for row, level in zip(view.rows, view.level, strict=True):
        assert (
            view.at(row) == view.at(row + 0.45 * apart) == view.at(row - 0.45 * apart) == level
        )


def test_a_narrow_strip_is_continued():
    strip = TUBE.strip()
    narrow = replace(strip, bgr=np.ascontiguousarray(strip.bgr[:, 20:-20]))
    assert abs(look(narrow).places(ROWS)[0].row - 210.3) < HALF_BORE


def test_probabilities_sum_to_one():
    view = look(TUBE.strip())
    assert np.allclose(view.kinds.sum(axis=1), 1)
    assert np.allclose(view.states.sum(axis=1), 1)
    assert view.rows[0] >= -0.5
    assert view.rows[-1] < TUBE.rows


@given(st.floats(1e-4, 1 - 1e-4), st.floats(1e-4, 1 - 1e-4))
def test_two_views_are_pooled_by_the_mean_of_their_log_odds(one, other):
    """A published rule: the logarithmic opinion pool (Genest and Zidek, Combining Probability
    Distributions: A Critique and an Annotated Bibliography, Statistical Science 1 (1986)
    114-135: from memory), which for two outcomes is the mean of the log-odds."""
    views = [view_with((100, p, LevelKind.UNDER_GAS)) for p in (one, other)]
    pooled = views[0].pooled(views[1])
    expected = expit(0.5 * (logit(one) + logit(other)))
    assert pooled.at(200.0) == pytest.approx(expected, abs=2e-4)
    assert np.allclose(pooled.kinds.sum(axis=1), 1.0)
    assert np.allclose(pooled.kinds, views[1].pooled(views[0]).kinds)
    assert np.allclose(views[0].pooled(views[0]).kinds, views[0].kinds, atol=1e-5)


def test_what_two_views_say_of_covers_is_averaged():
    one, other = seen_states(covers=((0, 100),)), seen_states()
    assert one.pooled(other).covered(50.0, 1.0) == pytest.approx(0.45)


def test_places_keep_apart_and_within():
    rows = np.arange(0.0, 100.0, 2.0)
    level = np.exp(-0.5 * ((rows - 40) / 6) ** 2)
    view = TubeView(
        rows=rows,
        kinds=np.stack([1 - level, level, 0 * level, 0 * level], axis=1),
        states=np.full((50, 4), 0.25),
        apart=15.0,
    )
    places = view.places((0, 100))
    assert places[0].row == pytest.approx(40.0)
    assert all(abs(p.row - 40.0) >= 15.0 for p in places[1:])
    assert all(50 <= p.row <= 100 for p in view.places((50, 100)))
    assert view.near(43.0, 3.0) == pytest.approx(level[20])


def seen_states(*, covers: tuple[tuple[int, int], ...] = (), none_below: int = 400):
    """A tube of 400 rows, 24 of them an outside diameter, behind covers."""
    rows = np.arange(0.0, 400.0, 2.0)
    states = np.tile([1.0, 0.0, 0.0, 0.0], (200, 1))
    for first, last in covers:
        states[(rows >= first) & (rows <= last)] = [0.1, 0.0, 0.9, 0.0]
    states[rows > none_below] = [0.0, 0.1, 0.1, 0.8]
    return TubeView(
        rows=rows, kinds=np.tile([1.0, 0, 0, 0], (200, 1)), states=states, apart=12.0
    )


class TestFillingsBeside:
    def test_they_reach_three_diameters_up_and_down(self):
        beside = seen_states().fillings_beside(200.0, 400)
        assert np.flatnonzero(beside)[[0, -1]] == pytest.approx([128, 272], abs=2)
        assert beside[130:270].all()

    def test_a_cover_farther_off_hides_itself(self):
        beside = seen_states(covers=((240, 260),)).fillings_beside(200.0, 400)
        assert beside[202:238].all()
        assert beside[262:270].all()
        assert not beside[242:258].any()

    @pytest.mark.parametrize(("first", "last"), [(210, 230), (170, 190)])
    def test_between_a_place_and_a_cover_next_to_it_there_may_be_its_shade(self, first, last):
        beside = seen_states(covers=((first, last),)).fillings_beside(200.0, 400)
        assert not beside[min(first, 201) + 1 : max(last, 199) - 1].any()
        assert beside[130 : min(first, 199) - 1].all()
        assert beside[max(last, 201) + 2 : 270].all()

    def test_nothing_shows_where_the_tube_ends(self):
        assert not seen_states(none_below=205).fillings_beside(200.0, 400)[202:].any()


def drawn(cls: str, seed: int, about_mm: float = 22.0) -> tuple[TubeStrip, list[float]]:
    """Draw the surroundings of the levels of one tube by ray optics."""
    case = cases.draw(cls, seed)
    limb = case.limbs[0]
    step = case.outer_mm / 12
    top, bottom = max(limb.levels_mm) + about_mm, min(limb.levels_mm) - about_mm
    camera = StripCamera(
        origin_mm=case.camera.origin_mm,
        left_mm=limb.x_mm - 36 * step,
        top_mm=top,
        depth_mm=case.tube_z_mm,
        step_mm=step,
        width_px=72,
        height_px=int((top - bottom) / step),
    )
    light = render.render(case.world, camera)
    light = light / np.percentile(light, 97)
    bgr = np.round(255 * np.clip(light[:, :, ::-1], 0, 1) ** (1 / 2.2)).astype(np.uint8)
    strip = TubeStrip(
        bgr=np.ascontiguousarray(bgr),
        bore_columns=2 * case.inner_mm / step,
        width_columns=24.0,
        inside_picture=np.ones(len(bgr), bool),
    )
    return strip, [camera.row_of(y) for y in limb.levels_mm]


@pytest.mark.parametrize(
    ("cls", "seed"),
    [("utube_clear", 301), ("utube_behind", 302), ("utube_seal", 303), ("utube_mercury", 304)],
)
def test_tubes_of_ray_optics(cls, seed):
    strip, levels = drawn(cls, seed)
    places = look(strip).places((0, len(strip.bgr)))[: len(levels)]
    found = sorted((p.row for p in places), reverse=True)
    assert np.allclose(found, levels, atol=0.5 * strip.bore_columns)
    assert min(p.probability for p in places) > 0.5


def spotted(strip: TubeStrip, row: float, colour: tuple[int, int, int]) -> TubeStrip:
    """A strip with a round spot of three bores, as wide as the tube, over a row."""
    rows, columns = np.mgrid[: len(strip.bgr), : strip.bgr.shape[1]]
    from_middle = (columns - 0.5 * (strip.bgr.shape[1] - 1)) / (0.5 * strip.width_columns)
    spot = ((rows - row) / (1.5 * strip.bore_columns)) ** 2 + from_middle**2 < 1
    return replace(
        strip, bgr=np.where(spot[:, :, None], np.array(colour, np.uint8), strip.bgr)
    )


@pytest.mark.parametrize("network", [WITNESS, SECOND_WITNESS])
@pytest.mark.parametrize(
    ("cls", "seed"), [("utube_clear", 301), ("utube_behind", 302), ("utube_mercury", 305)]
)
def test_witnesses_see_levels_but_none_under_what_hides_it(network, cls, seed):
    """Burnt out, black, or covered: nothing is left of the level."""
    strip, levels = drawn(cls, seed)
    reach = 0.1 * strip.bore_columns
    view = look(strip, network)
    assert all(view.near(level, reach) > 0.9 for level in levels)
    for colour in ((255, 255, 255), (8, 8, 8), (60, 120, 200)):
        hidden = look(spotted(strip, levels[0], colour), network)
        assert hidden.near(levels[0], reach) < 0.5
