"""Heights: components that add up, move with the picture, and cancel where shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from limbsight.calib.heights import (
    TubeGeometry,
    _agree,
    _clear_band,
    _clear_of_streaks,
    _Found,
    _found,
    _mean_of,
    _mean_of_all,
    _next_to_burnt,
    _same_level,
    _settled,
    _shows_lamp,
    _Surroundings,
    _with_reflection,
    fit_level,
)
from limbsight.calib.meniscus import ApexFit, FluidOptics, MeniscusPhysics
from limbsight.calib.rectify import make_grid
from limbsight.calib.scale_map import (
    FOCAL_GUESS_RELATIVE_UNCERTAINTY,
    Frame,
    ScaleMap,
    fit_scale_map,
)
from tests.helpers.boards import Camera, Column, expose
from tests.helpers.tubes import BLUE_WATER, GLASS, Tube

CAMERA = Camera(width=900, height=1600, focal_px=2000.0, distance=400.0, pitch=1.0, y=12.0)
COLUMN = Column(spine=-12.0, side="right")
TUBE = TubeGeometry(
    bore_radius_m=3.5e-3,
    u_bore_radius_m=0.05e-3,
    outer_radius_m=5e-3,
    axis_to_scale_m=6e-3,
    u_axis_to_scale_m=0.2e-3,
)
WATER = FluidOptics(refractive_index=1.333, u_refractive_index=0.004)
AIR = FluidOptics(refractive_index=1.0003, u_refractive_index=0.0)
WETTING = MeniscusPhysics(
    capillary_length_m=2.7e-3,
    u_capillary_length_m=1e-4,
    contact_angle_rad=0.26,
    u_contact_angle_rad=0.2,
)
STEP_MM = 0.25
MERCURY = FluidOptics(refractive_index=1.0, u_refractive_index=0.0, opaque_mirror=True)
CONVEX = MeniscusPhysics(
    capillary_length_m=1.85e-3,
    u_capillary_length_m=0.06e-3,
    contact_angle_rad=2.4,
    u_contact_angle_rad=0.12,
)
DOME_ROWS = 5.0


def map_of(u_focal: float = 0.025, noise_px: float = 0.1) -> ScaleMap:
    frame = Frame(
        width_px=CAMERA.width,
        height_px=CAMERA.height,
        focal_px=CAMERA.focal_px,
        focal_relative_uncertainty=u_focal,
    )
    comb = COLUMN.comb(CAMERA, noise_px=noise_px)
    return fit_scale_map((comb,), (COLUMN.values,), frame)


def level_at(
    value: float, scale_map: ScaleMap, tube: TubeGeometry = TUBE, step_mm: float = STEP_MM
):
    """Fit a drawn level; the picture is that of a plain edge, the same at every height."""
    grid = make_grid(
        scale_map.plane(),
        values=(-45.0, 45.0),
        across=(-8.0, 8.0),
        step=step_mm,
        in_front=tube.axis_to_scale_m * 1e3,
    )
    row = grid.row_at(value)
    drawn = Tube(
        fillings=(BLUE_WATER, GLASS),
        levels=(row,),
        rows=len(grid.values),
        columns=len(grid.across),
        width=10.0 / step_mm,
        bore=7.0 / step_mm,
        meniscus=0.8,
    )
    light = (expose(drawn.light(), blur_px=0.8, noise=0.5) / 255.0) ** 2.2
    return fit_level(
        light[:, :, ::-1].astype(np.float32),
        grid,
        row + 1.0,
        scale_map=scale_map,
        unit_m=1e-3,
        tube=tube,
        below=WATER,
        above=AIR,
        interface=WETTING,
        limb="left",
    )


@pytest.fixture(scope="module")
def scale_map() -> ScaleMap:
    return map_of()


@pytest.mark.parametrize("value", [-30.0, 0.0, 29.5])
def test_height_is_where_the_edge_is_drawn(scale_map, value):
    """A plain edge is no meniscus, so only the neighbourhood is asked for: a bore."""
    assert level_at(value, scale_map).height == pytest.approx(value, abs=3.5)


def test_in_few_pixels_the_interval_holds_what_colours_may_move(scale_map):
    """20 pixels across the bore, and 35."""
    few, many = (
        level_at(10.0, scale_map, step_mm=7.0 / bore_px).apex.u_components_px
        for bore_px in (20.0, 35.0)
    )
    assert 0.0 < few["colours"] < 1.0
    assert "colours" not in many


@pytest.mark.parametrize("factor", [26 / 37, 60 / 37])
def test_a_guessed_focal_length_is_borne_by_its_component(scale_map, factor):
    """The picture of one camera, read as that of another within the guess."""
    true = level_at(-20.0, scale_map)
    frame = replace(
        scale_map.frame,
        focal_px=CAMERA.focal_px / factor,
        focal_relative_uncertainty=FOCAL_GUESS_RELATIVE_UNCERTAINTY,
    )
    guessed = level_at(-20.0, replace(scale_map, frame=frame))
    (focal,) = (c for c in guessed.components if c.name == "focal length")
    off = abs(guessed.height - true.height)
    assert 0.02 < off < 1.4 * focal.standard_uncertainty


@pytest.mark.parametrize("off_px", [-200.0, 300.0])
def test_a_picture_cut_out_of_a_larger_one_bears_that_its_middle_is_unknown(scale_map, off_px):
    """The same camera, its principal point not in the middle of what is left."""
    true = level_at(-20.0, scale_map)
    cut = scale_map.with_centre(0.0, off_px)
    cut = replace(cut, frame=replace(cut.frame, u_offset_px=250.0))
    read = level_at(-20.0, cut)
    # But for the distortion, -0.013 by noise, which is then about another centre.
    assert cut.value_at(100.0, 900.0) == pytest.approx(
        scale_map.value_at(100.0, 900.0), abs=0.2
    )
    off = abs(read.height - true.height)
    assert 0.05 < off < 2.0 * read.standard_uncertainty
    keys = {c.shared_key for c in read.components}
    assert {"scale_map_centre_x", "scale_map_centre_y"} <= keys
    assert not {"scale_map_centre_x"} & {c.shared_key for c in true.components}


def test_moved_by_whole_rows_it_moves_by_their_heights(scale_map):
    first, second = level_at(5.0, scale_map), level_at(5.0 + 4 * STEP_MM, scale_map)
    together = np.hypot(first.standard_uncertainty, second.standard_uncertainty)
    assert second.height - first.height == pytest.approx(4 * STEP_MM, abs=3 * together)


def test_position_is_that_of_the_height_in_front_of_the_scale(scale_map):
    fit = level_at(20.0, scale_map)
    seen = float(scale_map.value_at(fit.x_px, fit.y_px))
    depth = TUBE.axis_to_scale_m * 1e3
    assert scale_map.true_value_at(fit.x_px, fit.y_px, depth) == pytest.approx(
        fit.height, abs=0.01
    )
    pose = scale_map.pose()
    expected = depth * (fit.height - pose.opposite_value) / (pose.distance - depth)
    assert seen - fit.height == pytest.approx(expected, rel=1e-3)


def test_components_are_all_of_the_uncertainty(scale_map):
    fit = level_at(20.0, scale_map)
    total = np.sqrt(sum(c.standard_uncertainty**2 for c in fit.components))
    assert fit.standard_uncertainty == pytest.approx(total)
    own = [c for c in fit.components if c.shared_key is None]
    assert np.sqrt(sum(c.standard_uncertainty**2 for c in own)) == pytest.approx(
        fit.apex.u_px * STEP_MM, rel=1e-6
    )
    assert all(c.standard_uncertainty >= 0 for c in fit.components)
    assert all(c.sign in (-1.0, 1.0) for c in fit.components)


def test_map_components_carry_the_covariance_of_two_levels(scale_map):
    """Signed parts of equal key rebuild s1' C s2: what is common cancels in a difference."""
    fits = [level_at(value, scale_map) for value in (-25.0, 30.0)]
    depth = TUBE.axis_to_scale_m * 1e3
    slopes = [scale_map.true_sensitivity(f.x_px, f.y_px, depth)[0] for f in fits]
    exact = np.array([[a @ scale_map.covariance @ b for b in slopes] for a in slopes])
    parts = [
        {
            c.shared_key: c.sign * c.standard_uncertainty
            for c in fit.components
            if c.shared_key and c.shared_key.startswith("scale_map")
        }
        for fit in fits
    ]
    rebuilt = np.array([[sum(a[k] * b[k] for k in a) for b in parts] for a in parts])
    np.testing.assert_allclose(rebuilt, exact, rtol=1e-4, atol=1e-10)


def shared(fit, key):
    [part] = [c for c in fit.components if c.shared_key == key]
    return part.sign * part.standard_uncertainty


def test_depth_costs_in_proportion_to_the_angle(scale_map):
    for value in (-25.0, 30.0):
        fit = level_at(value, scale_map)
        deeper = scale_map.true_value_at(fit.x_px, fit.y_px, 6.2) - fit.height
        assert shared(fit, "axis_to_scale") == pytest.approx(deeper, rel=0.01)


def test_unknown_focal_length_costs_more():
    known, guess = map_of(0.025), map_of(0.4)
    parts = [abs(shared(level_at(30.0, m), "focal_length")) for m in (known, guess)]
    # No bound above: a plain edge is no meniscus, and from elsewhere it may be another part.
    assert parts[1] / parts[0] > 16 * 0.9


def bore_with_streak(column: float | None, rows: tuple[int, int] = (0, 80)):
    """An even bore, 20 columns wide about column 20, with one bright stripe."""
    strip = np.full((80, 41, 3), 0.4, dtype=np.float32)
    if column is not None:
        at = int(20 + column)
        strip[rows[0] : rows[1], at - 1 : at + 2] = 0.9
    return strip


@pytest.mark.parametrize(
    ("column", "rows", "aside"),
    [
        (None, (0, 80), False),
        (0, (0, 80), True),
        (0, (0, 40), True),
        (0, (40, 44), False),
        (6, (0, 80), False),
    ],
)
def test_a_lamp_on_the_axis_makes_it_look_aside(column, rows, aside):
    found = _clear_of_streaks(bore_with_streak(column, rows), 20.0, 40.0, 20.0)
    assert (found != 0.0) is aside
    assert abs(found) in (0.0, pytest.approx(4.0))


def apex(position_px, ok=True):
    return ApexFit(
        position_px=position_px,
        u_statistical_px=0.1,
        u_model_px=0.2,
        u_components_px={"tone": 0.2},
        misfit=0.02,
        ok=ok,
        reason="" if ok else "meniscus_not_seen",
        blur_px=1.0,
    )


def test_beside_a_reflection_the_difference_is_a_rectangle():
    fit = _with_reflection(apex(4.0), apex(0.9))
    assert fit.position_px == 4.0
    assert fit.u_components_px["reflection"] == pytest.approx(0.9 / np.sqrt(3))
    assert fit.u_model_px == pytest.approx(np.hypot(0.2, 0.9 / np.sqrt(3)))


def test_nothing_beside_a_reflection_is_a_doubt():
    fit = _with_reflection(apex(4.0), apex(0.9, ok=False))
    assert (fit.ok, fit.reason) == (False, "meniscus_not_seen")


@pytest.mark.parametrize(
    ("burnt", "columns"),
    [
        (range(18, 22), [16, 17, 22, 23, 24]),
        (range(14, 23), [23, 24, 25, 26, 27]),
        (range(14, 29), [12, 13, 29]),
        (range(10, 31), None),
    ],
)
def test_columns_nearest_to_the_axis_that_are_not_burnt_out(burnt, columns):
    band = _clear_band(np.isin(np.arange(41), burnt), 20.1, 20.0, 0.9)
    assert (None if band is None else band.columns.tolist()) == columns


def ambiguous(position_px, ambiguity=3.0):
    return replace(
        apex(position_px, ok=False),
        reason="level_ambiguous",
        u_components_px={"tone": 0.2, "ambiguity": ambiguity},
        u_model_px=float(np.hypot(0.2, ambiguity)),
    )


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
    assert _same_level(apex(7.0), other, 0.1) is same


def test_rivals_fall_when_both_sides_confirm():
    fit = _settled(ambiguous(2.0), [apex(0.25), apex(-0.1)])
    assert (fit.ok, fit.reason, fit.position_px) == (True, "", 2.0)
    assert fit.u_components_px["ambiguity"] == pytest.approx(0.25)
    assert fit.u_model_px == pytest.approx(np.hypot(0.2, 0.25))


@pytest.mark.parametrize("aside", [apex(0.8), apex(-2.9), apex(np.nan), ambiguous(0.1)])
def test_rivals_stay_when_one_side_differs_or_has_some(aside):
    doubted = ambiguous(2.0)
    assert _settled(doubted, [apex(0.1), aside]) == doubted


def lone(position_px, u=0.2, **changed):
    fit = replace(
        apex(position_px),
        u_components_px={"tone": u, "ambiguity": 0.0},
        u_model_px=u,
        u_statistical_px=0.0,
    )
    return replace(fit, **changed)


def test_fits_beside_the_axis_of_a_mirror_have_their_say():
    fit = _mean_of(lone(4.0), [lone(0.6), lone(-0.3)])
    assert fit.position_px == pytest.approx(4.1)
    assert fit.u_components_px["room"] == pytest.approx(np.std([0, 0.6, -0.3]) / np.sqrt(2))
    assert fit.u_components_px["tone"] == pytest.approx(0.2)
    assert (fit.ok, fit.reason) == (True, "")


def test_a_doubtful_fit_beside_the_axis_counts_a_quarter():
    doubtful = lone(1.0, ok=False, reason="meniscus_not_seen")
    assert _mean_of(lone(4.0), [doubtful]).position_px == pytest.approx(4.2)


@pytest.mark.parametrize(
    ("right", "agree"),
    [
        (lone(0.5), True),
        (lone(0.6), False),
        (lone(0.0, ok=False, reason="meniscus_not_seen"), False),
    ],
)
def test_both_sides_of_a_mirror_must_show_one_level(right, agree):
    assert _agree(lone(0.0), right) is agree
    assert _agree(right, lone(0.0)) is agree


def test_rivals_of_a_mirror_stay_where_all_fits_have_them():
    alone = _mean_of(ambiguous(2.0), [ambiguous(0.2), ambiguous(-0.1)])
    assert (alone.ok, alone.reason) == (False, "level_ambiguous")
    told = _mean_of(ambiguous(2.0), [lone(0.2), lone(-0.1)])
    assert told.ok
    assert told.u_components_px["ambiguity"] < 0.05


def test_the_mean_of_fits_counts_from_their_row():
    fits = [lone(3.0), lone(5.0)]
    assert _mean_of_all(fits).position_px == pytest.approx(4.0)
    assert _mean_of_all(fits[:1]) is fits[0]


def between_liquids(lamp_rows, above_index=1.44, light=1.0):
    """Yellow over green, lit white over some rows of the level; the bore is 14 rows wide."""
    strip = np.empty((120, 31, 3), dtype=np.float32)
    strip[:60], strip[60:] = (0.8, 0.6, 0.1), (0.05, 0.4, 0.05)
    strip[60 - lamp_rows : 60] = np.maximum(strip[60 - lamp_rows : 60], light)
    scale_map = map_of()
    here = _Surroundings(
        strip=strip,
        grid=make_grid(
            scale_map.plane(),
            values=(0.0, 60.0),
            across=(-5.0, 5.0),
            step=0.5,
            in_front=6.0,
        ),
        scale_map=scale_map,
        unit_m=1e-3,
        tube=TUBE,
        below=WATER,
        above=replace(WATER, refractive_index=above_index),
        interface=WETTING,
        line_pitch_m=0.0,
        apex_seen=False,
    )
    return here, _Found(row=60.0, fit=lone(0.0), band=here.on_axis)


@pytest.mark.parametrize(
    ("seen", "lamp"),
    [
        (between_liquids(4), True),
        (between_liquids(0), False),
        (between_liquids(4, light=0.15), False),
        (between_liquids(4, above_index=1.0003), False),
    ],
)
def test_a_level_brighter_than_both_its_liquids_shows_a_lamp(seen, lamp):
    assert _shows_lamp(*seen) is lamp


def mercury(dome_rows: int):
    """A streaky column under gas, its rim in row 75; the bore is 28 rows wide."""
    rng = np.random.default_rng(2)
    scale_map = map_of()
    grid = make_grid(
        scale_map.plane(), values=(-18.0, 18.0), across=(-5.0, 5.0), step=0.25, in_front=6.0
    )
    rows, columns = len(grid.values), len(grid.across)
    strip = np.full((rows, columns, 3), 0.6)
    strip[75 - dome_rows : 75] = 0.2
    strip[75:] = rng.uniform(0.1, 0.8, (columns, 3))
    strip = gaussian_filter1d(strip, 1.0, axis=0) + rng.normal(0.0, 0.01, strip.shape)
    return _Surroundings(
        strip=strip.astype(np.float32),
        grid=grid,
        scale_map=scale_map,
        unit_m=1e-3,
        tube=TUBE,
        below=MERCURY,
        above=AIR,
        interface=CONVEX,
        line_pitch_m=0.0,
        apex_seen=False,
    )


@pytest.mark.parametrize(("dome_rows", "clear"), [(6, True), (0, False)])
def test_beside_glare_the_rim_of_a_dome_shows_the_level_and_an_edge_does_not(dome_rows, clear):
    here = mercury(dome_rows)
    burnt = np.zeros(here.strip.shape[1], dtype=bool)
    burnt[18:22] = True
    here.strip[:, burnt] = 1.0
    found = _found(here, 75.0, burnt, 0.0)
    assert found.clear_of_glare is clear
    if clear:
        assert found.apex_row == pytest.approx(75.0 - DOME_ROWS, abs=2.5)


@pytest.mark.parametrize(
    ("line", "above", "borne_out"), [(0.1, AIR, True), (0.55, AIR, False), (0.1, WATER, False)]
)
def test_next_to_glare_a_dark_line_shows_a_level_under_gas(
    monkeypatch, line, above, borne_out
):
    here = replace(mercury(0), below=WATER, above=above)
    here.strip[:] = 0.6
    here.strip[72:75] = line
    here.strip[75:] = 0.5
    burnt = np.abs(np.arange(here.strip.shape[1]) - here.axis) > 3.0
    here.strip[:75, burnt] = 1.0
    monkeypatch.setattr(_Surroundings, "fit", lambda *_: lone(0.3))
    found = _next_to_burnt(here, _Found(row=73.0, fit=lone(0.0), band=here.on_axis), burnt)
    assert found.clear_of_glare is borne_out
    assert ("reflection" in found.fit.u_components_px) is borne_out
