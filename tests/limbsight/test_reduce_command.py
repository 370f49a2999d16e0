"""``limbsight reduce``: what it prints, as people and as programs read it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from limbsight.calib.instrument_file import load_instrument
from limbsight.cli import main
from limbsight.pressure import reduce_heights

EXAMPLES = Path(__file__).resolve().parents[2] / "sample_images" / "instruments"
FAN = EXAMPLES / "open-u-tube.toml"


def run(*args, instrument=FAN, exit_code=0):
    result = CliRunner().invoke(main, ["reduce", "--instrument", str(instrument), *args])
    assert result.exit_code == exit_code, result.output
    return result.output


HEIGHTS = ("--left", "-50.2 mm", "--right", "51 mm")


def test_table():
    text = run(*HEIGHTS)
    assert re.search(r"left +-50\.20 ± 0\.29 mm", text)
    assert re.search(r"0\.98\d\d ± 0\.00\d\d kPa gauge", text)
    assert "kPa absolute" in text
    assert "± mostly from: " in text


def test_vacuum_and_unit():
    assert re.search(
        r"-9\.\d+ ± 0\.\d+ mbar gauge \(9\.\d+ mbar vacuum\)",
        run("--left", "51", "--right", "-50.2", "--unit", "mbar"),
    )


def test_json_is_the_reading_of_the_library():
    written = json.loads(run(*HEIGHTS, "--json", "--unit", "Pa"))
    reading = reduce_heights(load_instrument(FAN), left=-50.2, right=51.0)
    pressure = written["pressure"]
    assert pressure["value"] == pytest.approx(reading.value_pa, rel=1e-12)
    assert pressure["expanded_uncertainty"] == pytest.approx(reading.expanded_uncertainty_pa)
    assert pressure["kind"] == "gauge"
    assert pressure["absolute"]["kind"] == "absolute"
    assert written["status"] == "read"
    assert written["instrument"] == "duct-static"
    assert [limb["limb"] for limb in written["limbs"]] == ["left", "right"]
    assert written["limbs"][0]["levels"][0]["unit"] == "mm"
    line = pressure["budget"][0]
    assert line["contribution"] == pytest.approx(
        line["sensitivity"] * line["standard_uncertainty"]
    )
    assert {"name", "value", "unit", "kind", "degrees_of_freedom", "source"} <= set(line)


def test_budget():
    text = run(*HEIGHTS, "--budget")
    for word in ("input", "sensitivity", "by eye to 1/4 division, left", "combined"):
        assert word in text
    assert "…" not in text


def test_monte_carlo():
    text = run(*HEIGHTS, "--monte-carlo", "50000")
    assert "Monte Carlo, 50000 draws" in text
    assert "agree" in text
    written = json.loads(run(*HEIGHTS, "--json", "--monte-carlo", "auto"))
    drawn = written["pressure"]["monte_carlo"]
    assert drawn["converged"]
    low, high = drawn["shortest_interval"]
    assert low < written["pressure"]["value"] < high


def test_working():
    assert "= g · ρ" in run(*HEIGHTS, "--working", "text")
    assert r"\begin{align*}" in run(*HEIGHTS, "--working", "latex")
    assert (
        "Datum"
        in json.loads(run(*HEIGHTS, "--json", "--working", "text"))["pressure"]["working"]
    )


def test_several_levels_of_a_limb():
    text = run(
        *("--left", "2", "--left", "6", "--right", "-2", "--right", "3"),
        instrument=EXAMPLES / "sealed-u-tube.toml",
    )
    assert "13.18" in text


def test_bank():
    bank = EXAMPLES / "bank-reservoir.toml"
    limbs = ("--limb", "25", "--limb", "30 cm", "--limb", "350 mm")
    assert "limb 3" in run(*limbs, instrument=bank)
    written = json.loads(run(*limbs, "--json", instrument=bank))
    assert list(written["pressures"]) == ["limb 1", "limb 2", "limb 3"]
    one = json.loads(run(*limbs, "--json", "--tapped", "2", instrument=bank))
    assert one["pressure"]["value"] == written["pressures"]["limb 2"]["value"]


def test_surroundings():
    warm = json.loads(run(*HEIGHTS, "--json", "--temperature", "30 degC"))["pressure"]["value"]
    cool = json.loads(run(*HEIGHTS, "--json", "--temperature", "10 degC"))["pressure"]["value"]
    assert 0.995 < warm / cool < 0.997
    pole = json.loads(run(*HEIGHTS, "--json", "--latitude", "90 deg", "--elevation", "0 m"))
    fixed = json.loads(run(*HEIGHTS, "--json", "--gravity", "9.8321849 m/s^2"))
    assert pole["pressure"]["value"] == pytest.approx(fixed["pressure"]["value"], rel=1e-6)


def test_zero_and_uncertainty():
    plain = json.loads(run(*HEIGHTS, "--json", "--height-uncertainty", "1 mm"))["pressure"]
    zeroed = json.loads(
        run(*HEIGHTS, "--json", "--height-uncertainty", "1 mm", "--zero", "0.1", "--zero", "0")
    )["pressure"]
    assert plain["expanded_uncertainty"] < zeroed["expanded_uncertainty"]
    assert zeroed["value"] > plain["value"]


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (("--left", "1"), "limb right is missing"),
        ((*HEIGHTS, "--unit", "mm"), "'1 mm' is no pressure"),
        ((*HEIGHTS, "--monte-carlo", "few"), "whole number from 10000"),
        ((*HEIGHTS, "--monte-carlo", "7"), "whole number from 10000"),
        ((*HEIGHTS, "--temperature", "hot"), "--temperature: 'hot' is not a number"),
        ((*HEIGHTS, "--tapped", "middle"), "'middle' is not one of its limbs"),
        (("--left", "1000", "--right", "1"), "off the scale"),
        ((*HEIGHTS, "--coverage", "1.5"), "coverage"),
    ],
)
def test_errors_are_one_line(args, message):
    text = run(*args, exit_code=2)
    assert message in text
    assert "Traceback" not in text


def test_a_wrong_file_is_named(tmp_path):
    path = tmp_path / "odd.toml"
    path.write_text('name = "odd"\n', encoding="utf-8")
    assert "odd.toml: arrangement: is missing" in run(*HEIGHTS, instrument=path, exit_code=2)


def test_help_has_an_example():
    text = CliRunner().invoke(main, ["reduce", "--help"]).output
    assert "limbsight reduce --instrument fan.toml" in text
