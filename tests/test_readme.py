"""The README says what is so: commands, files, reasons, exit codes, keys."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from limbsight.calib.instrument_file import parse_instrument
from limbsight.cli import main
from limbsight.cli.options import ExitCode
from limbsight.cli.read_command import BAD_FILE, FAULT
from limbsight.reasons import KINDS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.M | re.S)


def test_two_commands_one_line_each():
    commands = blocks("sh")
    assert len(commands) == 2  # .ci/run takes the first two
    assert all(command.count("\n") == 1 for command in commands)
    assert "limbsight read" in commands[0]
    assert "pytest" in commands[1]


def test_every_path_named_is_there():
    names = set(re.findall(r"sample_images/[\w.-]*\w", README))
    names |= set(re.findall(r"\]\(([\w./-]+)\)", README))
    assert "sample_images/fan-inlet.jpg" in names
    assert [name for name in names if not (ROOT / name).exists()] == []


def test_reasons_are_those_of_the_program():
    rows = re.findall(r"^\| `(\w+)` \| (\w+) \|", README, flags=re.M)
    own = {BAD_FILE: "refused", FAULT: "refused"}
    assert dict(rows) == {code: kind.effect for code, kind in KINDS.items()} | own


def test_exit_codes_are_those_of_the_program():
    section = README.split("## Exit codes")[1].split("##")[0]
    assert {int(n) for n in re.findall(r"^\| (\d) \|", section, flags=re.M)} == set(ExitCode)


def test_instrument_file_is_valid():
    [text] = blocks("toml")
    instrument = parse_instrument(text)
    assert instrument.name == "fan-inlet"
    shipped = tomllib.loads((ROOT / "sample_images" / "fan-inlet.toml").read_text())
    assert tomllib.loads(text)["scale"] == shipped["scale"]


def test_json_shows_every_key():
    from limbsight.records import Reading
    from limbsight.report import reading_to_dict

    [text] = blocks("json")
    shown = json.loads(text)
    empty = Reading(
        photo="",
        sha256="",
        taken_at=None,
        status="read",
        reasons=(),
        limbs=(),
        graduations=(),
        pressure=None,
        instrument=None,
        program="",
        size_px=(1, 1),
    )
    assert list(shown) == list(reading_to_dict(empty))


def test_shown_output_is_that_of_the_program(monkeypatch):
    """Word for word; numbers to what processors differ by."""
    monkeypatch.chdir(ROOT)
    sample = "sample_images/fan-inlet"
    command = ["read", f"{sample}.jpg", "--instrument", f"{sample}.toml"]
    printed = CliRunner().invoke(main, command).stdout
    [shown] = [text for text in blocks("text") if text.startswith("READ")]
    number = re.compile(r"\d+\.?\d*")
    assert number.sub("#", printed).split() == number.sub("#", shown).split()
    now, was = ([float(n) for n in number.findall(text)] for text in (printed, shown))
    assert now == pytest.approx(was, rel=0.03)
