"""Scales as an instrument file states them, for tests that need one and not its file."""

from __future__ import annotations

from limbsight.calib.instrument import Numbers, ScaleSpec


def millimetres(lowest: float, highest: float, numbers: Numbers = "upward") -> ScaleSpec:
    """Divisions of a millimetre, numbered every ten."""
    return ScaleSpec(
        unit="mm",
        division=1.0,
        numbered_every=10.0,
        lowest=lowest,
        highest=highest,
        numbers=numbers,
        material=None,
        true_at_k=None,
        standard_uncertainty_m=None,
        unit_m=1e-3,
        unit_pa=None,
    )
