"""Worked manometer problems from books and pages, from their legs to their answers."""

from __future__ import annotations

import math

from scipy.optimize import brentq

from limbsight.reduce.legs import Leg, pressure_difference

FUNCTIONS = {
    "sin": lambda degrees: math.sin(math.radians(degrees)),
}


def value(text, names):
    """A number, or an arithmetic expression of the data file in the given names."""
    if isinstance(text, int | float):
        return float(text)
    return float(eval(text, {"__builtins__": {}}, {**FUNCTIONS, **names}))


def chain_difference(problem, **names):
    """p_start - p_end of the problem's legs, by the program's own chain."""
    heights, densities, legs = {"0": 0.0}, {}, []
    for i, leg in enumerate(problem["legs"]):
        heights[str(i + 1)] = heights[str(i)] - value(leg["dz_down"], names)
        densities[str(i), ""] = value(leg["rho"], names)
        legs.append(Leg(fluid=str(i), start=str(i), end=str(i + 1)))
    return pressure_difference(legs, heights, densities, problem["g"])


def answer(problem):
    unknown = problem.get("unknown")
    names = {}
    if unknown:
        low, high = problem["range"]
        names[unknown] = brentq(
            lambda x: chain_difference(problem, **{unknown: x}) - problem["difference"],
            low,
            high,
            xtol=1e-14,
        )
    p = problem.get("offset", 0.0) + problem.get("sign", 1) * chain_difference(
        problem, **names
    )
    result = problem.get("result", unknown or "p")
    return value(result, {**names, "p": p})


def test_printed_answers(agrees, worked_problems):
    rows = [
        (p["id"], 0.0, (answer(p) / p["published"] - 1) / p["rel_tol"])
        for p in worked_problems
        if p["answer_basis"] == "read"
    ]
    assert len(rows) >= 25
    agrees(
        "worked problems, printed answers",
        basis="published",
        source="sources in data/worked_problems.toml",
        unit="of the tolerance of each",
        rows=rows,
        tolerance=1.0,
    )


def test_answers_of_published_programs(agrees, worked_problems):
    rows = [
        (p["id"], 0.0, (answer(p) / p["published"] - 1) / p["rel_tol"])
        for p in worked_problems
        if p["answer_basis"] == "computed"
    ]
    assert len(rows) >= 10
    agrees(
        "worked problems, answers of published programs",
        basis="computed",
        source="companion programs of textbooks, in data/worked_problems.toml",
        unit="of the tolerance of each",
        rows=rows,
        tolerance=1.0,
    )


def test_recalled_and_constructed_answers_are_not_relied_on(agrees, worked_problems):
    """Answers recalled, not seen: the legs evaluated apart are what is compared."""
    rows = [
        (p["id"], 0.0, answer(p) / p["computed"] - 1)
        for p in worked_problems
        if p["answer_basis"] in ("memory", "constructed")
    ]
    assert len(rows) >= 5
    agrees(
        "worked problems, answers recalled or constructed: legs evaluated apart",
        basis="computed",
        source="data/worked_problems.toml",
        unit="relative",
        rows=rows,
        tolerance=1e-9,
    )


def test_every_problem_is_used(worked_problems):
    assert len(worked_problems) == 42
    assert {p["answer_basis"] for p in worked_problems} == {
        "read",
        "computed",
        "memory",
        "constructed",
    }


def test_known_wrong_answers_do_not_come_out(worked_problems):
    marked = [p for p in worked_problems if "known_wrong" in p]
    assert len(marked) >= 8
    for p in marked:
        for wrong in p["known_wrong"]:
            assert abs(answer(p) / wrong["value"] - 1) > 5e-4, (p["id"], wrong["why"])
