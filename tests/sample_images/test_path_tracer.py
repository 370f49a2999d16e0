"""Truth against meshes, prints and pictures; determinism; what is written. No renderer."""

import io
import json
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from limbsight.calib.instrument_file import parse_instrument
from limbsight.errors import InputError
from sample_images.generator import meniscus as generator_meniscus
from sample_images.path_tracer import (
    __main__,
    graduation,
    kinds,
    meniscus,
    padding,
    phone,
    photographs,
    printing,
    scene,
    tubes,
    typefaces,
    walls,
)
from sample_images.path_tracer.budget import Sampled
from sample_images.path_tracer.canvas import Canvas
from sample_images.path_tracer.colour import from_linear, to_linear
from sample_images.path_tracer.lettering import Lettering
from sample_images.path_tracer.meshes import box, ply_bytes
from sample_images.path_tracer.renderer import Renderer
from sample_images.path_tracer.stage import Clear
from tests.renders import axis_to_scale, instrument_text

FACES = (None,) * 33
SIZE_PX, PX_PER_MM = 480, 1.0
WALL_PX = 400
SEED = 5008


@pytest.fixture(scope="module", autouse=True)
def small_walls():
    """What hangs behind an instrument is half of the work, and no matter here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(walls, "SIDE_PX", WALL_PX)
        yield


def prepared(seed, cls):
    return scene.prepare(seed, cls, FACES, SIZE_PX, PX_PER_MM)


@pytest.fixture(scope="module")
def scenes():
    return {cls: prepared(SEED, cls) for cls in kinds.CLASSES}


@pytest.fixture(params=kinds.CLASSES)
def one(request, scenes):
    return scenes[request.param]


def geometry(one):
    return [ply_bytes(part.mesh, (0, one.middle_mm, 0)) for part in one.parts]


def levels(one):
    """Limb, x, and what the truth says of each level."""
    limbs = zip(one.truth["tube"]["x"], one.truth["menisci"], strict=True)
    return [(i, x, m) for i, (x, found) in enumerate(limbs) for m in found]


# Seeds ------------------------------------------------------------------------------------


def test_a_seed_is_one_scene_and_another_is_another(scenes):
    again, other = prepared(SEED, "utube_leg"), prepared(SEED + 1, "utube_leg")
    first = scenes["utube_leg"]
    assert again.truth == first.truth
    assert geometry(again) == geometry(first)
    assert np.array_equal(again.light, first.light)
    assert other.truth["camera"] != first.truth["camera"]
    assert geometry(other) != geometry(first)


@pytest.mark.parametrize(
    ("cls", "reading", "origin_mm"),
    [
        ("neg_broken", 207.847495, (11.038168, 235.725946, 587.154796)),
        ("utube_seal", 21.223499, (-56.091568, 161.386241, 310.702206)),
        ("inclined", 172.357294, (-21.853293, 202.532754, 349.005396)),
    ],
)
def test_a_seed_is_the_scene_that_it_was(scenes, cls, reading, origin_mm):
    """Golden: the camera is drawn last but for its crop, so it tells of all draws before.

    With another order a seed is another photograph, and what the network has learnt from
    could not be made again.
    """
    truth = scenes[cls].truth
    assert truth["camera"]["origin"] == pytest.approx(origin_mm, abs=2e-6)
    assert truth["menisci"][-1][-1]["reading"] == pytest.approx(reading, abs=2e-6)


def test_one_seed_in_nine_is_not_to_be_read_and_all_classes_come_up():
    drawn = [kinds.class_of(seed) for seed in range(900)]
    assert sum(kinds.is_negative(cls) for cls in drawn) == 100
    assert set(drawn) == set(kinds.CLASSES)
    golden = ["bank", "utube_twoscale", "neg_broken"]
    assert [kinds.class_of(seed) for seed in (5001, 5004, 5008)] == golden


def test_photographs_wanted():
    chosen = [w.cls for w in __main__.wanted(__main__.IN_TURN, 17, 18)]
    assert chosen == [*kinds.CLASSES, kinds.CLASSES[0]]
    (bank,) = __main__.wanted("bank", 7, 1)
    assert bank.name == "bank_0007"
    assert __main__.wanted(__main__.BY_SEED, 4, 1)[0].cls == kinds.class_of(4)


# Truth ------------------------------------------------------------------------------------


def test_truth_makes_the_instrument_file_of_the_photograph(one):
    truth = json.loads(json.dumps(one.truth))
    file = parse_instrument(instrument_text(truth))
    assert file.scale.division == truth["graduation"]["minor"]
    assert (file.scale.lowest, file.scale.highest) == (
        truth["graduation"]["lo"],
        truth["graduation"]["hi"],
    )
    assert axis_to_scale(truth).endswith(" mm")
    assert len(truth["menisci"]) == len(truth["tube"]["x"])


def test_only_what_must_not_be_read_hides_levels(one):
    assert bool(one.truth["hidden"]) == kinds.is_negative(one.truth["cls"])
    assert set(one.truth["hidden"]) <= set(range(len(one.truth["menisci"])))


@pytest.mark.parametrize("cls", kinds.READABLE)
def test_readable_photographs_show_their_levels(scenes, cls):
    one = scenes[cls]
    assert one.shows_its_levels
    lost = one.truth | {"menisci": [[{"px": [-5.0, 100.0]}]]}
    assert not replace(one, truth=lost).shows_its_levels


def test_readings_are_those_of_the_scale_printed(one):
    """Along each scale pixels go with values; a level's reading lies on the same line."""
    g = one.truth["graduation"]
    for _, _, m in levels(one):
        above_zero = (m["y_mm"] - g["y_zero"]) / g["unit_mm"]
        sign = -1 if g["labels"] == "downward" else 1
        assert m["reading"] == pytest.approx(sign * above_zero, abs=1e-9)
    for printed in one.truth["graduation_px"]:
        assert (printed["values"][0], printed["values"][-1]) == (g["lo"], g["hi"])
        px = np.array(printed["px"])
        steps = np.diff(px, axis=0)
        along = (px[-1] - px[0]) / np.linalg.norm(px[-1] - px[0])
        assert (steps @ along > 0).all()
        aside = np.abs((px - px[0]) @ [-along[1], along[0]])
        assert aside.max() < 0.02 * np.linalg.norm(px[-1] - px[0])


def test_levels_are_apexes_of_meshes(one):
    """Every level of the truth is a point of some surface, and its rim is on the bore."""
    if one.truth["cls"] == "neg_missing":
        assert not any(isinstance(f, Clear) for f in one.finishes.values())
        return
    z = one.truth["tube"]["z"]
    for _, x, m in levels(one):
        apex = np.array([x, m["y_mm"], z])
        near = [np.linalg.norm(p.mesh.vertices - apex, axis=1) for p in one.parts]
        surfaces = [d for d in near if (d < 1e-9).sum() == tubes.AROUND]
        assert len(surfaces) == 1
        assert surfaces[0].max() >= one.truth["tube"]["ri"] - 1e-9


def test_leaning_tubes_hold_level_liquid(scenes):
    """The plane of the liquid is across gravity, but for what capillarity flattens."""
    one = scenes["inclined"]
    upward, ri = one.camera.upward, one.truth["tube"]["ri"]
    assert np.degrees(np.arccos(upward[1])) == pytest.approx(70.0)
    lean, slope = meniscus._lean(np.array([0.0, ri]), ri, 1e-4, np.radians(70))
    assert lean[0] == 0.0
    assert lean[1] == pytest.approx(ri, rel=0.02)  # hardly any capillarity: all of the plane
    _, held = meniscus._lean(np.array([ri]), ri, 3.0, np.radians(70))
    assert held[0] == pytest.approx(0.0, abs=1e-4)  # the angle at the wall is kept
    assert slope[0] == pytest.approx(1.0, abs=1e-2)


# Camera -----------------------------------------------------------------------------------


def straightened(camera, px):
    """Undo crop and lens: pixels of a pinhole, its middle at 0."""
    middle = np.array([camera.width_px, camera.height_px]) / 2
    at = np.asarray(px) + 0.5 + camera.crop[:2] - middle
    bent = np.linalg.norm(at, axis=1, keepdims=True) / np.linalg.norm(middle)
    return at * (1 + camera.k1 * (bent**2 - 1))


def test_positions_are_those_of_a_pinhole(one):
    """Independent program: OpenCV's projection, after the law of the lens is undone."""
    camera, truth = one.camera, one.truth
    points = [(x, m["y_mm"], truth["tube"]["z"]) for _, x, m in levels(one)]
    turn = np.array([camera.right, -camera.up, camera.forward])
    inner = np.diag([camera.focal_px, camera.focal_px, 1.0])
    moved, _ = cv2.projectPoints(
        np.array(points), cv2.Rodrigues(turn)[0], -turn @ camera.origin, inner, None
    )
    px = [m["px"] for _, _, m in levels(one)]
    np.testing.assert_allclose(straightened(camera, px), moved[:, 0], atol=1e-5)


def test_the_camera_looks_at_its_target(one):
    camera = one.camera
    centre = straightened(camera, [camera.project(camera.target)])
    np.testing.assert_allclose(centre, 0, atol=1e-9)
    diagonal = np.hypot(camera.width_px, camera.height_px)
    middle_f35 = one.truth["camera"]["f35"]
    # In the middle the lens magnifies by 1 / (1 - k1).
    focal = middle_f35 * (1 - camera.k1) * diagonal / 43.2666
    assert focal == pytest.approx(camera.focal_px, rel=1e-6)


@pytest.mark.parametrize("k1", [-0.02, 0.0, 0.03])
def test_the_phone_bends_pictures_as_the_truth_says(scenes, k1):
    """A spot that a pinhole sees at a level comes to lie where the truth has that level."""
    camera = replace(scenes["utube_colour"].camera, k1=k1, margin_px=(20, 20))
    camera = replace(camera, crop=(0, 0, camera.width_px, camera.height_px))
    x_mm, m = next((x, m) for _, x, m in levels(scenes["utube_colour"]))
    place = (x_mm, m["y_mm"], scenes["utube_colour"].truth["tube"]["z"])
    x, y = camera.project(place)
    middle = np.array([camera.width_px, camera.height_px]) / 2
    spot = straightened(camera, [(x, y)])[0] + middle - 0.5 + 20
    v, u = np.mgrid[: camera.height_px + 40, : camera.width_px + 40]
    blob = np.exp(-((u - spot[0]) ** 2 + (v - spot[1]) ** 2) / (2 * 2.5**2))
    seen, _ = phone._distorted(np.repeat(blob[..., None], 3, 2), camera)
    light = seen[..., 1]
    v, u = np.mgrid[: light.shape[0], : light.shape[1]]
    centroid = (light * u).sum() / light.sum(), (light * v).sum() / light.sum()
    assert light.shape == (camera.height_px, camera.width_px)
    np.testing.assert_allclose(centroid, (x, y), atol=0.05)


# Surfaces ---------------------------------------------------------------------------------


def test_narrow_tubes_hold_spheres():
    """Closed form: the rim of a cap is R (1 - sin theta) / cos theta above its apex."""
    radius, theta = 0.1, 30.0
    r, z, psi = meniscus.profile(radius, 500.0, theta)
    angle = np.radians(theta)
    assert z[-1] == pytest.approx(radius * (1 - np.sin(angle)) / np.cos(angle), rel=1e-3)
    assert psi[-1] == pytest.approx(np.radians(90 - theta), abs=1e-9)
    assert (r[0], r[-1]) == (0.0, pytest.approx(radius))


@pytest.mark.parametrize(
    ("tension", "density", "theta"), [(0.07, 997.0, 20.0), (0.485, 13545.0, 137.0)]
)
def test_surfaces_agree_with_the_other_generator(tension, density, theta):
    """Independent program: its table of heights over the radius, good to 1e-4 mm."""
    radius = 3.0
    heights, _ = generator_meniscus.profile(radius, tension, density, theta, 1.0)
    r, z, _ = meniscus.profile(radius, tension / density / 9.81 * 1e6, theta)
    table = np.interp(r, np.linspace(0, radius, len(heights)), heights)
    np.testing.assert_allclose(z, table, atol=2e-3)
    assert (z[-1] > 0) == (theta < 90)


def test_boxes_and_ply_look_outward():
    mesh = box(-1, 1, -2, 2, -3, 3)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    middle = (a + b + c) / 3
    assert (np.sum(np.cross(b - a, c - a) * middle, axis=1) > 0).all()
    written = ply_bytes(mesh, (0, 2, 0))
    head, body = written.split(b"end_header\n", 1)
    assert f"element vertex {len(mesh.vertices)}".encode() in head
    first = np.frombuffer(body, "<f4", 8)
    np.testing.assert_allclose(first[:3], mesh.vertices[0] - [0, 2, 0])


# Prints -----------------------------------------------------------------------------------


def test_lines_are_printed_where_their_values_are():
    rng = np.random.default_rng(3)
    scale = graduation.Graduation(
        unit_mm=10.0,
        minor=0.5,
        mid=None,
        major=1.0,
        label_every=1.0,
        lo=-1,
        hi=3,
        labels="downward",
        text="cm",
        plus=False,
        y_zero_mm=40.03,
    )
    plate = printing.Plate("left", 0.0, 30.0)
    style = printing.draw_style(rng, scale, plate)
    inks = printing.Inks(lines=(0, 0, 0), long_lines=(0, 0, 0), figures=(1, 1, 1))
    canvas = Canvas(np.ones((800, 300, 3)), 0.0, 80.0, 10.0)
    printing.print_scale(canvas, scale, style, plate, Lettering(rng, FACES), inks)
    ink = 1 - canvas.picture[:, 4, 0]
    assert scale.y_mm(3) == pytest.approx(10.03)
    for value in (-1, 0.5, 2, 3):
        row = round((80.0 - scale.y_mm(value)) * 10 - 0.5)
        near = np.arange(row - 15, row + 16)
        centre = (ink[near] * near).sum() / ink[near].sum()
        assert 80.0 - (centre + 0.5) / 10 == pytest.approx(scale.y_mm(value), abs=1e-3)


def test_figures_are_what_the_scale_counts():
    g = graduation.draw(np.random.default_rng(0), "utube_colour", "utube_colour", "water")
    signed = replace(g, labels="signed", label_every=0.5, plus=True)
    assert [signed.label(v) for v in (-0.5, -0.0, 1.0)] == ["-0.5", "0.0", "+1.0"]
    counted = replace(g, labels="magnitude", label_every=20, plus=False)
    assert [counted.label(v) for v in (-20, 0, 40)] == ["20", "0", "40"]


def test_engraved_figures_are_as_high_as_they_are_said_to_be():
    hand = Lettering(np.random.default_rng(1), FACES)
    hand.engraved = True
    assert hand.name == "stroke"
    ink = hand.coverage("17", 40.0)
    rows = np.where(ink.max(1) > 0.5)[0]
    assert rows[-1] - rows[0] == pytest.approx(40.0, abs=40 * hand.stroke_weight / 6 + 1)


def test_fonts_are_those_of_the_folder(tmp_path):
    with pytest.raises(InputError, match="no fonts"):
        typefaces.in_folder(tmp_path)
    for name in ("Bwght.ttf", "A.otf", "note.txt"):
        (tmp_path / name).touch()
    assert [Path(str(p)).name for p in typefaces.in_folder(tmp_path)] == ["A.otf", "Bwght.ttf"]
    assert typefaces.of_this_machine()


# Rendering and developing -----------------------------------------------------------------


def test_all_scenes_need_one_kernel(one):
    finishes = padding.padded({n: padding.rounded(f) for n, f in one.finishes.items()})
    counts = {
        kind: sum(padding.kind_of(f) == kind for f in finishes.values())
        for kind in padding.COUNTS
    }
    assert counts == padding.COUNTS
    constants = {(f.inside, f.outside) for f in finishes.values() if isinstance(f, Clear)}
    assert constants == set(padding.INDEX_PAIRS)
    assert len(one.parts) + len(padding.standard_names()) <= padding.PARTS
    assert len(one.absorptions) < padding.LIQUIDS


def test_curves_of_light_are_inverse():
    shown = np.linspace(0, 1, 51)
    np.testing.assert_allclose(from_linear(to_linear(shown)), shown, atol=2e-5)


def test_what_is_written_turns_upright_and_tells_the_levels(scenes, tmp_path):
    sampled = Sampled(mean=80.0, most=96.0, median_error=0.02, worst_percent_error=0.1)
    one = scenes["utube_colour"]
    camera, stem = one.camera, tmp_path / "one"
    right, down = camera.margin_px
    shape = (camera.height_px + 2 * down, camera.width_px + 2 * right, 3)
    light = np.full(shape, 0.3, np.float32)
    light[: shape[0] // 2, : shape[1] // 2] = 1.0
    turned, kept = set(), photographs.without_parts(one)
    for seed in range(10):
        other = replace(kept, truth=one.truth | {"seed": seed})
        photographs.write(stem, light, other, sampled)
        picture = Image.open(io.BytesIO(stem.with_suffix(".jpg").read_bytes()))
        truth = json.loads(stem.with_suffix(".json").read_text(encoding="utf-8"))
        upright = ImageOps.exif_transpose(picture)
        assert upright.size == camera.size_px
        corners = np.asarray(upright.convert("L").resize((2, 2), Image.Resampling.BOX))
        assert corners.argmax() == 0
        assert truth["degrade"]["spp"]["mean"] == 80.0
        assert truth["menisci"] == one.truth["menisci"]
        turned.add(truth["degrade"]["rotate"])
    assert turned == {1, 3, 6, 8}


def test_glare_burns_out_the_level_that_it_hides(scenes):
    one = scenes["neg_glare"]
    (limb,) = one.truth["hidden"]
    glare, crop = one.spoil.glare, one.camera.crop
    at = np.array([glare.x_px - crop[0], glare.y_px - crop[1]])
    np.testing.assert_allclose(at, one.truth["menisci"][limb][0]["px"], atol=1e-9)
    spot = phone._spot(
        np.zeros((200, 100, 3)), np.random.default_rng(0), replace(glare, x_px=50, y_px=80)
    )
    assert spot[80, 50, 0] > 5
    assert spot[199, 0, 0] < 1


def test_without_the_renderer_the_message_says_what_to_install(monkeypatch, tmp_path, capsys):
    monkeypatch.setitem(sys.modules, "mitsuba", None)
    with pytest.raises(InputError, match=r"limbsight\[trace\]"):
        Renderer("cuda_ad_rgb")
    with pytest.raises(SystemExit) as ended:
        __main__.main(["--out", str(tmp_path)])
    assert ended.value.code == 2
    assert "mitsuba" in capsys.readouterr().err
