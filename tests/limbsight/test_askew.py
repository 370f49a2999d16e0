"""What tubes that lean against the scale change in what is known."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from limbsight.askew import with_plumb_in_doubt
from limbsight.knowledge import Knowledge, knowledge_from_picture
from limbsight.units import Given
from tests.helpers.scales import millimetres

KNOWN = knowledge_from_picture(millimetres(0.0, 100.0))


def plumb_of(known: Knowledge) -> Given:
    given = known.instrument.site.plumb_rad
    assert given is not None
    return given


def test_a_scale_may_be_as_far_from_plumb_as_tubes_lean_against_it():
    """Rectangular, beside what a hand level leaves (0.3 degrees)."""
    plumb = plumb_of(with_plumb_in_doubt(KNOWN, math.tan(math.radians(1.5))))
    assert plumb.value == 0.0
    assert plumb.standard_uncertainty == pytest.approx(
        math.radians(math.hypot(0.3, 1.5 / math.sqrt(3.0)))
    )


def test_without_a_lean_nothing_changes():
    assert with_plumb_in_doubt(KNOWN, 0.0) is KNOWN


def test_what_a_file_says_of_plumb_stands():
    site = replace(KNOWN.instrument.site, plumb_rad=Given(value=0.01))
    stated = replace(KNOWN, instrument=replace(KNOWN.instrument, site=site))
    assert with_plumb_in_doubt(stated, 0.03) is stated
