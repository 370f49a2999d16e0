"""Instrument files: what is read from them, and what is said when they are wrong."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from limbsight.calib.instrument_file import load_instrument, load_instruments, parse_instrument
from limbsight.errors import InstrumentError
from tests.helpers.instrument_files import FULL, LEAST, labelled

EXAMPLES = Path(__file__).resolve().parents[2] / "sample_images" / "instruments"


def test_everything_the_format_has():
    i = parse_instrument(FULL)
    assert (i.name, i.arrangement, i.tapped_limb) == ("fan-inlet", "u-tube", "left")
    assert (i.scale.unit_m, i.scale.unit_pa) == (1e-3, None)
    assert i.scale.true_at_k == pytest.approx(293.15)
    assert i.scale.standard_uncertainty_m == pytest.approx(1e-4)
    assert i.tube.bore_m == pytest.approx(7e-3)
    assert i.tube.axis_to_scale_m == pytest.approx(9e-3)
    assert i.tube.incline_rad == pytest.approx(math.radians(12))
    (seal,) = i.liquids.seals
    assert seal.density_kg_m3 == pytest.approx(826)
    assert seal.expansion_per_k == pytest.approx(7e-4)
    assert i.tapping.height is not None
    assert i.tapping.height.value == pytest.approx(0.31)
    assert i.site.barometer_pa is not None
    assert i.site.barometer_pa.value == pytest.approx(100900)
    assert i.site.latitude_rad == pytest.approx(math.radians(52))
    assert (i.limits.low_pa, i.limits.high_pa) == (-200.0, 1200.0)


def test_what_is_left_out_is_none():
    i = parse_instrument(LEAST)
    assert i.tube.bore_m is None
    assert i.tube.axis_to_scale_m is None
    assert i.scale.material is None
    assert i.site.temperature_k is None
    assert i.liquids.process.name == "air"
    assert i.reference.open_to == "air"


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda p: p.stem)
def test_examples_load(path):
    assert load_instrument(path).name


def test_every_arrangement_has_an_example():
    from typing import get_args

    from limbsight.calib.instrument import ArrangementName

    shown = {load_instrument(path).arrangement for path in EXAMPLES.glob("*.toml")}
    assert shown == set(get_args(ArrangementName))


WRONG = [
    ('name = "fan-inlet"', "", "name: is missing"),
    ('"u-tube"', '"w-tube"', r"arrangement: 'w-tube' is not known; write one of: u-tube"),
    ('tapped_limb = "left"', "", "tapped_limb: is missing"),
    ('tapped_limb = "left"', 'tapped_limb = "top"', "tapped_limb: 'top' is not known"),
    ('unit = "mm"', 'unit = "kg"', "scale.unit: 'kg' is no length or pressure"),
    ("division = 1.0", "division = 0.0", "scale.division: must be above 0"),
    ("division = 1.0", 'division = "1 mm"', "scale.division: '1 mm' is not a plain number"),
    ("division = 1.0", "division = 0.7", "scale.numbered_every: is not a whole number"),
    ("division = 1.0", "", "scale.division: is missing"),
    ("highest = 150.0", "highest = -160.0", "scale.highest: -160 is not above lowest"),
    ("lowest = -150.0", "lowest = 0.0", "scale.numbers: away-from-zero needs a zero"),
    ("[scale]", "[scale]\ncolour = 3", "scale.colour: is not a known key here; write one of:"),
    ("[tube]", "[tubes]", "tubes: is not a known key here"),
    ('bore = "7 mm"', "bore = 7", "tube.bore: 7 has no unit"),
    ('bore = "7 mm"', 'bore = "7"', "tube.bore: '7' has no unit; write a length"),
    ('bore = "7 mm"', 'bore = "7 degC"', "tube.bore: '7 degC' is no length"),
    ('bore = "7 mm"', 'bore = "-7 mm"', "tube.bore: must be above 0"),
    ('bore = "7 mm"', 'bore = "12 mm"', "tube.bore: is not smaller than outside_diameter"),
    ('axis_to_scale = "9 mm"', 'axis_to_scale = "9 cm"', "tube.axis_to_scale: is above 50 mm"),
    (
        'axis_to_scale = "9 mm"',
        'axis_to_scale = "-9 mm"',
        "tube.axis_to_scale: puts all of the tube behind the face",
    ),
    ('bore = "7 mm"', 'meniscus_height = "0 mm"', "tube.meniscus_height: must be above 0"),
    ('"12 deg"', '"112 deg"', "tube.incline: must lie above 0 and up to 90 deg"),
    ('manometric = "water"', "", "liquids.manometric: is missing"),
    ('manometric = "water"', "manometric = 3", "liquids.manometric: 3 is no liquid"),
    ('density = "826 kg/m^3"', 'density = "0.8 kg/m^3"', "density: is no density of a liquid"),
    ('density = "826 kg/m^3"', "", "seal.at: belongs to a density"),
    (
        'density = "826 kg/m^3"',
        'density = "826 kg/m^3"\nspecific_gravity = 0.8',
        "specific_gravity: and density are both given",
    ),
    ('latitude = "52 deg"', 'latitude = "152 deg"', "site.latitude: must lie between"),
    ('barometer = "1009 hPa"', 'barometer = "1009 Pa"', "site.barometer: must lie between"),
    ('barometer = "1009 hPa"', 'barometer = "1009 parsnips"', "unknown unit 'parsnips'"),
    ('temperature = "22 degC"', 'temperature = "22 mm"', "site.temperature: '22 mm' is no"),
    ('low = "-200 Pa"', 'low = "2 kPa"', "limits.low: is not below high"),
    ('open_to = "air"', 'height = "3 mm"', "reference.open_to: must be 'tapping'"),
]


@pytest.mark.parametrize(("right", "wrong", "message"), WRONG, ids=[w[2][:40] for w in WRONG])
def test_errors_name_file_key_and_mend(tmp_path, right, wrong, message):
    assert right in FULL
    path = tmp_path / "fan.toml"
    path.write_text(FULL.replace(right, wrong, 1), encoding="utf-8")
    with pytest.raises(InstrumentError, match=message) as caught:
        load_instrument(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("content", "message"),
    [(b"name = ", "not valid TOML"), (b"\xff\xfe\x00", "not a UTF-8 text file")],
)
def test_what_is_no_toml(tmp_path, content, message):
    path = tmp_path / "odd.toml"
    path.write_bytes(content)
    with pytest.raises(InstrumentError, match=message):
        load_instrument(path)


def test_a_missing_file(tmp_path):
    with pytest.raises(InstrumentError, match=r"none\.toml: can't be read"):
        load_instrument(tmp_path / "none.toml")


class TestAFolderOfFiles:
    def test_in_the_order_of_their_names(self, tmp_path):
        (tmp_path / "b.toml").write_text(labelled("fan-outlet", "number = 2"))
        (tmp_path / "a.toml").write_text(labelled("fan-inlet", "number = 1"))
        (tmp_path / "notes.txt").write_text("none")
        assert [i.name for i in load_instruments(tmp_path)] == ["fan-inlet", "fan-outlet"]

    @pytest.mark.parametrize(
        ("second", "message"),
        [
            (labelled("fan-outlet", "number = 1"), "b.toml: label.number: 1 is also that of"),
            (labelled("fan-inlet", "number = 2"), "b.toml: name: fan-inlet is also that of"),
            (FULL, "b.toml: label: is missing"),
        ],
    )
    def test_that_cannot_be_told_apart(self, tmp_path, second, message):
        (tmp_path / "a.toml").write_text(labelled("fan-inlet", "number = 1"))
        (tmp_path / "b.toml").write_text(second)
        with pytest.raises(InstrumentError, match=message):
            load_instruments(tmp_path)

    def test_without_any(self, tmp_path):
        with pytest.raises(InstrumentError, match="no instrument files"):
            load_instruments(tmp_path)
