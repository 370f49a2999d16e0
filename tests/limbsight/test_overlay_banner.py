"""The banner: its colours, and what it says of a refused photo."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.overlay import draw_overlay
from limbsight.overlay_banner import STATUS_COLOUR
from limbsight.overlay_strokes import TEXT
from limbsight.records import Reason
from tests.helpers.overlays import plain_picture, share_of


@pytest.mark.parametrize("status", ["read", "check", "refused"])
def test_banner_has_the_colour_of_the_status(make, status):
    drawn = draw_overlay(plain_picture(), make.reading(status=status))
    assert share_of(drawn[:4], STATUS_COLOUR[status]) == 1.0


def test_status_colours_differ_in_lightness_for_the_colour_blind():
    """Luma by ITU-R BT.601: 0.114 B + 0.587 G + 0.299 R."""
    luma = sorted(np.dot(c, (0.114, 0.587, 0.299)) for c in STATUS_COLOUR.values())
    assert min(np.diff(luma)) > 8


def test_refused_photo_is_shown_whole_with_its_reasons(refused):
    one = draw_overlay(plain_picture(), refused)
    long_reason = Reason(code="x", text="a long reason " * 20)
    more = replace(refused, reasons=(*refused.reasons, long_reason))
    two = draw_overlay(plain_picture(), more)
    assert one.shape[1] == 1200  # 600 x 800 enlarged to 1600
    assert two.shape[0] > one.shape[0] + 2 * TEXT
