"""One table of reasons: what the code gives is in it, and what is in it is given."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from limbsight.errors import InputError, InstrumentError, LimbsightError, NotMeasurable
from limbsight.reasons import KINDS, Effect, reason, status_of
from limbsight.records import Reason

ROOT = Path(__file__).resolve().parents[2]
SOURCES = [
    path
    for folder in ("limbsight", "vision", "calib", "reduce")
    for path in sorted((ROOT / folder).rglob("*.py"))
    if path.name != "reasons.py"
]
OWN_CODES = {error.code for error in (LimbsightError, InputError, InstrumentError)} | {
    "bad_file",
    "program_fault",
    "bad_zero",
    "not_a_zero",
}
"""Codes of errors and of photos that never were read; no reasons of a reading."""


def given_codes() -> Iterator[tuple[str, str]]:
    """Codes that a call names: code=..., or the first argument of reason and refusal."""
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            found = [k.value for k in node.keywords if k.arg == "code"]
            found += node.args[:1] if name in ("reason", "refusal") else []
            for value in found:
                if isinstance(value, ast.Constant) and isinstance(value.value, str):
                    yield value.value, path.name


def test_every_code_given_is_in_the_table():
    given = {(code, name) for code, name in given_codes() if code not in OWN_CODES}
    assert given
    assert {(code, name) for code, name in given if code not in KINDS} == set()


def test_every_code_in_the_table_is_given():
    assert set(KINDS) - {code for code, _ in given_codes()} == set()


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_a_reason_is_one_line_that_says_what_to_do(kind):
    places = {name for _, name, _, _ in string.Formatter().parse(kind.text) if name}
    values = dict.fromkeys(places - {"limb"}, 1.25)
    made = reason(kind.code, limb="left" if "limb" in places else None, **values)
    assert made.code == kind.code
    assert made.text.endswith(kind.remedy)
    assert "{" not in made.text
    assert "None" not in made.text
    assert "\n" not in made.text
    assert re.fullmatch(r"[a-z_]+", kind.code)
    assert kind.effect in get_args(Effect)


def test_unknown_code_is_a_fault():
    with pytest.raises(KeyError):
        reason("no_such_code")


def test_the_gravest_decides():
    def of(*effects: Effect) -> tuple[Reason, ...]:
        codes = {kind.effect: kind.code for kind in KINDS.values()}
        return tuple(Reason(code=codes[effect], text="") for effect in effects)

    assert status_of(()) == "read"
    assert status_of(of("check")) == "check"
    assert status_of(of("check", "refused", "check")) == "refused"


def test_what_a_photo_lacks_stays_inside():
    """NotMeasurable is caught by the road and by nothing else."""
    assert issubclass(NotMeasurable, LimbsightError)
    assert not issubclass(NotMeasurable, ValueError)
