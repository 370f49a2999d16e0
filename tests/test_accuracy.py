"""The accuracy report itself: it must find the errors it is there to find."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from limbsight.records import GraduationMark, LevelReading, LimbReading, Reading

ROOT = Path(__file__).resolve().parent.parent

ANSWER = """
photo = "a.jpg"
readable = {readable}
unit = "mm"
division = 2.0
[[limbs]]
visible = true
levels = [{{ value = -13.5, x_px = 1.0, y_px = 2.0 }}]
[[limbs]]
visible = {visible}
levels = [{{ value = 40.0, x_px = 1.0, y_px = 2.0 }}]
"""


@pytest.fixture
def accuracy():
    """Load the module by its path: tests are no installed package."""
    spec = importlib.util.spec_from_file_location("accuracy", ROOT / "tests" / "accuracy.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["accuracy"] = module  # dataclasses look themselves up
    spec.loader.exec_module(module)
    yield module
    del sys.modules["accuracy"]


def level(value, u=0.1):
    return LevelReading(
        value=value,
        standard_uncertainty=u,
        unit="mm",
        x_px=1.0,
        y_px=2.0,
        below="water",
        above="air",
        interval_px=((1.0, 2.5), (1.0, 1.5)),
    )


def make_reading(*limbs, status="read"):
    return Reading(
        photo="a.jpg",
        sha256="",
        taken_at=None,
        status=status,
        reasons=(),
        limbs=tuple(
            LimbReading(
                limb=name, levels=levels, axis_px=((1.0, 9.0), (1.0, 0.0)), width_px=3.0
            )
            for name, levels in zip(("left", "right"), limbs, strict=False)
        ),
        graduations=(
            GraduationMark(start_px=(2.0, 1.0), end_px=(3.0, 1.0), value=0.0, numbered=True),
        ),
        pressure=None,
        instrument=None,
        program="limbsight",
        size_px=(10, 10),
    )


@pytest.fixture
def report(accuracy, tmp_path, monkeypatch, capsys):
    def run(reading, *, readable=True, visible=True, options=()):
        answer = ANSWER.format(readable=str(readable).lower(), visible=str(visible).lower())
        (tmp_path / "a.answer.toml").write_text(answer)
        fake = SimpleNamespace(
            read_photo=lambda photo, instrument: replace(reading),
            load_instrument=lambda path: None,
        )
        monkeypatch.setattr(accuracy, "limbsight", fake)
        code = accuracy.main([str(tmp_path), *options])
        return code, capsys.readouterr().out

    return run


GOOD = ((level(-13.44),), (level(39.9),))


def test_good(report):
    code, text = report(make_reading(*GOOD))
    assert code == 0
    assert "median |error| 0.040 div" in text  # (0.06 + 0.10) / 2 mm over 2 mm
    assert "2 inside their 95 % interval (100%)" in text
    assert "silent errors: 0" in text


@pytest.mark.parametrize(
    "reading",
    [
        make_reading((level(-13.5),), (level(41.0),)),  # 10 u and 1 mm
        make_reading((level(13.5),), (level(40.0),)),  # the sign
        make_reading((level(-13.5),)),  # a limb too few
        make_reading((level(-13.5), level(5.0)), (level(40.0),)),  # a level too many
        make_reading((), (level(40.0),)),
    ],
)
def test_silent_errors_fail(report, reading):
    code, text = report(reading)
    assert code == 1
    assert "silent errors: 0" not in text
    assert report(replace(reading, status="check"))[0] == 0


@pytest.mark.parametrize(
    "right",
    [level(40.45), level(41.0, u=0.5)],  # under 0.5 mm; under 4 u
)
def test_both_bounds_must_be_passed(report, right):
    assert report(make_reading((level(-13.5),), (right,)))[0] == 0


def test_unreadable_passed_off_as_read(report):
    assert report(make_reading(*GOOD), readable=False)[0] == 1
    assert report(make_reading(*GOOD, status="check"), readable=False)[0] == 0


def test_hidden_levels_are_not_compared(report):
    code, text = report(make_reading((level(-13.5),), (level(7.0),)), visible=False)
    assert code == 0
    assert "1 levels" in text


def test_least_read(report):
    refused = make_reading(status="refused")
    assert report(refused)[0] == 0
    assert report(refused, options=["--least-read", "0.5"])[0] == 1
    assert report(make_reading(*GOOD), options=["--least-read", "1.0"])[0] == 0


def test_a_folder_without_answers_is_an_error(accuracy, tmp_path):
    with pytest.raises(SystemExit):
        accuracy.main([str(tmp_path)])
