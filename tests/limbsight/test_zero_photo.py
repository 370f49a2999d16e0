"""A zero photo: what it shares with the photo it is subtracted from, and the way there."""

from __future__ import annotations

import hashlib
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import limbsight
from limbsight.calib.instrument_file import load_instrument
from limbsight.cli import main
from limbsight.errors import InputError
from limbsight.level_heights import HeightComponent, LevelHeight
from limbsight.reading import read_photo, read_zero
from limbsight.records import Reason, ZeroUsed
from limbsight.vision.picture import Picture
from limbsight.zero_photo import Camera, ZeroPhoto

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
FOLDER = SAMPLES / "zero"
PHOTO, OPEN, FILE = (
    FOLDER / name for name in ("bag-filter.jpg", "bag-filter-open.jpg", "bag-filter.toml")
)

OIL_KG_M3, GRAVITY_M_S2, INCH_M = 825.4, 9.808, 0.0254
"""Red oil of the file at 21 degC, gravity at latitude 48 deg and 210 m (WGS 84)."""


@pytest.fixture(scope="module")
def instrument():
    return load_instrument(FILE)


@pytest.fixture(scope="module")
def zero(instrument):
    return read_zero(OPEN, instrument=instrument)


@pytest.fixture(scope="module")
def zeroed(instrument, zero):
    return read_photo(PHOTO, instrument=instrument, zero=zero)


@pytest.fixture(scope="module")
def plain(instrument):
    return read_photo(PHOTO, instrument=instrument)


def apart_m(name):
    answer = tomllib.loads((FOLDER / f"{name}.answer.toml").read_text())
    left, right = (limb["levels"][0]["value"] for limb in answer["limbs"])
    return (right - left) * INCH_M


def true_pa(height_m):
    return (OIL_KG_M3 - 1.2) * GRAVITY_M_S2 * height_m


def test_the_pressure_is_that_above_the_zero(zeroed, plain):
    assert zeroed.status == plain.status == "read"
    wanted = true_pa(apart_m("bag-filter") - apart_m("bag-filter-open"))
    pressure = zeroed.pressure
    assert abs(pressure.value_pa - wanted) < 2 * pressure.standard_uncertainty_pa
    # The board leans: without the zero the reading is off by what the zero shows.
    assert true_pa(apart_m("bag-filter-open")) > 4.0
    assert pressure.zero_pa == pytest.approx(true_pa(apart_m("bag-filter-open")), abs=1.5)
    assert abs(plain.pressure.value_pa - wanted) > abs(pressure.value_pa - wanted)


def test_what_both_share_leaves_the_budget(zeroed, plain):
    assert plain.pressure.zero_pa is None
    assert plain.zero is None
    assert zeroed.limbs == plain.limbs
    tilt = {
        which: next(
            (b.contribution_pa for b in r.pressure.budget if b.name == "tilt from plumb"),
            0.0,
        )
        for which, r in (("plain", plain), ("zeroed", zeroed))
    }
    assert abs(tilt["plain"]) > 1.0
    assert abs(tilt["zeroed"]) < 0.01
    assert zeroed.pressure.standard_uncertainty_pa < plain.pressure.standard_uncertainty_pa
    names = [line.name for line in zeroed.pressure.budget]
    assert any(name.startswith("zero: meniscus") for name in names)
    assert any(name.startswith("zero: scale map") for name in names)
    assert "zero: axis to scale" not in names


def test_a_path_does_as_well(zeroed, instrument):
    again = read_photo(PHOTO, instrument=instrument, zero=OPEN)
    assert again.pressure == zeroed.pressure
    assert again.zero == zeroed.zero
    assert limbsight.read_zero is read_zero


def test_a_zero_under_its_own_zero_is_nothing(instrument, zero):
    nothing = read_photo(OPEN, instrument=instrument, zero=zero).pressure
    assert nothing is not None
    assert nothing.value_pa == pytest.approx(0.0, abs=1e-3)
    assert nothing.standard_uncertainty_pa > 0.5  # two menisci and two maps, twice


class TestShared:
    def levels_beside(self, focal_35mm, size_px, camera):
        parts = tuple(
            HeightComponent(name=key or "fit", standard_uncertainty=0.1, shared_key=key)
            for key in (None, "scale_map_0", "scale_map_4", "focal_length", "axis_to_scale")
        )
        zero = ZeroPhoto(
            used=ZeroUsed(photo="open.jpg", sha256="0" * 64, taken_at=None),
            levels=((LevelHeight(value=1.0, unit="mm", components=parts),),),
            camera=camera,
        )
        picture = Picture(
            size_px=size_px,
            decode=lambda: np.zeros((size_px[1], size_px[0], 3), np.uint8),
            focal_35mm=focal_35mm,
            taken_at=None,
            sha256="",
        )
        return [part.shared_key for part in zero.levels_beside(picture)[0][0].components]

    @pytest.mark.parametrize("size_px", [(30, 40), (40, 30)])
    def test_one_camera(self, size_px):
        """The map is each photo's own; the lens and the instrument are the same."""
        camera = Camera(focal_35mm=26.0, size_px=(30, 40))
        assert self.levels_beside(26.0, size_px, camera) == [
            None,
            "zero photo scale_map_0",
            "zero photo scale_map_4",
            "focal_length",
            "axis_to_scale",
        ]

    @pytest.mark.parametrize(
        ("focal", "size_px"), [(28.0, (30, 40)), (26.0, (60, 80)), (None, (30, 40))]
    )
    def test_another_camera_or_an_unknown_one(self, focal, size_px):
        camera = Camera(focal_35mm=26.0 if focal else None, size_px=(30, 40))
        keys = self.levels_beside(focal, size_px, camera)
        assert keys[3:] == ["zero photo focal_length", "axis_to_scale"]


class TestRefused:
    def test_a_photo_that_cannot_be_read(self, instrument):
        with pytest.raises(InputError, match=r"hand-shake\.jpg: can't be read as") as caught:
            read_zero(SAMPLES / "hand-shake.jpg", instrument=instrument)
        assert caught.value.code == "bad_zero"

    def test_one_of_another_instrument(self, instrument):
        with pytest.raises(InputError, match=r"fan-inlet\.jpg: can't be read as a zero"):
            read_zero(SAMPLES / "fan-inlet.jpg", instrument=instrument)

    def test_one_with_a_pressure_on_it(self, instrument):
        with pytest.raises(
            InputError, match=r"bag-filter\.jpg: .* not of both ends"
        ) as caught:
            read_zero(PHOTO, instrument=instrument)
        assert caught.value.code == "not_a_zero"

    def test_no_photo_at_all(self, instrument, tmp_path):
        with pytest.raises(InputError, match="no such file") as caught:
            read_photo(PHOTO, instrument=instrument, zero=tmp_path / "none.jpg")
        assert caught.value.code == "bad_file"

    def test_without_an_instrument_file(self):
        with pytest.raises(InputError, match="needs an instrument file"):
            read_photo(PHOTO, zero=OPEN)

    def test_over_a_liquid_line(self):
        line = load_instrument(SAMPLES / "kerosene-line.toml")
        with pytest.raises(InputError, match="process fluid is a liquid"):
            read_zero(SAMPLES / "kerosene-line.jpg", instrument=line)

    def test_fewer_limbs_leave_the_levels_and_say_so(self, instrument, zero):
        short = replace(zero, levels=zero.levels[:1])
        reading = read_photo(PHOTO, instrument=instrument, zero=short)
        assert reading.status == "check"
        assert reading.pressure is None
        assert reading.zero is None
        assert [r.code for r in reading.reasons] == ["zero_unfit"]

    def test_a_doubtful_zero_makes_every_reading_doubtful(self, instrument, zero):
        doubts = (Reason(code="level_uncertain", text="wide"),)
        reading = read_photo(PHOTO, instrument=instrument, zero=replace(zero, doubts=doubts))
        assert reading.status == "check"
        assert reading.pressure is not None
        (reason,) = reading.reasons
        assert reason.code == "zero_doubtful"
        assert "level_uncertain" in reason.text


class TestJourney:
    """From the command line, as a technician takes a zero with every round."""

    def run(self, *arguments):
        return CliRunner().invoke(main, ["read", *map(str, arguments)])

    def test_table_json_and_overlay_name_the_zero(self, tmp_path):
        common = (PHOTO, "-i", FILE, "--zero", OPEN, "-u", "Pa")
        sha256 = hashlib.sha256(OPEN.read_bytes()).hexdigest()
        table = self.run(*common, "--overlay", tmp_path)
        assert table.exit_code == 0, table.output
        text = " ".join(table.stdout.split())
        assert "zero subtracted: 5." in text
        assert f"bag-filter-open.jpg (sha256 {sha256[:12]})" in text
        data = json.loads(self.run(*common, "--json").stdout)
        assert data["zero"]["photo"] == str(OPEN)
        assert data["zero"]["sha256"] == sha256
        assert data["pressure"]["zero_subtracted"] == pytest.approx(5.9, abs=1.0)
        assert data["pressure"]["value"] == pytest.approx(294.5, abs=3.0)
        heights = [self.overlay_height(tmp_path / str(k), k) for k in (True, False)]
        assert heights[0] > heights[1]  # a line more in the banner

    def overlay_height(self, folder, with_zero):
        more = ("--zero", OPEN) if with_zero else ()
        done = self.run(PHOTO, "-i", FILE, "--overlay", folder, *more)
        assert done.exit_code == 0
        with Image.open(folder / "bag-filter.overlay.jpg") as drawn:
            return drawn.height

    def test_without_a_zero_json_says_none(self):
        data = json.loads(self.run(PHOTO, "-i", FILE, "--json").stdout)
        assert data["zero"] is None
        assert "zero_subtracted" not in data["pressure"]

    @pytest.mark.parametrize(
        ("name", "words"),
        [
            ("hand-shake.jpg", "can't be read as a zero photo"),
            ("none.jpg", "no such file"),
            ("zero/bag-filter.jpg", "tilt and capillarity make"),
        ],
    )
    def test_a_zero_that_will_not_do_stops_the_call(self, name, words):
        result = self.run(PHOTO, "-i", FILE, "--zero", SAMPLES / name, "--json")
        assert result.exit_code == 2
        assert result.stdout == ""
        assert words in result.stderr
        assert result.stderr.count("\n") == 1

    def test_a_zero_needs_the_instrument_file(self):
        result = self.run(PHOTO, "--zero", OPEN)
        assert result.exit_code == 2
        assert "--zero is subtracted from a pressure" in result.stderr
