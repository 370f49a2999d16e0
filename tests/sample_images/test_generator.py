"""Truth against what is drawn, determinism, what is written."""

import io
import json
import subprocess
import sys
from dataclasses import replace
from itertools import count
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from sample_images.generator import benches, cases, phone, render, truth
from sample_images.generator.camera import Camera
from sample_images.generator.fluids import AIR, FLUIDS
from sample_images.generator.meniscus import surface
from sample_images.generator.optics import Straight
from sample_images.generator.printing import Sheet

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def case():
    """What is drawn depends on the fonts of the machine; lines must stand apart."""
    drawn = (cases.draw("utube_twoscale", seed) for seed in count(5))
    return next(case for case in drawn if float(str(case.look["division_px"])) > 5.0)


def test_opened_it_is_the_same_instrument_nearly_level(case):
    opened = cases.draw("utube_twoscale", case.seed, opened=True)
    for name in ("graduation", "fluid", "inner_mm", "outer_mm", "tube_z_mm", "scales"):
        assert getattr(opened, name) == getattr(case, name)
    (left,), (right,) = (limb.levels_mm for limb in opened.limbs)
    apart = opened.limbs[1].x_mm - opened.limbs[0].x_mm
    assert 0 < right - left < np.tan(np.radians(1.5)) * apart
    assert opened.camera != case.camera
    with pytest.raises(ValueError, match="has no zero"):
        cases.draw("bank", 5, opened=True)


def test_a_scale_askew_is_read_along_its_own_lines(case):
    """A degree over the distance of the limbs; the scale's own marks go with the print."""
    askew = cases.draw("utube_twoscale", case.seed, askew_deg=1.0)
    g, straight, turned = case.graduation, truth.record(case), truth.record(askew)
    readings = [
        [limb[0]["reading"] * g.unit_mm for limb in record["menisci"]]
        for record in (straight, turned)
    ]
    apart = case.limbs[1].x_mm - case.limbs[0].x_mm
    (left, right), (left_askew, right_askew) = readings
    assert (right_askew - left_askew) == pytest.approx(
        np.cos(np.radians(1.0)) * (right - left)
        - np.sign(g.y_mm(1.0) - g.y_mm(0.0)) * np.sin(np.radians(1.0)) * apart,
        abs=1e-9,
    )
    (ink, *_) = (p for face in askew.world.scene.faces for p in face.prints)
    at = np.array([3.0]), np.array([50.0])
    assert np.allclose(ink.turn.on_print(*ink.turn.on_face(*at)), at)
    moved = np.subtract(turned["graduation_px"][0]["px"], straight["graduation_px"][0]["px"])
    assert np.abs(moved).max() > 2.0


def test_plastic_leaves_water_flat_and_all_else_as_it_was():
    drawn = (cases.draw("single", seed) for seed in count(5))
    case = next(one for one in drawn if one.fluid.startswith("water"))
    other = cases.draw("single", case.seed, plastic=True)
    assert (other.limbs, other.camera) == (case.limbs, case.camera)
    key = f"contact {case.fluid}/air"
    assert float(str(case.look[key])) < 40.0 < 50.0 < float(str(other.look[key]))
    with pytest.raises(ValueError, match="of glass alone"):
        cases.draw("steel_rule", 5, plastic=True)


def test_projection_and_rays_are_inverse(case):
    camera = replace(case.camera, k1=-0.03)
    points = np.array([[-20.0, 40.0, 3.0], [15.0, 200.0, 0.0], [4.0, 110.0, 9.0]])
    px = camera.project(points)
    d = camera.directions(px[:, 0], px[:, 1])
    toward = points - np.array(camera.origin_mm)
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    np.testing.assert_allclose(d, toward, atol=1e-9)


def test_camera_angles():
    camera = Camera(
        width_px=101,
        height_px=81,
        f35_mm=43.267,
        k1=0.0,
        origin_mm=(0, 0, 500),
        target_mm=(0, 0, 0),
        roll_rad=0.0,
    )
    px = camera.project(np.array([[0.0, 0, 0], [10.0, 0, 0], [0, 10.0, 0]]))
    scale = 10 / 500 * np.hypot(101, 81)
    np.testing.assert_allclose(px, [[50, 40], [50 + scale, 40], [50, 40 - scale]], atol=1e-9)
    turned = replace(camera, roll_rad=np.pi / 2).project(np.array([[10.0, 0, 0]]))
    np.testing.assert_allclose(turned, [[50, 40 - scale]], atol=1e-9)


def test_drawn_lines_lie_where_the_truth_says(case):
    """Centroid of a graduation line in the noiseless picture, within 0.2 px."""
    g, scale = case.graduation, case.scales[0]
    face = min(
        case.world.scene.faces,
        key=lambda f: abs(f.z_mm - scale.z_mm) + abs(0.5 * (f.x0_mm + f.x1_mm) - scale.x_mm),
    )
    assert g.rank(g.lo + g.minor) == 0
    inked = max((_inked(ticks, g, g.lo + g.minor) for ticks in face.prints), key=len)
    x_mm = float(np.median(inked))
    misses = line_misses(case, x_mm, g.values()[3::9])
    assert len(misses) >= 5
    assert np.abs(misses).max() < 0.2
    assert abs(np.mean(misses)) < 0.04


@pytest.mark.parametrize("cls", ["school_ruler", "steel_rule"])
def test_drawn_lines_of_rules_lie_where_the_truth_says(cls):
    ruled = cases.draw(cls, 5)
    g = ruled.graduation
    middles = [v for v in g.values() if ruled.camera.project(_on(ruled, v)).min() > 20]
    misses = line_misses(ruled, ruled.scales[0].x_mm, middles[5::10])
    assert len(misses) >= 5
    assert np.median(np.abs(misses)) < 0.1
    assert abs(np.median(misses)) < 0.05


def _inked(ticks, graduation, value):
    """Where a print left of the middle has ink at the height of a value, mm."""
    row = round((ticks.top_mm - graduation.y_mm(value)) * ticks.px_per_mm)
    if ticks.left_mm >= 0 or not 0 <= row < len(ticks.coverage):
        return np.empty(0)
    return ticks.left_mm + np.flatnonzero(ticks.coverage[row] > 128) / ticks.px_per_mm


def _on(case, value):
    scale = case.scales[0]
    return np.array([[scale.x_mm, case.graduation.y_mm(value), scale.z_mm]])


def line_misses(case, x_mm, values):
    """Rows by which drawn lines are off, in the noiseless picture, px."""
    g, cam, scale = case.graduation, case.camera, case.scales[0]
    step = case.look["division_px"]
    misses = []
    for value in values:
        y = g.y_mm(value)
        p = cam.project(np.array([[x_mm, y, scale.z_mm], [x_mm + 0.5, y, scale.z_mm]]))
        column = round(p[0, 0])
        slope = (p[1, 1] - p[0, 1]) / (p[1, 0] - p[0, 0])
        expected = p[0, 1] + slope * (column - p[0, 0])
        reach = max(int(0.45 * step), 2)
        top = round(expected) - reach
        seen = render.render(case.world, cam, (column, top, column + 1, top + 2 * reach + 1))
        light = seen[:, 0].mean(axis=1)
        base = 0.5 * (light[0] + light[-1])
        ink = np.abs(base - light)
        if ink.max() < 0.05 * base:
            continue
        misses.append(float((ink * (top + np.arange(len(ink)))).sum() / ink.sum()) - expected)
    return misses


def test_benches_leave_the_other_classes_alone():
    assert not set(benches.CLASSES) & set(cases.READABLE + cases.NEGATIVE)
    for cls in benches.CLASSES:
        drawn = cases.draw(cls, 2)
        g = drawn.graduation
        assert len(drawn.limbs) in (1, 2)
        for limb in drawn.limbs:
            assert g.lo < g.value(limb.levels_mm[0]) < g.hi


def test_words_turned_fill_a_box_turned():
    flat, turned = (Sheet(-20, 20, -20, 20, 10) for _ in range(2))
    flat.text("125", 0, 0, 4, None)
    turned.text("125", 0, 0, 4, None, quarters=1)
    np.testing.assert_allclose(turned.ink.sum(), flat.ink.sum())
    for axis in (0, 1):
        assert np.ptp(np.flatnonzero(turned.ink.any(axis=axis))) == np.ptp(
            np.flatnonzero(flat.ink.any(axis=1 - axis))
        )


def level_profile(case, below, contact_deg):
    """Rows around a level on the axis of a tube, seen by a camera at its height."""
    g = case.graduation
    y_mm = g.y_mm(g.lo) + 0.6 * (g.hi - g.lo) * g.unit_mm
    old = case.world.tubes[0]
    shape = surface(y_mm, old.inner_mm, 0.066, below.density_kg_m3, contact_deg)
    tube = Straight(
        x_mm=0.0,
        z_mm=old.z_mm,
        inner_mm=old.inner_mm,
        outer_mm=old.outer_mm,
        glass_index=old.glass_index,
        fluids=(below, AIR),
        absorption_per_mm=((2.0, 2.0, 2.0), (0.0, 0.0, 0.0)),
        surfaces=(shape,),
    )
    scene = replace(case.world.scene, faces=(), lightmaps=(), solids=())
    world = replace(case.world, scene=scene, tubes=(tube,), bend=None)
    cam = replace(
        case.camera,
        origin_mm=(0.0, y_mm, 600.0),
        target_mm=(0.0, y_mm, 0.0),
        roll_rad=0.0,
        k1=0.0,
    )
    x, y = cam.project(np.array([[0.0, y_mm, tube.z_mm]]))[0]
    u, top = round(x), round(y) - 30
    seen = render.render(world, cam, (u - 2, top, u + 3, top + 61)).mean(axis=(1, 2))
    high, low = seen[:20].mean(), seen[-20:].mean()
    assert high > 2 * low
    # the area under a step gives its place
    return top - 0.5 + float(((seen - low) / (high - low)).sum()), y


def test_flat_level_is_drawn_where_the_truth_says(case):
    """A dyed liquid without meniscus, at the camera's height: a plain edge, within 0.2 px."""
    seen, true = level_profile(case, FLUIDS["water_blue"], 90.0)
    assert seen == pytest.approx(true, abs=0.2)


def test_apex_of_a_convex_mirror_is_where_the_truth_says(case):
    """The crown of a (blackened) mercury column hides what is behind, from the apex down."""
    black = replace(FLUIDS["mercury"], mirror=(0.03, 0.03, 0.03))
    seen, true = level_profile(case, black, 140.0)
    assert seen == pytest.approx(true, abs=0.25)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_exif(case, orientation):
    picture = np.zeros((40, 30, 3), np.uint8)
    picture[:10] = (250, 20, 20)
    d = replace(case.degrade, rotate=orientation, jpeg=95, subsampling=0)
    data = phone.jpeg_bytes(picture, d, 51.6)
    exif = Image.open(io.BytesIO(data)).getexif()
    details = exif.get_ifd(phone.EXIF_IFD)
    assert exif[phone.EXIF_ORIENTATION] == orientation
    assert details[phone.EXIF_FOCAL_35] == 52
    assert details[phone.EXIF_DATE_ORIGINAL] == d.taken_at
    upright = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert upright is not None
    assert upright.shape == picture.shape
    assert upright[4, 15, 2] > 200 > 60 > upright[30, 15, 2]


def test_chain_moves_nothing(case):
    """The phone's chain leaves a symmetric line where it is, in each colour."""
    linear = np.full((120, 160, 3), 0.5, np.float32)
    linear[60] = 0.1
    d = replace(case.degrade, motion=0.0, lateral=0.0, full_well=1e9, read_noise=0.0)
    seen = phone.develop(linear, d).astype(float)
    profile = seen[52:69, 20:140].mean(axis=1)
    ink = profile.max(axis=0) - profile
    at = (ink * np.arange(52, 69)[:, None]).sum(axis=0) / ink.sum(axis=0)
    np.testing.assert_allclose(at, 60.0, atol=0.05)


def test_same_seed_same_picture_and_truth():
    one, two = (cases.draw("single", 3) for _ in range(2))
    assert json.dumps(truth.record(one)) == json.dumps(truth.record(two))
    p = truth.record(one)["menisci"][0][0]["px"]
    box = (int(p[0]) - 20, int(p[1]) - 20, int(p[0]) + 20, int(p[1]) + 20)
    first, second = (
        phone.develop(render.render(c.world, c.camera, box), c.degrade) for c in (one, two)
    )
    assert (first == second).all()
    assert first.std() > 5


def test_truth_names_what_a_scorer_needs(case):
    t = truth.record(case)
    assert set(t) >= {
        "cls",
        "seed",
        "graduation",
        "tube",
        "fluid",
        "menisci",
        "hidden",
        "graduation_px",
        "camera",
    }
    assert set(t["graduation"]) == {
        "unit_mm",
        "minor",
        "major",
        "label_every",
        "lo",
        "hi",
        "labels",
        "y_zero",
    }
    for limb in t["menisci"]:
        for level in limb:
            assert t["graduation"]["lo"] <= level["reading"] <= t["graduation"]["hi"]
    assert len(t["graduation_px"][0]["px"]) == truth.POINTS
    assert t["graduation"]["labels"] in ("signed", "magnitude", "downward")


def test_out_of_range_level_is_off_the_scale():
    t = truth.record(cases.draw("neg_outofrange", 1))
    (i,) = t["hidden"]
    reading = t["menisci"][i][0]["reading"]
    g = t["graduation"]
    assert not g["lo"] - g["minor"] < reading < g["hi"] + g["minor"]


def test_unknown_class_is_refused():
    with pytest.raises(ValueError, match="utube_colour"):
        cases.draw("no_such_class", 1)
    run = subprocess.run(
        [
            sys.executable,
            "-m",
            "sample_images.generator",
            "--class",
            "nonsense",
            "--out",
            "unused",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert run.returncode == 2
    assert "utube_colour" in run.stderr
    assert "Traceback" not in run.stderr
