"""Components of a height: they add up, and cancel where shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.camera import FOCAL_GUESS_RELATIVE_UNCERTAINTY
from limbsight.calib.scale_map import ScaleMap
from tests.helpers.levels import CAMERA, STEP_MM, TUBE, level_at, map_of


@pytest.fixture(scope="module")
def scale_map() -> ScaleMap:
    return map_of()


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
