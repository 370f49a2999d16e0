"""The GUM's and its Supplement 1's own examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import UFloat, umath

from limbsight.reduce.elementary import cos, sin
from limbsight.reduce.montecarlo import compare, monte_carlo
from limbsight.reduce.uncertainty import Input, propagate


def given(key, value, u, dof=math.inf, distribution="normal"):
    return Input(
        key=key,
        name=key,
        value=value,
        unit="1",
        standard_uncertainty=u,
        degrees_of_freedom=dof,
        distribution=distribution,
    )


def rectangular(key, low, high):
    return given(
        key, (low + high) / 2, (high - low) / math.sqrt(12), distribution="rectangular"
    )


def end_gauge(q):
    difference = q["d"] + q["d1"] + q["d2"]
    return (
        q["ls"]
        + difference
        - q["ls"] * (q["dalpha"] * (q["theta"] + q["cycle"]) + q["alpha"] * q["dtheta"])
    )


H1_INPUTS = [
    given("ls", 50000623.0, 25.0, 18),
    given("d", 215.0, 5.8, 24),
    given("d1", 0.0, 3.9, 5),
    given("d2", 0.0, 6.7, 8),
    given("dalpha", 0.0, 1e-6 / math.sqrt(3), 50, "rectangular"),
    given("dtheta", 0.0, 0.05 / math.sqrt(3), 2, "rectangular"),
    given("alpha", 11.5e-6, 2e-6 / math.sqrt(3), distribution="rectangular"),
    given("theta", -0.1, 0.2),
    given("cycle", 0.0, 0.5 / math.sqrt(2), distribution="arcsine"),
]
"""JCGM 100:2008, H.1, as in the examples of the GTC documentation."""


def test_gum_h1(agrees):
    found = propagate(end_gauge, H1_INPUTS, probability=0.99)
    parts = {c.input.key: abs(c.contribution) for c in found.contributions}
    agrees(
        "GUM H.1, end gauge: length, u, budget",
        basis="published",
        source="JCGM 100:2008, H.1 (GTC documentation)",
        unit="nm",
        rows=[
            ("length", 50000838.0, found.value),
            ("u", 32.0, found.standard_uncertainty),
            ("ls", 25.0, parts["ls"]),
            ("dtheta", 16.599, parts["dtheta"]),
            ("d2", 6.7, parts["d2"]),
            ("d0", 5.8, parts["d"]),
            ("d1", 3.9, parts["d1"]),
            ("dalpha", 2.887, parts["dalpha"]),
        ],
        tolerance=0.5,
    )


def test_gum_h1_coverage(agrees):
    found = propagate(end_gauge, H1_INPUTS, probability=0.99)
    agrees(
        "GUM H.1, effective degrees of freedom (truncated)",
        basis="published",
        source="JCGM 100:2008, H.1",
        unit="1",
        rows=[("nu", 16.0, math.floor(found.effective_degrees_of_freedom))],
        tolerance=0.0,
    )
    # from memory U99 = 93 nm (from u rounded to 32): 2.92 x 31.7 = 92.5
    assert found.expanded_uncertainty == pytest.approx(92.5, abs=0.1)


def test_gum_h1_second_order_is_seen_by_monte_carlo(agrees):
    inputs = [
        given(i.key, i.value, i.standard_uncertainty, distribution=i.distribution)
        for i in H1_INPUTS
    ]
    drawn = monte_carlo(end_gauge, inputs, draws=400_000, probability=0.99)
    agrees(
        "GUM H.1.7, u with second-order terms, by Monte Carlo",
        basis="published",
        source="JCGM 100:2008, H.1.7 (GTC documentation)",
        unit="nm",
        rows=[("u", 34.0, drawn.standard_uncertainty)],
        tolerance=0.5,
    )


VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
RADIAN = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
"""JCGM 100:2008, table H.2, from memory; the published results confirm them."""


def test_gum_h2(agrees):
    data = {"v": VOLT, "i": AMPERE, "phi": RADIAN}
    n = len(VOLT)
    inputs = [given(k, x.mean(), x.std(ddof=1) / math.sqrt(n), n - 1) for k, x in data.items()]
    correlations = {
        (a, b): float(np.corrcoef(data[a], data[b])[0, 1])
        for a, b in (("v", "i"), ("v", "phi"), ("i", "phi"))
    }
    models = {
        "R": lambda q: q["v"] / q["i"] * cos(q["phi"]),
        "X": lambda q: q["v"] / q["i"] * sin(q["phi"]),
        "Z": lambda q: q["v"] / q["i"],
    }
    printed = {"R": (127.732, 0.071), "X": (219.847, 0.295), "Z": (254.260, 0.236)}
    found = {k: propagate(m, inputs, correlations=correlations) for k, m in models.items()}
    agrees(
        "GUM H.2, resistance and reactance: values and u",
        basis="published",
        source="JCGM 100:2008, H.2 (test suite of suncal)",
        unit="ohm",
        rows=[(k, printed[k][0], e.value) for k, e in found.items()]
        + [(f"u({k})", printed[k][1], e.standard_uncertainty) for k, e in found.items()],
        tolerance=0.0006,
    )
    drawn = monte_carlo(models["R"], inputs[:], draws=20_000, correlations=correlations)
    assert drawn.mean == pytest.approx(127.732, abs=0.01)


CELSIUS = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)
"""JCGM 100:2008, table H.6."""


def test_gum_h3(agrees):
    design = np.stack([np.ones(11), CELSIUS - 20], axis=1)
    (y1, y2), residual = np.linalg.lstsq(design, CORRECTION, rcond=None)[:2]
    covariance = np.linalg.inv(design.T @ design) * residual[0] / 9
    u1, u2 = np.sqrt(np.diag(covariance))
    r = covariance[0, 1] / (u1 * u2)
    inputs = [given("y1", y1, u1, 9), given("y2", y2, u2, 9)]
    found = propagate(
        lambda q: q["y1"] + q["y2"] * 10, inputs, correlations={("y1", "y2"): float(r)}
    )
    agrees(
        "GUM H.3, thermometer at 30 degC, with correlation",
        basis="published",
        source="JCGM 100:2008, H.3 (GTC documentation)",
        unit="degC",
        rows=[("b(30)", -0.1494, found.value), ("u", 0.0041, found.standard_uncertainty)],
        tolerance=0.00005,
    )
    alone = propagate(lambda q: q["y1"] + q["y2"] * 10, inputs)
    assert alone.standard_uncertainty > 1.5 * found.standard_uncertainty


def test_welch_satterthwaite(agrees):
    """u = 0.57 with 9 degrees of freedom beside 0.25 with infinitely many."""
    found = propagate(lambda q: q["a"] + q["b"], [given("a", 0, 0.57, 9), given("b", 0, 0.25)])
    agrees(
        "effective degrees of freedom",
        basis="published",
        source="test suite of suncal, after a course on the GUM",
        unit="1",
        rows=[("nu", 12.8, found.effective_degrees_of_freedom)],
        tolerance=0.05,
    )


def total(q):
    return q["a"] + q["b"] + q["c"] + q["d"]


def test_sum_of_normals(agrees):
    drawn = monte_carlo(
        total, [given(k, 0.0, 1.0) for k in "abcd"], draws=1_000_000, probability=0.95
    )
    agrees(
        "JCGM 101 9.2.2, four normals: u and half-width",
        basis="published",
        source="JCGM 101:2008, table 2 (test suite of suncal)",
        unit="1",
        rows=[
            ("u", 2.0, drawn.standard_uncertainty),
            ("half-width", 3.92, (drawn.symmetric_high - drawn.symmetric_low) / 2),
        ],
        tolerance=0.02,
    )


def test_sum_of_rectangulars(agrees):
    inputs = [given(k, 0.0, 1.0, distribution="rectangular") for k in "abcd"]
    drawn = monte_carlo(total, inputs, draws=1_000_000, probability=0.95)
    agrees(
        "JCGM 101 9.2.3, four rectangulars: u and half-width",
        basis="published",
        source="JCGM 101:2008, table 3 (test suite of suncal); exact 3.87941",
        unit="1",
        rows=[
            ("u", 2.0, drawn.standard_uncertainty),
            ("half-width", 3.88, (drawn.symmetric_high - drawn.symmetric_low) / 2),
        ],
        tolerance=0.02,
    )


def test_one_large_rectangular_is_found_out():
    """JCGM 101 9.2.4: the normal 95 percent interval is 17 percent too wide."""
    inputs = [given(k, 0.0, 1.0, distribution="rectangular") for k in "abc"]
    inputs.append(given("d", 0.0, 10.0, distribution="rectangular"))
    linear = propagate(total, inputs, probability=0.95)
    drawn = monte_carlo(total, inputs, draws=200_000, probability=0.95)
    assert linear.expanded_uncertainty == pytest.approx(19.892, abs=0.001)
    # interval of a rectangle blurred by three small ones, by integration: 17.0
    assert drawn.high == pytest.approx(17.0, abs=0.2)
    agreement = compare(linear, drawn)
    assert not agreement.agrees
    assert "use the Monte Carlo" in agreement.advice


def test_mass_calibration(agrees):
    """JCGM 101 9.3: the first-order GUM misses most of u; here against exact moments."""
    inputs = [
        given("mr", 100000.0, 0.05),
        given("dm", 1.234, 0.02),
        rectangular("air", 1.1, 1.3),
        rectangular("w", 7000.0, 9000.0),
        rectangular("r", 7950.0, 8050.0),
    ]

    def model(q):
        return (q["mr"] + q["dm"]) * (1 + (q["air"] - 1.2) * (1 / q["w"] - 1 / q["r"])) - 1e5

    def moments(low, high):
        return math.log(high / low) / (high - low), 1 / (low * high)

    (w1, w2), (r1, r2) = moments(7000.0, 9000.0), moments(7950.0, 8050.0)
    extra = (0.2**2 / 12) * (w2 - 2 * w1 * r1 + r2) * (1e5 + 1.234) ** 2
    exact = math.sqrt(0.05**2 + 0.02**2 + extra)
    drawn = monte_carlo(model, inputs, draws=400_000)
    agrees(
        "JCGM 101 9.3, mass calibration, u",
        basis="closed form",
        source="exact moments of the model of JCGM 101:2008, 9.3",
        unit="mg",
        rows=[("u", exact, drawn.standard_uncertainty)],
        tolerance=0.0005,
    )
    linear = propagate(model, inputs)
    assert linear.standard_uncertainty == pytest.approx(math.hypot(0.05, 0.02), rel=1e-6)
    assert not compare(linear, drawn).agrees


@pytest.mark.parametrize(("x1", "u_exact"), [(0.0, 50e-6), (0.010, None), (0.050, None)])
def test_comparison_loss(agrees, x1, u_exact):
    """JCGM 101 9.4: y = x1^2 + x2^2 with u = 0.005 each; moments are exact."""
    u = 0.005
    mean = x1 * x1 + 2 * u * u
    exact = math.sqrt(4 * u * u * x1 * x1 + 4 * u**4)
    assert u_exact is None or exact == pytest.approx(u_exact)
    inputs = [given("x1", x1, u), given("x2", 0.0, u)]

    def model(q):
        return q["x1"] * q["x1"] + q["x2"] * q["x2"]

    drawn = monte_carlo(model, inputs, draws=400_000, probability=0.95)
    agrees(
        f"JCGM 101 9.4, comparison loss, x1 = {x1:.3f}: mean and u",
        basis="closed form",
        source="exact moments of the model of JCGM 101:2008, 9.4",
        unit="1e-6",
        rows=[
            ("mean", 1e6 * mean, 1e6 * drawn.mean),
            ("u", 1e6 * exact, 1e6 * drawn.standard_uncertainty),
        ],
        tolerance=0.5 if x1 == 0 else 4.0,
    )
    assert not compare(propagate(model, inputs, probability=0.95), drawn).agrees


def test_gauge_block(agrees):
    """JCGM 101 9.5: limits that are themselves uncertain are a uniform of uniform width."""
    inputs = [
        given("ls", 50000623.0, 25.0, 18),
        given("d", 215.0, 6.0, 24),
        given("d1", 0.0, 4.0, 5),
        given("d2", 0.0, 7.0, 8),
        rectangular("alpha", 9.5e-6, 13.5e-6),
        given("theta", -0.1, 0.2),
        given("cycle", 0.0, 0.5 / math.sqrt(2), distribution="arcsine"),
        rectangular("dalpha width", 0.9e-6, 1.1e-6),
        rectangular("dalpha unit", -1.0, 1.0),
        rectangular("dtheta width", 0.025, 0.075),
        rectangular("dtheta unit", -1.0, 1.0),
    ]

    def model(q):
        whole = {
            **q,
            "dalpha": q["dalpha width"] * q["dalpha unit"],
            "dtheta": q["dtheta width"] * q["dtheta unit"],
        }
        return end_gauge(whole) - 50e6

    drawn = monte_carlo(model, inputs, draws=1_000_000, probability=0.99)
    agrees(
        "JCGM 101 9.5, gauge block: mean, u, 99 % interval",
        basis="published",
        source="Metrology 2 (2022) 3, after JCGM 101:2008, 9.5",
        unit="nm",
        rows=[
            ("mean", 838.0, drawn.mean),
            ("u", 36.0, drawn.standard_uncertainty),
            ("low", 745.0, drawn.low),
            ("high", 932.0, drawn.high),
        ],
        tolerance=2.0,
    )


def test_logarithm(agrees):
    """A strongly bent model: the shortest interval is far from symmetric."""

    def model(q):
        x = q["x"]
        return umath.log(x) if isinstance(x, UFloat) else np.log(x)

    inputs = [rectangular("x", 0.1, 1.1)]
    drawn = monte_carlo(model, inputs, draws=1_000_000, probability=0.95)
    linear = propagate(model, inputs, probability=0.95)
    agrees(
        "y = ln x, x rectangular 0.1 to 1.1: linear and Monte Carlo",
        basis="published",
        source="NPL report DEM-ES-011, 9.2 (test suite of suncal)",
        unit="1",
        rows=[
            ("linear y", -0.511, linear.value),
            ("linear u", 0.481, linear.standard_uncertainty),
            ("y", -0.665, drawn.mean),
            ("u", 0.606, drawn.standard_uncertainty),
            ("low", -1.895, drawn.low),
            ("high", 0.095, drawn.high),
        ],
        tolerance=0.005,
    )
    assert not compare(linear, drawn).agrees


def test_adaptive_procedure_settles():
    inputs = [given(k, 0.0, 1.0) for k in "abcd"]
    drawn = monte_carlo(total, inputs, probability=0.95)
    assert drawn.converged
    assert drawn.standard_uncertainty == pytest.approx(2.0, abs=0.05)
    assert compare(propagate(total, inputs, probability=0.95), drawn).agrees
