"""The working must lead, by its own numbers, to its own result."""

from __future__ import annotations

import re

import pytest

from limbsight.reduce.fluids import liquid
from limbsight.reduce.manometer import Manometer
from limbsight.reduce.prepare import prepare
from limbsight.reduce.uncertainty import propagate
from limbsight.reduce.working import working_latex, working_text
from limbsight.reduce.zero import subtract_zero
from limbsight.units import Given


@pytest.fixture(params=["open", "zeroed", "leg", "barometer"])
def reading(request, levels):
    if request.param in ("open", "zeroed"):
        m = Manometer(arrangement="u-tube", tapped_limb="left", manometric=liquid("water"))
        limbs = {"left": -0.05, "right": 0.07}
    elif request.param == "leg":
        m = Manometer(
            arrangement="u-tube",
            tapped_limb="left",
            manometric=liquid("mercury"),
            process=liquid("water"),
            tapping_m=Given(value=0.3),
        )
        limbs = {"left": 0.1, "right": 0.2}
    else:
        m = Manometer(
            arrangement="barometer",
            tapped_limb="cistern",
            manometric=liquid("mercury"),
            open_to="vacuum",
        )
        limbs = {"tube": 0.76}
    reduction = prepare(m, levels(limbs))
    if request.param == "zeroed":
        reduction = subtract_zero(reduction, prepare(m, levels({"left": 0.0, "right": 1e-3})))
    return reduction, propagate(reduction.difference, reduction.inputs)


def test_text_adds_up(reading):
    reduction, estimate = reading
    text = working_text(reduction, estimate, "Pa")
    parts = re.findall(r"mm = (-?[\d.]+) Pa", text)
    extra = re.findall(r"\+ ([\d.]+) Pa \(vapour", text)
    extra += [f"{-float(p)}" for p in re.findall(r"- \((-?[\d.]+)\) Pa \(zero", text)]
    assert sum(map(float, [*parts, *extra])) == pytest.approx(estimate.value, abs=0.03)
    for g, rho, end, start, p in re.findall(
        r"([\d.]+) · ([\d.]+) · \((-?[\d.]+) - \((-?[\d.]+)\)\) mm = (-?[\d.]+) Pa", text
    ):
        by_hand = float(g) * float(rho) * (float(end) - float(start)) * 1e-3
        # heights are shown to a micrometre
        assert by_hand == pytest.approx(float(p), abs=float(g) * float(rho) * 1.1e-6 + 0.006)
    assert text.rstrip().endswith(("gauge", "absolute"))


def test_latex_is_balanced_and_adds_up(reading):
    reduction, estimate = reading
    latex = working_latex(reduction, estimate, "Pa")
    assert latex.count("{") == latex.count("}")
    assert latex.count(r"\begin{align*}") == latex.count(r"\end{align*}") == 1
    inside = re.search(
        r"&= ([\d.]+)\\,\\bigl\[(.*?)\\bigr\]( \+ [\d.]+| - \(-?[\d.]+\))?\\ \\text\{Pa\}",
        latex,
    )
    assert inside
    total = sum(
        float(rho) * (float(end) - float(start)) * 1e-3
        for rho, end, start in re.findall(
            r"([\d.]+)\\,\((-?[\d.]+) - \((-?[\d.]+)\)\)", inside[2]
        )
    )
    rest = (inside[3] or "0").replace("(", "").replace(")", "").replace(" ", "")
    got = float(inside[1]) * total + float(rest)
    assert got == pytest.approx(estimate.value, abs=0.3)


def test_every_leg_is_there(reading):
    reduction, estimate = reading
    text = working_text(reduction, estimate, "kPa")
    symbols = text.split("Σ")[1]
    filled = [leg for leg in reduction.legs if reduction.fluids[leg.fluid].name != "vacuum"]
    for leg in filled:
        if leg.start != "tapping" or leg.end != "cistern":
            assert f"ρ_{reduction.fluids[leg.fluid].name}" in symbols


def test_a_name_that_latex_would_misread(levels, known, filling):
    m = Manometer(
        arrangement="u-tube", tapped_limb="left", manometric=filling("oil_5 50%", 900.0)
    )
    reduction = prepare(m, levels({"left": 0.0, "right": 0.1}))
    estimate = propagate(reduction.difference, reduction.inputs)
    assert r"\text{oil\_5 50\%}" in working_latex(reduction, estimate, "Pa")
