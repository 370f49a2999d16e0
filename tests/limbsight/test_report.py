"""What people and programs are told about a reading."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from rich.console import Console

from limbsight.calib.instrument import LimitsSpec
from limbsight.errors import InputError
from limbsight.records import Reason
from limbsight.report import (
    largest_contributors,
    print_reading,
    print_totals,
    reading_to_dict,
    reason_text,
)


def shown(reading, unit="kPa", width=80, limits=None) -> str:
    console = Console(width=width, highlight=False, force_terminal=False)
    with console.capture() as capture:
        print_reading(console, reading, unit=unit, limits=limits)
    return capture.get()


class TestJson:
    def test_keys_are_those_documented(self, reading):
        data = reading_to_dict(reading)
        assert list(data) == [
            "photo",
            "sha256",
            "taken_at",
            "status",
            "reasons",
            "limbs",
            "pressure",
            "zero",
            "instrument",
            "program",
        ]
        level = data["limbs"][0]["levels"][0]
        assert set(data["limbs"][0]) == {"limb", "levels"}
        assert set(level) == {
            "value",
            "standard_uncertainty",
            "unit",
            "x_px",
            "y_px",
            "below",
            "above",
        }
        pressure = data["pressure"]
        common = {
            "value",
            "expanded_uncertainty",
            "coverage_factor",
            "unit",
            "kind",
            "budget",
        }
        assert set(pressure) == common | {"absolute"}
        assert set(pressure["absolute"]) == common
        assert set(pressure["budget"][0]) == {
            "name",
            "value",
            "unit",
            "standard_uncertainty",
            "sensitivity",
            "contribution",
            "kind",
            "degrees_of_freedom",
            "source",
        }

    def test_numbers_are_converted_and_not_rounded(self, reading):
        pressure = reading_to_dict(reading, unit="mbar")["pressure"]
        assert pressure["value"] == pytest.approx(-12.434, rel=1e-12)  # 1 mbar = 100 Pa
        assert pressure["expanded_uncertainty"] == pytest.approx(0.12, rel=1e-12)
        assert pressure["budget"][2]["contribution"] == pytest.approx(0.042, rel=1e-12)
        line = pressure["budget"][2]
        assert line["sensitivity"] * line["standard_uncertainty"] == pytest.approx(0.042)
        assert pressure["absolute"]["kind"] == "absolute"
        assert reading_to_dict(reading)["limbs"][0]["levels"][0]["value"] == -13.514

    def test_it_is_valid_json(self, reading, refused):
        for one in (reading, refused):
            text = json.dumps(reading_to_dict(one), allow_nan=False)
            assert json.loads(text) == reading_to_dict(one)

    def test_infinite_degrees_of_freedom_are_null(self, reading):
        budget = reading_to_dict(reading)["pressure"]["budget"]
        assert [line["degrees_of_freedom"] for line in budget] == [None, 12.0, None, None]

    def test_a_bank_has_a_pressure_for_each_limb(self, reading):
        both = (("1", reading.pressure), ("3", reading.pressure))
        bank = replace(reading, pressure=None, pressures=both)
        data = reading_to_dict(bank)
        assert data["pressure"] is None
        assert list(data["pressures"]) == ["1", "3"]
        assert data["pressures"]["3"] == reading_to_dict(reading)["pressure"]
        assert "limb 1: " in shown(bank)
        assert "limb 3: " in shown(bank)

    def test_refused(self, refused):
        data = reading_to_dict(refused)
        assert data["pressure"] is None
        assert data["limbs"] == []
        assert data["reasons"] == [
            {"code": "no_scale", "text": "left limb: no scale found; retake closer"}
        ]

    def test_unknown_unit(self, reading):
        with pytest.raises(InputError):
            reading_to_dict(reading, unit="furlong")


NEAR_BOTH = "within limits, but less than U from low limit -1250 Pa and high limit -1240 Pa"


class TestLimits:
    """Value -1243.4 Pa with U = 12 Pa against limits in Pa."""

    @pytest.mark.parametrize(
        ("low", "high", "state", "text"),
        [
            (-2000.0, 1000.0, "within", "within limits"),
            (-1300.0, None, "within", "within limits"),
            (
                -1250.0,
                None,
                "within",
                "within limits, but less than U from low limit -1250 Pa",
            ),
            (-1200.0, 0.0, "below low", "below low limit -1200 Pa"),
            (-1240.0, 0.0, "below low", "below low limit -1240 Pa, by less than U"),
            (None, -1500.0, "above high", "above high limit -1500 Pa"),
            (-1250.0, -1240.0, "within", NEAR_BOTH),
        ],
    )
    def test_states(self, reading, low, high, state, text):
        limits = LimitsSpec(low_pa=low, high_pa=high)
        data = reading_to_dict(reading, limits=limits)
        assert data["pressure"]["limits"] == state
        assert data["status"] == reading.status
        assert "limits" not in data["pressure"]["absolute"]
        said = shown(reading, "Pa", width=200, limits=limits).splitlines()[4].strip()
        assert said == text

    def test_none_given_none_stated(self, reading, refused):
        assert "limit" not in shown(reading, limits=LimitsSpec())
        assert "limits" not in reading_to_dict(reading, limits=LimitsSpec())["pressure"]
        limits = LimitsSpec(high_pa=0.0)
        assert reading_to_dict(refused, limits=limits)["pressure"] is None
        assert "limit" not in shown(refused, limits=limits)

    def test_a_limit_keeps_its_own_digits(self, reading):
        assert "low limit -1.2 kPa" in shown(reading, limits=LimitsSpec(low_pa=-1200.0))


class TestForPeople:
    def test_rounded_by_two_digits_of_the_uncertainty(self, reading):
        text = shown(reading)
        # JCGM 100:2008, 7.2.6: at most two significant digits of U.
        assert "-13.51 ± 0.12 mm" in text
        assert "-1.243 ± 0.012 kPa gauge (1.243 kPa vacuum)" in text
        assert "102.57 ± 0.20 kPa absolute" in text

    def test_three_largest_contributors_in_order(self, reading):
        text = shown(reading)
        assert "right level 49%; left level 44%; plumb 3%" in text
        assert "density" not in text

    def test_shares_are_of_the_variance(self, make):
        pressure = make.pressure(1.0, u_pa=5.0, budget=(make.budget_line("a", -3.0),))
        [(line, share)] = largest_contributors(pressure)
        assert line.name == "a"
        assert share == pytest.approx(9 / 25)

    def test_no_uncertainty_no_contributors(self, make):
        assert largest_contributors(make.pressure(1.0, u_pa=0.0)) == []

    def test_reasons_and_status(self, refused):
        text = shown(refused)
        assert text.startswith("REFUSED fan.jpg")
        assert "left limb: no scale found; retake closer [no_scale]" in text
        assert "kPa" not in text

    def test_file_and_instrument_names_are_no_markup(self, make):
        reading = make.reading(photo="a[red].jpg", instrument="[bold]x[/bold]")
        assert "a[red].jpg" in shown(reading)
        assert "[bold]x[/bold]" in shown(reading)

    def test_every_level_of_a_limb_has_its_line(self, make):
        levels = (make.level(1.0, 200.0, above="seal oil"), make.level(9.0, 200.0))
        text = shown(make.reading(limbs=(make.limb("left", 200.0, *levels),)))
        assert "1.00 ± 0.12 mm" in text
        assert "water below seal oil" in text
        assert "9.00 ± 0.12 mm" in text

    def test_limb_is_named_once(self):
        reason = Reason(code="x", text="the left tube is hidden", limb="left")
        assert reason_text(reason) == reason.text

    def test_a_long_path_stays_in_one_piece_and_long_reasons_are_whole(self, make):
        reasons = (Reason(code="x", text="word " * 40 + "end"),)
        text = shown(make.reading(photo="folder/" * 20 + "a.jpg", reasons=reasons))
        assert "folder/" * 20 + "a.jpg" in text
        assert text.count("word") == 40
        assert "end [x]" in text

    def test_totals(self, reading, refused):
        console = Console(width=80)
        with console.capture() as capture:
            print_totals(console, [reading, refused, reading])
        assert capture.get().strip() == "3 photos: 2 read, 0 check, 1 refused"

    def test_infinite_uncertainty_does_not_crash(self, make):
        level = make.level(1.0, 200.0, standard_uncertainty=math.inf)
        assert "inf" in shown(make.reading(limbs=(make.limb("left", 200.0, level),)))
