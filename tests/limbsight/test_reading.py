"""The whole road on sample photos: right, refused, and the same each time."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from limbsight.calib.instrument_file import load_instrument, parse_instrument
from limbsight.errors import InputError
from limbsight.reading import read_photo
from limbsight.reasons import KINDS, status_of
from limbsight.report import reading_to_dict

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
JOURNEYS = (
    *("fan-inlet", "air-receiver", "wind-tunnel", "seepage-tank", "kerosene-line"),
    "boiler-draught",
)
"""Water, mercury, two scales, one limb of oil, a process liquid above, an inclined tube."""

FACTOR = 3.0
"""Standard uncertainties: one level in 370 of a normal error lies beyond."""


def instrument_of(name):
    return load_instrument(SAMPLES / f"{name}.toml")


def read_sample(name):
    return read_photo(SAMPLES / f"{name}.jpg", instrument=instrument_of(name))


def answer_of(name):
    return tomllib.loads((SAMPLES / f"{name}.answer.toml").read_text())


def fan_picture() -> np.ndarray:
    picture = cv2.imread(str(SAMPLES / "fan-inlet.jpg"))
    assert picture is not None
    return np.asarray(picture)


@pytest.fixture(scope="module")
def fan():
    return read_sample("fan-inlet")


def levels_of(reading):
    return [level for limb in reading.limbs for level in limb.levels]


@pytest.mark.parametrize("name", JOURNEYS)
def test_levels_are_right_within_their_uncertainty(name):
    reading = read_sample(name)
    assert reading.status == "read", reading.reasons
    answer = answer_of(name)
    assert len(reading.limbs) == len(answer["limbs"])
    for limb, truth in zip(reading.limbs, answer["limbs"], strict=True):
        for level, true in zip(limb.levels, truth["levels"], strict=True):
            error = level.value - true["value"]
            assert abs(error) < FACTOR * level.standard_uncertainty
            assert level.standard_uncertainty < 0.5 * answer["division"]
            assert np.hypot(level.x_px - true["x_px"], level.y_px - true["y_px"]) < 6
    assert reading.pressure is not None
    assert reading.pressure.kind == "gauge"
    assert status_of(reading.reasons) == reading.status


def test_positions_and_values_agree(fan):
    """A level lies between the graduations that its value lies between."""
    for level in levels_of(fan):
        heights = sorted(
            (mark.value, 0.5 * (mark.start_px[1] + mark.end_px[1])) for mark in fan.graduations
        )
        values, y = np.array(heights).T
        at = np.interp(level.value, values, y)
        # The lines run level within a degree here: 8 px over the board's width.
        assert abs(at - level.y_px) < 8
        low, high = level.interval_px
        assert low[1] > level.y_px > high[1]
    assert sum(mark.numbered for mark in fan.graduations) >= 19
    assert {mark.value for mark in fan.graduations if mark.numbered} <= set(
        range(-200, 201, 20)
    )


def test_twice_the_same(fan):
    assert reading_to_dict(read_sample("fan-inlet")) == reading_to_dict(fan)


@pytest.mark.parametrize(
    ("orientation", "turn"), [(3, Image.Transpose.ROTATE_180), (6, Image.Transpose.ROTATE_90)]
)
def test_a_photo_stored_turned_is_the_same(fan, tmp_path, orientation, turn):
    """Lossless and with the turn in its EXIF data, the reading keeps every digit."""
    with Image.open(SAMPLES / "fan-inlet.jpg") as photo:
        exif = photo.getexif()
        upright = photo.convert("RGB")
    paths = {}
    for name, picture, value in (
        ("up", upright, 1),
        ("turned", upright.transpose(turn), orientation),
    ):
        exif[0x0112] = value
        paths[name] = tmp_path / f"{name}.png"
        picture.save(paths[name], exif=exif, compress_level=1)
    up, turned = (
        read_photo(paths[name], instrument=instrument_of("fan-inlet"))
        for name in ("up", "turned")
    )
    assert up.size_px == turned.size_px
    for a, b, c in zip(levels_of(up), levels_of(turned), levels_of(fan), strict=True):
        assert a == b
        assert a.value == pytest.approx(c.value, abs=FACTOR * c.standard_uncertainty)


def test_an_inclined_tube_is_marked_where_it_lies():
    """Axis and graduations in the picture as it is: the tube rises by 20 degrees there."""
    reading = read_sample("boiler-draught")
    (limb,) = reading.limbs
    (low, high), (level,) = limb.axis_px, limb.levels
    assert np.degrees(np.arctan2(low[1] - high[1], abs(high[0] - low[0]))) == pytest.approx(
        20.0, abs=1.0
    )
    along = np.subtract(high, low) / np.hypot(*np.subtract(high, low))
    ends = [np.subtract(end, (level.x_px, level.y_px)) @ along for end in level.interval_px]
    assert ends[0] < 0 < ends[1]
    for mark in reading.graduations:
        line = np.subtract(mark.end_px, mark.start_px)
        assert abs(line @ along) < 0.1 * np.hypot(*line)
    places = [np.mean([m.start_px, m.end_px], axis=0) @ along for m in reading.graduations]
    assert np.corrcoef(places, [m.value for m in reading.graduations])[0, 1] > 0.999


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_photo_turned_without_exif_is_the_same(fan, tmp_path, quarters):
    """The printed numbers tell which way up it is; positions are those of the photo given."""
    picture = np.ascontiguousarray(np.rot90(fan_picture(), quarters))
    path = tmp_path / "turned.png"
    cv2.imwrite(str(path), picture)
    reading = read_photo(path, instrument=instrument_of("fan-inlet"))
    assert reading.status == "read", reading.reasons
    assert reading.size_px == picture.shape[1::-1]
    height, width = fan_picture().shape[:2]
    for a, b in zip(levels_of(reading), levels_of(fan), strict=True):
        assert a.value == pytest.approx(b.value, abs=FACTOR * b.standard_uncertainty)
        x, y = {
            1: (a.y_px, a.x_px),
            2: (width - 1 - a.x_px, height - 1 - a.y_px),
            3: (a.y_px, a.x_px),
        }[quarters]
        x = width - 1 - x if quarters == 1 else x
        y = height - 1 - y if quarters == 3 else y
        assert np.hypot(x - b.x_px, y - b.y_px) < 3
    assert len(reading.graduations) > 0.9 * len(fan.graduations)


def test_half_the_size_agrees(fan, tmp_path):
    picture = fan_picture()
    height, width = picture.shape[:2]
    path = tmp_path / "small.png"
    size = (int(0.75 * width), int(0.75 * height))
    cv2.imwrite(str(path), cv2.resize(picture, size, interpolation=cv2.INTER_AREA))
    small = read_photo(path, instrument=instrument_of("fan-inlet"))
    assert small.status != "refused", small.reasons
    for a, b in zip(levels_of(small), levels_of(fan), strict=True):
        together = np.hypot(a.standard_uncertainty, b.standard_uncertainty)
        assert abs(a.value - b.value) < FACTOR * together


@pytest.fixture(scope="module")
def unknown():
    return read_photo(SAMPLES / "fan-inlet.jpg")


@pytest.fixture(scope="module")
def told():
    return read_photo(SAMPLES / "fan-inlet.jpg", axis_to_scale="1 mm")


def test_a_photo_of_a_screen_does_not_believe_its_own_lens(fan, tmp_path):
    picture = fan_picture()
    height, width = picture.shape[:2]
    rim, room = round(0.025 * width), round(0.05 * width)
    picture = cv2.copyMakeBorder(picture, *(rim,) * 4, cv2.BORDER_CONSTANT, value=(18, 18, 18))
    rest = round((width + 2 * rim + 2 * room) * 4 / 3) - height - 2 * rim
    picture = cv2.copyMakeBorder(
        picture,
        max(rest // 2, room),
        max(rest // 2, room),
        room,
        room,
        cv2.BORDER_CONSTANT,
        value=(90, 90, 90),
    )
    with Image.open(SAMPLES / "fan-inlet.jpg") as photo:
        exif = photo.getexif()
        exif.get_ifd(0x8769).clear()
        exif.get_ifd(0x8769)[0xA405] = 26
    path = tmp_path / "screen.jpg"
    Image.fromarray(picture[:, :, ::-1]).save(path, exif=exif, quality=95)
    reading = read_photo(path, instrument=instrument_of("fan-inlet"))
    assert "picture_of_picture" in [r.code for r in reading.reasons]
    for level, plain in zip(levels_of(reading), levels_of(fan), strict=True):
        u = level.standard_uncertainty
        assert u > plain.standard_uncertainty
        assert abs(level.value - plain.value) < FACTOR * u


class TestDepthWithoutFile:
    def test_told_it_narrows_the_intervals_and_they_hold(self, unknown, told):
        limbs = answer_of("fan-inlet")["limbs"]
        truth = [level["value"] for limb in limbs for level in limb["levels"]]
        pairs = list(zip(levels_of(unknown), levels_of(told), strict=True))
        before, after = (
            max(level.standard_uncertainty for level in each)
            for each in zip(*pairs, strict=True)
        )
        assert after < 0.75 * before
        for (before, after), true in zip(pairs, truth, strict=True):
            assert after.standard_uncertainty < before.standard_uncertainty
            for level in (before, after):
                assert abs(level.value - true) < FACTOR * level.standard_uncertainty

    def test_the_reading_says_what_is_given_and_what_is_missing(self, unknown, told):
        texts = {r.code: r.text for r in unknown.reasons}
        assert "0 to 8 mm in front" in texts["read_without_file"]
        assert "--axis-to-scale" in texts["depth_unknown"]
        texts = {r.code: r.text for r in told.reasons}
        assert "1 mm in front of the graduated face, as given" in texts["read_without_file"]
        assert "depth_unknown" not in texts

    def test_a_face_that_goes_on_behind_the_tubes_tells_more(self):
        reading = read_photo(SAMPLES / "air-receiver.jpg")
        texts = {r.code: r.text for r in reading.reasons}
        assert "goes on behind them" in texts["read_without_file"]
        truth = [
            level["value"]
            for limb in answer_of("air-receiver")["limbs"]
            for level in limb["levels"]
        ]
        for level, true in zip(levels_of(reading), truth, strict=True):
            assert abs(level.value - true) < FACTOR * level.standard_uncertainty

    def test_given_with_the_photo_it_is_as_good_as_in_the_file(self):
        fan = instrument_of("fan-inlet")
        without = replace(fan, tube=replace(fan.tube, axis_to_scale_m=None))
        given = read_photo(SAMPLES / "fan-inlet.jpg", instrument=without, axis_to_scale="1 mm")
        assert reading_to_dict(given) == reading_to_dict(read_sample("fan-inlet"))

    def test_it_is_not_given_twice(self):
        with pytest.raises(InputError, match="axis_to_scale"):
            read_photo(
                SAMPLES / "fan-inlet.jpg",
                instrument=instrument_of("fan-inlet"),
                axis_to_scale="1 mm",
            )


class TestNotRead:
    @pytest.mark.parametrize("name", ["hand-shake", "hidden-limb", "off-scale"])
    def test_samples_that_must_not_be(self, name):
        reading = read_sample(name)
        assert reading.status != "read"
        assert reading.reasons

    def test_another_instrument(self):
        """The file of a scale in inches with a photo of one in millimetres."""
        wrong = instrument_of("conveyor-suction")
        reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=wrong)
        assert reading.status == "refused"
        assert reading.pressure is None

    @pytest.mark.parametrize(
        "changes",
        [
            {"highest": 100.0, "lowest": -100.0},
            {"lowest": 0.0, "highest": 400.0, "numbers": "upward"},
            {"highest": 300.0, "lowest": -300.0},
        ],
    )
    def test_a_scale_that_is_not_the_one_in_the_file(self, changes):
        right = instrument_of("fan-inlet")
        wrong = replace(right, scale=replace(right.scale, **changes))
        reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=wrong)
        assert reading.status != "read", [level.value for level in levels_of(reading)]

    def test_a_longer_scale_than_the_one_in_the_picture(self):
        right = instrument_of("fan-inlet")
        wrong = replace(right, scale=replace(right.scale, lowest=-300.0, highest=300.0))
        reading = read_photo(SAMPLES / "fan-inlet.jpg", instrument=wrong)
        assert "scale_partly_seen" in [reason.code for reason in reading.reasons]

    def test_what_is_unseen_is_asked_of_the_scale_that_is_read_by(self, monkeypatch):
        """The lines beside the tubes may be all that there are, where those first found,
        through glass, were not."""
        read_by, asked = [], []

        def beside(view, scale, limbs, known, lean):
            read_by.append(replace(scale))
            return read_by[-1], limbs, False

        def unseen(view, scale, spec):
            asked.append(scale)
            return 0.0

        monkeypatch.setattr("limbsight.reading._clear_of_glass", beside)
        monkeypatch.setattr("limbsight.reading.unseen_share", unseen)
        read_photo(SAMPLES / "fan-inlet.jpg", instrument=instrument_of("fan-inlet"))
        assert [id(scale) for scale in asked] == [id(scale) for scale in read_by]
        assert len(asked) == 1

    def test_an_instrument_of_one_limb(self):
        right = instrument_of("fan-inlet")
        reading = read_photo(
            SAMPLES / "fan-inlet.jpg",
            instrument=replace(right, arrangement="single-limb", tapped_limb=None),
        )
        assert reading.status != "read"

    @pytest.mark.parametrize("grey", [0, 128, 255])
    @pytest.mark.parametrize("with_file", [True, False])
    def test_a_blank_picture(self, tmp_path, grey, with_file):
        path = tmp_path / "blank.png"
        Image.fromarray(np.full((700, 500, 3), grey, np.uint8)).save(path)
        instrument = instrument_of("fan-inlet") if with_file else None
        reading = read_photo(path, instrument=instrument)
        assert reading.status == "refused"
        assert reading.limbs == ()
        assert reading.pressure is None
        assert reading.reasons[0].code in KINDS

    @pytest.mark.parametrize("size", [(1, 1), (7, 3), (40, 2000)])
    def test_odd_sizes_do_not_crash(self, tmp_path, size):
        path = tmp_path / "odd.png"
        noise = np.random.default_rng(1).integers(0, 256, (*size, 3))
        Image.fromarray(noise.astype(np.uint8)).save(path)
        assert read_photo(path, instrument=instrument_of("fan-inlet")).status == "refused"

    def test_noise(self, tmp_path):
        path = tmp_path / "noise.png"
        noise = np.random.default_rng(1).integers(0, 256, (600, 800, 3))
        Image.fromarray(noise.astype(np.uint8)).save(path)
        assert read_photo(path, instrument=instrument_of("fan-inlet")).status == "refused"

    def test_half_of_the_scale_outside_the_picture(self, tmp_path):
        """What is left of it may be numbered in two ways; numerals or nothing decide."""
        picture = fan_picture()
        path = tmp_path / "half.png"
        cv2.imwrite(str(path), picture[: int(0.55 * picture.shape[0])])
        reading = read_photo(path, instrument=instrument_of("fan-inlet"))
        truth = [limb["levels"][0]["value"] for limb in answer_of("fan-inlet")["limbs"]]
        if reading.status == "read":
            for level, value in zip(levels_of(reading), truth, strict=True):
                assert abs(level.value - value) < 4 * level.standard_uncertainty

    def test_a_mirrored_picture(self, tmp_path):
        path = tmp_path / "mirror.png"
        cv2.imwrite(str(path), fan_picture()[:, ::-1])
        assert read_photo(path, instrument=instrument_of("fan-inlet")).status != "read"

    def test_no_photo_is_an_error(self, tmp_path):
        path = tmp_path / "no.jpg"
        path.write_text("no photo")
        with pytest.raises(InputError):
            read_photo(path)


def test_what_the_reduction_lacks_is_a_reason_and_levels_stay():
    text = (SAMPLES / "kerosene-line.toml").read_text()
    without = "\n".join(
        line for line in text.splitlines() if not line.startswith(("[tapping]", "height"))
    )
    reading = read_photo(SAMPLES / "kerosene-line.jpg", instrument=parse_instrument(without))
    assert reading.status == "read"
    assert reading.pressure is None
    assert "pressure_not_computed" in [reason.code for reason in reading.reasons]
    assert len(levels_of(reading)) == 2
