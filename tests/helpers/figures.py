"""Columns of printed numbers as they are found, without a picture."""

from __future__ import annotations

from limbsight.vision.numeral_columns import NumeralColumn


def figures_every_tenth(above_px: float = 0.0) -> NumeralColumn:
    """Figures 20 px high at every tenth line, their middle so far above those lines."""
    return NumeralColumn(
        numbered_every=10,
        phase=0,
        middle_index=0.0,
        across_px=30.0,
        across_slope_px=0.0,
        offset_px=above_px,
        offset_slope_px=0.0,
        width_px=25.0,
        height_px=20.0,
        lying_across_px=30.0,
        lying_across_slope_px=0.0,
        lying_width_px=25.0,
        score=1.0,
    )
