"""Disturbances keep the truth where it is, act on light, and hide what they say they hide."""

from __future__ import annotations

import numpy as np
import pytest

from tests.helpers.archive import ABOUT_INSTRUMENTS, ARCHIVE
from tests.helpers.compositions import COMPOSITIONS
from tests.helpers.disturbances import (
    DISTURBANCES,
    cropped,
    defocused,
    divisions_of,
    lean,
    lens,
    low_light,
    messenger,
    monochrome,
    turned,
)
from tests.helpers.level_hiders import HIDERS
from tests.helpers.shots import (
    Shot,
    decode_srgb,
    encode_srgb,
    load_shot,
    moved_truth,
    save_shot,
)
from tests.helpers.wear import WEAR

LEVELS = ((260.0, 310.0), (340.0, 200.4))
ENDS = ((300.0, 520.0), (303.0, 100.0))


def dotted(background=0.5):
    """A grey picture with a soft dot at every true position."""
    y, x = np.mgrid[:640, :480].astype(np.float64)
    light = np.full((640, 480), background)
    for u, v in (*LEVELS, *ENDS):
        light -= 0.9 * background * np.exp(-((x - u) ** 2 + (y - v) ** 2) / (2 * 4.0**2))
    shown = encode_srgb(np.repeat(light[..., None], 3, axis=2).astype(np.float32))
    truth = {
        "cls": "utube_colour",
        "graduation": {"unit_mm": 1.0, "minor": 1},
        "tube": {"ro": 1.5},
        "menisci": [[{"px": list(px)}] for px in LEVELS],
        "graduation_px": [{"values": [0.0, 84.0], "px": [list(px) for px in ENDS]}],
    }
    return Shot(shown=shown, truth=truth, focal_35mm=26.0)


def dot_near(shot, at, reach=10):
    """Centroid of the darkness about a position."""
    x0, y0 = np.round(at).astype(int) - reach
    part = decode_srgb(shot.shown)[y0 : y0 + 2 * reach + 1, x0 : x0 + 2 * reach + 1, 1]
    dark = np.clip(part.max() - part - 0.1 * np.ptp(part), 0, None)
    y, x = np.mgrid[: part.shape[0], : part.shape[1]]
    return np.array([(x * dark).sum(), (y * dark).sum()]) / dark.sum() + (x0, y0)


@pytest.mark.parametrize(
    "change",
    [
        lens(0.03),
        lens(-0.03),
        lean,
        turned(1),
        turned(2),
        turned(3),
        cropped,
        divisions_of(3.3),
        messenger(75),
    ],
)
def test_truth_moves_with_the_picture(change):
    shot = change(dotted(), np.random.default_rng(3))
    for at in np.concatenate([shot.levels_px(), shot.scale_px()]):
        if min(*at, *(np.array(shot.size_px) - at)) > 11:
            assert dot_near(shot, at) == pytest.approx(at, abs=0.1)


@pytest.mark.parametrize(
    ("name", "reach", "within"),
    [
        ("mirrored", 10, 0.05),
        ("date_stamp", 10, 0.05),
        ("caption", 10, 0.05),
        ("side_light", 10, 0.3),
        ("print_scan", 10, 0.5),
        ("halftone_150", 10, 0.5),
        ("film", 10, 0.5),
        ("screen_photo", 20, 0.5),
    ],
)
def test_truth_moves_through_archives(name, reach, within):
    shot = ARCHIVE[name](dotted(), np.random.default_rng(3))
    for at in np.concatenate([shot.levels_px(), shot.scale_px()]):
        assert dot_near(shot, at, reach) == pytest.approx(at, abs=within)


@pytest.mark.parametrize("name", ["portrait_mode", "finger", "collage"])
def test_truth_stays_with_the_instrument(name):
    shot = ABOUT_INSTRUMENTS[name](dotted(), dotted(0.8), np.random.default_rng(5))
    assert not shot.hides
    for at in shot.levels_px():
        assert dot_near(shot, at) == pytest.approx(at, abs=0.3)


def test_a_mirror_image_must_not_be_read():
    assert ARCHIVE["mirrored"](dotted(), np.random.default_rng(3)).hides


def test_kept_small_keeps_the_lens():
    shot = ARCHIVE["archived_1024"](dotted(), np.random.default_rng(0))
    assert shot.size_px == (480, 640)  # never made larger
    assert shot.focal_35mm == 26.0


def test_half_of_the_lines_are_shifted():
    shot = ARCHIVE["interlaced"](dotted(), np.random.default_rng(2))
    before = dotted()
    same = np.all(np.abs(shot.shown - before.shown) < 1e-3, axis=(1, 2))
    assert np.all(same[0::2])
    assert not np.all(same[1::2])


def test_a_truth_left_behind_would_be_seen():
    shot = dotted()
    wrong = moved_truth(shot.truth, lambda p: p + 1.0)
    at = wrong["menisci"][0][0]["px"]
    assert np.abs(dot_near(shot, at) - at).max() > 0.9


def test_divisions_have_the_pixels_asked_for():
    shot = divisions_of(2.8)(dotted(), np.random.default_rng(0))
    assert shot.pitch_px() == pytest.approx(2.8, rel=0.01)


def test_blur_keeps_light():
    shot = dotted()
    soft = defocused(2.0)(shot, np.random.default_rng(0))
    assert decode_srgb(soft.shown).mean() == pytest.approx(
        decode_srgb(shot.shown).mean(), 1e-4
    )


def test_black_and_white_keeps_luminance():
    shot = dotted()
    grey = monochrome(shot, np.random.default_rng(0))
    assert np.ptp(grey.shown, axis=2).max() < 1e-6
    assert grey.shown == pytest.approx(shot.shown, abs=2e-3)


def test_noise_is_that_of_the_photons():
    flat = np.full((200, 200, 3), 0.4, np.float32)
    shot = Shot(shown=encode_srgb(flat), truth={}, focal_35mm=None)
    noisy = decode_srgb(low_light(shot, np.random.default_rng(1)).shown)
    # Half of the green pixels are measured, the others are means of at least two.
    expected = np.sqrt(0.4 / 500 + 0.012**2)
    assert 0.6 * expected < noisy[..., 1].std() < expected


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_stored_turned_and_loaded_upright(tmp_path, orientation):
    from dataclasses import replace

    shot = replace(dotted(), orientation=orientation)
    save_shot(shot, tmp_path / "a.json")
    back = load_shot(tmp_path / "a.json")
    assert back.size_px == shot.size_px
    assert np.abs(back.shown - shot.shown).mean() < 0.01
    assert back.focal_35mm == 26.0


@pytest.mark.parametrize("name", COMPOSITIONS)
def test_what_is_drawn_hides_a_level_or_leaves_all_of_them(name):
    before = dotted()
    after = COMPOSITIONS[name](before, dotted(0.8), np.random.default_rng(5))
    assert (
        np.abs(after.shown - dotted().shown if after.size_px == before.size_px else 1).max()
        > 0
    )
    changed = []
    for old, new in zip(before.levels_px(), after.levels_px(), strict=True):
        patches = []
        for shot, (x, y) in ((before, old), (after, new)):
            x0, y0 = round(float(x)) - 4, round(float(y)) - 4
            patches.append(shot.shown[y0 : y0 + 9, x0 : x0 + 9])
        changed.append(np.abs(patches[0] - patches[1]).mean() > 0.05)
    lights = ("window_reflection", "streaks", "streak_to_level", "spot_by_level")
    assert after.hides == name.endswith("_on_level")
    if name not in lights:
        assert any(changed) == after.hides


@pytest.mark.parametrize("name", HIDERS)
def test_hiders_change_the_picture_at_a_level(name):
    before = dotted()
    after = HIDERS[name](before, dotted(0.8), np.random.default_rng(5))
    assert after.hides == name.endswith("_on_level")
    np.testing.assert_array_equal(after.levels_px(), before.levels_px())
    rows, columns = np.nonzero(np.abs(after.shown - before.shown).max(axis=2) > 0.1)
    places = np.stack([columns, rows], axis=1)
    to_levels = [np.hypot(*(places - level).T).min() for level in before.levels_px()]
    assert min(to_levels) < before.tube_px()


@pytest.mark.parametrize("name", WEAR)
def test_wear_changes_the_picture_and_hides_nothing(name):
    before = dotted()
    after = WEAR[name](before, dotted(0.8), np.random.default_rng(5))
    assert after.size_px == before.size_px
    assert np.abs(after.shown - before.shown).max() > 0.02
    assert not after.hides
    np.testing.assert_array_equal(after.levels_px(), before.levels_px())


def test_the_same_photo_is_drawn_every_time():
    for change in (DISTURBANCES | ARCHIVE).values():
        first, again = (change(dotted(), np.random.default_rng(7)).shown for _ in range(2))
        assert np.array_equal(first, again)
