"""The benchmark says where the time of a reading goes, and fails where it is told to."""

from __future__ import annotations

import re
import sys
import time
from pathlib import Path

import pytest

from tests import benchmark

PHOTO = Path(__file__).resolve().parent.parent / "sample_images" / "fan-inlet.jpg"


def test_stage_inside_another_is_taken_out_of_it():
    stages = benchmark.StageTimes()
    inner = stages.timed("inner", lambda: time.sleep(0.03))

    def work():
        time.sleep(0.01)
        inner()

    stages.timed("outer", work)()
    assert 0.03 <= stages.seconds["inner"] < 0.2
    assert 0.01 <= stages.seconds["outer"] < stages.seconds["inner"] + 0.2
    assert sum(stages.seconds.values()) >= 0.04


def test_every_stage_has_its_line_and_bounds_hold(capsys):
    arguments = [str(PHOTO), "--repeats", "1", "--at-most", "1e6", "--at-most-mb", "1e6"]
    assert benchmark.main(arguments) == 0
    text = capsys.readouterr().out
    shown = dict(re.findall(r"^ {4}([a-z ]+?) +([\d.]+) ms", text, flags=re.M))
    assert set(shown) == {*benchmark.STAGES.values(), benchmark.REST}
    for stage in ("decode", "scale", "numerals", "levels", "menisci", "pressure"):
        assert float(shown[stage]) > 0.1, stage
    # A new function of the road whose module no stage names would end up here.
    assert float(shown[benchmark.REST]) < 0.3 * sum(map(float, shown.values()))
    if sys.platform != "win32":
        peak, beyond = map(float, re.findall(r"memory (\d+) MB, (\d+) MB", text)[0])
        assert 0 < beyond < peak


@pytest.mark.parametrize("bound", ["--at-most", "--at-most-mb"])
def test_a_bound_that_does_not_hold_fails(monkeypatch, bound):
    monkeypatch.setattr(benchmark, "run", lambda photo, path, repeats: (4.0, 300.0))
    assert benchmark.main([str(PHOTO), bound, "3"]) == 1
    assert benchmark.main([str(PHOTO), bound, "301"]) == 0
