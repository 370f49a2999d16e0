"""``limbsight read`` from the outside: arguments, output, exit codes, bad files."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import click
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from limbsight.cli import COMMANDS, main
from limbsight.cli.read_command import expand_photos
from limbsight.errors import InputError, InstrumentError
from limbsight.records import Reason

INSTRUMENT = """
name = "fan-inlet"
arrangement = "u-tube"
tapped_limb = "left"
[scale]
unit = "mm"
division = 1.0
numbered_every = 20.0
lowest = -80
highest = 80
numbers = "upward"
[liquids]
manometric = "water"
process = "air"
"""


@pytest.fixture
def road(monkeypatch, make):
    """A road that decodes each photo for real and then answers by the file's name."""
    calls = []

    def read_as_told(path, *, instrument, zero, axis_to_scale_m):
        from limbsight.vision.picture import load_picture

        calls.append((Path(path).name, instrument, axis_to_scale_m))
        picture = load_picture(path)
        if "crash" in path.name:
            raise ZeroDivisionError("made up")
        status = next((s for s in ("check", "refused") if s in path.name), "read")
        reasons = () if status == "read" else (Reason(code="made_up", text="look at it"),)
        return replace(
            make.reading(status=status, reasons=reasons, size_px=picture.size_px),
            photo=str(path),
            sha256=picture.sha256,
        )

    monkeypatch.setitem(
        sys.modules, "limbsight.reading", SimpleNamespace(read_as_told=read_as_told)
    )
    return calls


@pytest.fixture
def folder(tmp_path):
    for name in ("one.jpg", "two.png", "check.jpg", "refused.jpg"):
        Image.fromarray(np.full((800, 600, 3), 128, np.uint8)).save(tmp_path / name)
    (tmp_path / "bad.jpg").write_bytes(b"this is no photo")
    (tmp_path / "notes.txt").write_text("no photo either")
    (tmp_path / "fan.toml").write_text(INSTRUMENT)
    return tmp_path


def run(*arguments, **options):
    return CliRunner().invoke(main, ["read", *map(str, arguments)], **options)


class TestOutput:
    def test_one_photo_for_people(self, road, folder):
        result = run(folder / "one.jpg", "--instrument", folder / "fan.toml")
        assert result.exit_code == 0
        assert "READ" in result.stdout
        assert "-1.243 ± 0.012 kPa gauge" in result.stdout
        assert result.stderr == ""
        assert road[0][1].name == "fan-inlet"

    def test_limits_of_the_instrument(self, road, folder):
        limited = folder / "limited.toml"
        limited.write_text(INSTRUMENT + '[limits]\nlow = "-1 kPa"\n')
        table = run(folder / "one.jpg", "-i", limited, "--overlay", folder / "out")
        assert table.exit_code == 0
        assert "below low limit -1 kPa" in table.stdout
        data = json.loads(run(folder / "one.jpg", "-i", limited, "--json").stdout)
        assert (data["status"], data["pressure"]["limits"]) == ("read", "below low")

    def test_unit(self, road, folder):
        assert "-12.43 ± 0.12 mbar" in run(folder / "one.jpg", "--unit", "mbar").stdout

    def test_one_photo_gives_an_object(self, road, folder):
        data = json.loads(run(folder / "one.jpg", "--json").stdout)
        assert data["photo"] == str(folder / "one.jpg")
        assert data["pressure"]["unit"] == "kPa"

    def test_several_a_folder_or_a_pattern_give_an_array(self, road, folder):
        several = json.loads(run(folder / "one.jpg", folder / "two.png", "--json").stdout)
        assert [Path(one["photo"]).name for one in several] == ["one.jpg", "two.png"]
        pattern = json.loads(run(folder / "o*.jpg", "--json").stdout)
        assert [Path(one["photo"]).name for one in pattern] == ["one.jpg"]
        whole = json.loads(run(folder, "--json").stdout)
        assert [Path(one["photo"]).name for one in whole] == [
            "bad.jpg",
            "check.jpg",
            "one.jpg",
            "refused.jpg",
            "two.png",
        ]

    def test_long_lists_keep_stdout_clean(self, road, folder):
        for i in range(8):
            (folder / f"more{i}.jpg").write_bytes((folder / "one.jpg").read_bytes())
        result = run(*sorted(folder.glob("more*.jpg")), "--json")
        assert len(json.loads(result.stdout)) == 8

    def test_table_counts_at_the_end(self, road, folder):
        last = run(folder).stdout.strip().splitlines()[-1]
        assert last == "5 photos: 2 read, 1 check, 2 refused"

    def test_overlays(self, road, folder):
        target = folder / "deep" / "checked"
        assert run(folder, "--overlay", target).exit_code == 2  # bad.jpg is among them
        names = sorted(path.name for path in target.iterdir())
        assert names == [f"{n}.overlay.jpg" for n in ("check", "one", "refused", "two")]
        with Image.open(target / "one.overlay.jpg") as drawn:
            assert drawn.width > 1000

    def test_overlays_of_one_name_do_not_overwrite_each_other(self, road, folder):
        other = folder / "other"
        other.mkdir()
        (other / "one.jpg").write_bytes((folder / "one.jpg").read_bytes())
        run(folder / "one.jpg", other / "one.jpg", "--overlay", folder / "out")
        assert len(list((folder / "out").iterdir())) == 2

    def test_overlays_in_the_photos_folder_are_not_read_as_photos(self, road, folder):
        run(folder, "--overlay", folder)
        road.clear()
        run(folder)
        assert len(road) == 5


class TestExitCodes:
    @pytest.mark.parametrize(
        ("names", "code"),
        [
            (["one.jpg"], 0),
            (["one.jpg", "check.jpg"], 1),
            (["refused.jpg"], 1),
            (["bad.jpg"], 2),
            (["bad.jpg", "refused.jpg", "one.jpg"], 2),
            (["missing.jpg", "one.jpg"], 2),
        ],
    )
    def test_of_photos(self, road, folder, names, code):
        for options in ([], ["--json"]):
            assert run(*(folder / name for name in names), *options).exit_code == code

    def test_of_commands(self, road, folder):
        assert run().exit_code == 2
        assert run(folder / "one.jpg", "--nonsense").exit_code == 2
        assert run(folder / "one.jpg", "--unit", "furlong").exit_code == 2
        assert run(folder / "one.jpg", "-i", folder / "none.toml").exit_code == 2
        assert CliRunner().invoke(main, ["nonsense"]).exit_code == 2
        assert road == []  # found out before any photo was read

    def test_a_liquid_nobody_knows_is_an_error_of_the_file(self, road, folder):
        text = INSTRUMENT.replace('"water"', '"{}"')
        odd = folder / "odd.toml"
        odd.write_text(text.format("unobtainium oil"))
        result = run(folder / "one.jpg", "-i", odd)
        assert result.exit_code == 2
        assert "odd.toml: liquids.manometric" in result.stderr
        assert road == []
        for own in ('density = "830 kg/m^3"', "specific_gravity = 0.83"):
            table = f'{{ name = "unobtainium oil", {own} }}'
            odd.write_text(INSTRUMENT.replace('"water"', table))
            assert run(folder / "one.jpg", "-i", odd).exit_code == 0

    def test_are_documented(self):
        text = CliRunner().invoke(main, ["read", "--help"]).output
        for words in ("0 all read", "1 some need a look or were refused", "2 bad command"):
            assert words in " ".join(text.split())


class TestBadFiles:
    def test_others_still_go_through(self, road, folder):
        result = run(folder / "bad.jpg", folder / "missing.jpg", folder / "one.jpg", "--json")
        bad, missing, one = json.loads(result.stdout)
        assert (bad["status"], bad["reasons"][0]["code"]) == ("refused", "bad_file")
        assert len(bad["sha256"]) == 64
        assert bad["limbs"] == []
        assert missing["sha256"] is None
        assert "no such file" in missing["reasons"][0]["text"]
        assert one["status"] == "read"
        lines = result.stderr.splitlines()
        assert len(lines) == 2
        assert lines[0].startswith(f"Error: {folder / 'bad.jpg'}: not a photo")

    def test_one_line_in_the_table(self, road, folder):
        result = run(folder / "bad.jpg")
        assert result.stdout.count("bad.jpg") == 1
        assert "export it as JPEG [bad_file]" in " ".join(result.stdout.split())

    def test_folder_without_photos_and_pattern_without_match(self, road, folder):
        (folder / "empty").mkdir()
        result = run(folder / "empty", folder / "*.xyz", folder / "one.jpg", "--json")
        assert result.exit_code == 2
        assert "no photos in this folder" in result.stderr
        assert "no file matches" in result.stderr
        assert len(json.loads(result.stdout)) == 1

    def test_overlay_folder_that_is_a_file(self, road, folder):
        result = run(folder / "one.jpg", "--overlay", folder / "notes.txt")
        assert result.exit_code == 2
        assert "Traceback" not in result.output

    def test_names_that_are_no_unicode(self, road, folder):
        name = os.fsdecode(b"caf\xe9.jpg")
        try:
            (folder / name).write_bytes((folder / "one.jpg").read_bytes())
        except OSError:
            pytest.skip("this file system takes Unicode names only")
        table = run(folder / name, "--overlay", folder / "out")
        assert table.exit_code == 0
        assert "caf?.jpg" in table.stdout
        assert json.loads(run(folder / name, "--json").stdout)["photo"].endswith(name)


class TestFaults:
    def test_a_fault_on_one_photo_is_one_line_and_exit_3(self, road, folder):
        (folder / "crash.jpg").write_bytes((folder / "one.jpg").read_bytes())
        result = run(folder / "crash.jpg", folder / "one.jpg", "--json")
        assert result.exit_code == 3
        crashed, one = json.loads(result.stdout)
        assert crashed["reasons"][0]["code"] == "program_fault"
        assert one["status"] == "read"
        assert len(result.stderr.splitlines()) == 1
        assert "ZeroDivisionError: made up" in result.stderr

    def test_traceback_on_request(self, road, folder):
        (folder / "crash.jpg").write_bytes((folder / "one.jpg").read_bytes())
        arguments = ["--traceback", "read", str(folder / "crash.jpg")]
        result = CliRunner().invoke(main, arguments)
        assert isinstance(result.exception, ZeroDivisionError)

    @pytest.mark.parametrize("error", [InstrumentError, InputError])
    def test_what_is_wrong_with_the_instrument_stops_the_call(
        self, road, folder, monkeypatch, error
    ):
        def read_as_told(path, *, instrument, zero, axis_to_scale_m):
            raise error("fan.toml: liquids.manometric: unknown liquid")

        monkeypatch.setattr(sys.modules["limbsight.reading"], "read_as_told", read_as_told)
        result = run(folder / "one.jpg", folder / "two.png")
        assert result.exit_code == 2
        assert result.stderr == "Error: fan.toml: liquids.manometric: unknown liquid\n"

    def test_a_full_disk_costs_no_reading(self, road, folder, monkeypatch):
        def write_bytes(self, data):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Path, "write_bytes", write_bytes)
        names = folder / "one.jpg", folder / "two.png"
        result = run(*names, "--json", "--overlay", folder / "out")
        assert result.exit_code == 2
        assert len(json.loads(result.stdout)) == 1
        assert "No space left on device" in result.stderr

    def test_fault_outside_a_photo(self, road, folder, monkeypatch):
        def fail(names):
            raise RuntimeError("two\nlines")

        monkeypatch.setattr("limbsight.cli.read_command.expand_photos", fail)
        result = run(folder / "one.jpg")
        assert result.exit_code == 3
        assert len(result.stderr.splitlines()) == 1


class TestExpandPhotos:
    def test_each_once_in_the_order_named(self, folder):
        names = [str(folder / "two.png"), str(folder), str(folder / "one.jpg")]
        paths, messages = expand_photos(names)
        assert [path.name for path in paths][:2] == ["two.png", "bad.jpg"]
        assert len(paths) == len(set(paths)) == 5
        assert messages == []

    def test_a_file_whose_name_looks_like_a_pattern(self, folder):
        odd = folder / "fan[1].jpg"
        odd.write_bytes(b"x")
        assert expand_photos([str(odd)]) == ([odd], [])

    def test_relative_and_nested_patterns(self, folder, monkeypatch):
        monkeypatch.chdir(folder)
        (folder / "deep").mkdir()
        (folder / "deep" / "x.jpg").write_bytes(b"x")
        assert expand_photos(["**/x.jpg"]) == ([Path("deep/x.jpg")], [])
        assert expand_photos(["two.*"]) == ([Path("two.png")], [])


class TestHelp:
    @pytest.mark.parametrize("command", [[], *([name] for name in sorted(COMMANDS))])
    def test_has_an_example(self, command):
        result = CliRunner().invoke(main, [*command, "--help"])
        assert result.exit_code == 0
        assert "Example" in result.output
        assert "limbsight " + (command[0] if command else "read") in result.output

    @pytest.mark.parametrize("name", sorted(COMMANDS))
    def test_every_option_is_explained(self, name):
        command = main.get_command(click.Context(main), name)
        assert command is not None
        assert command.help
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, parameter.name

    def test_loads_nothing_heavy(self):
        code = (
            "import sys; from click.testing import CliRunner; from limbsight.cli import main;"
            "CliRunner().invoke(main, ['read', '--help'], catch_exceptions=False);"
            "print([m for m in ('numpy', 'cv2', 'pint', 'rich', 'scipy', 'PIL') if m in "
            "sys.modules])"
        )
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        )
        assert done.stdout.strip() == "[]"

    def test_answers_in_half_a_second(self):
        """The best of three, so that a busy machine does not fail it."""
        times = []
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run(
                [sys.executable, "-m", "limbsight", "--help"], check=True, capture_output=True
            )
            times.append(time.perf_counter() - start)
        assert min(times) < 0.5

    def test_version(self):
        result = CliRunner().invoke(main, ["--version"])
        assert result.output.startswith("limbsight 0.")


def test_a_folder_of_instruments_gives_each_photo_its_limits(road, folder, tmp_path):
    """By the name that the reading comes back with."""
    files = tmp_path / "instruments"
    files.mkdir()
    for number, name in enumerate(("fan-inlet", "fan-outlet")):
        limits = f'[limits]\nlow = "{1 + number} Pa"\n[label]\nnumber = {number}\n'
        text = INSTRUMENT.replace("fan-inlet", name) + limits
        (files / f"{name}.toml").write_text(text)
    result = run(folder / "one.jpg", "-i", files, "--json")
    assert result.exit_code == 0, result.output
    ((_, given, _),) = road
    assert [i.name for i in given] == ["fan-inlet", "fan-outlet"]
    pressure = json.loads(result.stdout)["pressure"]
    assert pressure["limits"] == "below low"


def test_a_zero_is_of_one_instrument(folder, tmp_path):
    result = run(folder / "one.jpg", "-i", tmp_path, "--zero", folder / "two.png")
    assert result.exit_code == 2
    assert "give it alone with" in result.output


def test_files_without_labels_are_told_before_any_photo(road, folder, tmp_path):
    (tmp_path / "plain").mkdir()
    (tmp_path / "plain" / "fan.toml").write_text(INSTRUMENT)
    result = run(folder / "one.jpg", "-i", tmp_path / "plain")
    assert result.exit_code == 2
    assert "label: is missing" in " ".join(result.output.split())
    assert road == []


class TestAxisToScale:
    def test_without_a_file_it_goes_to_the_reading(self, road, folder):
        assert run(folder / "one.jpg", "--axis-to-scale", "6.5 mm").exit_code == 0
        assert road[0][1:] == (None, pytest.approx(6.5e-3))

    def test_a_file_that_leaves_it_out_is_filled_in(self, road, folder):
        result = run(
            folder / "one.jpg", "-i", folder / "fan.toml", "--axis-to-scale", "0.65 cm"
        )
        assert result.exit_code == 0
        _, instrument, again = road[0]
        assert instrument.tube.axis_to_scale_m == pytest.approx(6.5e-3)
        assert again is None

    def test_a_file_that_states_it_stops_the_call(self, road, folder):
        stated = folder / "stated.toml"
        stated.write_text(INSTRUMENT + '[tube]\naxis_to_scale = "6 mm"\n')
        result = run(folder / "one.jpg", "-i", stated, "--axis-to-scale", "6 mm")
        assert result.exit_code == 2
        assert "axis_to_scale" in result.stderr
        assert "stated.toml" in result.stderr
        assert road == []

    @pytest.mark.parametrize("text", ["6", "-13 mm", "9 cm", "6 kg", "inf mm", "6,5 mm", ""])
    def test_what_is_no_such_length_stops_the_call(self, road, folder, text):
        result = run(folder / "one.jpg", "--axis-to-scale", text)
        assert result.exit_code == 2
        assert "--axis-to-scale" in result.stderr
        assert road == []
