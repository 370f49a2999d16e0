"""Columns beside each other: one scale or two, and bent copies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.comb import Comb
from limbsight.vision.comb_joints import join_combs
from limbsight.vision.segments import Segments
from tests.helpers.boards import Camera, Column
from tests.helpers.combs import CAMERA, COLUMN, combs_in, offsets


class TestTwoColumns:
    COLUMNS = (Column(spine=-8.0, side="right"), Column(spine=8.0, side="left"))

    @pytest.mark.parametrize(
        "pose",
        [{}, {"roll": 6.0}, {"roll": -9.0}, {"yaw": 3.0, "pitch": 2.0}, {"k1": 0.015}],
    )
    def test_count_the_same_graduations(self, pose):
        camera = Camera(focal_px=1517.0, **pose)
        groups = join_combs(combs_in(camera, *self.COLUMNS))
        assert len(groups) == 1
        assert len(groups[0]) == 2
        found = {}
        for comb in groups[0]:
            column = self.COLUMNS[0] if comb.side == "right" else self.COLUMNS[1]
            [shift] = set(offsets(comb, column, camera))
            found[comb.side] = (shift, comb)
        difference = found["left"][0] - found["right"][0]
        joined = next(comb for comb in groups[0] if comb.index_error > 0)
        # Half a division out would be a guess; the joint says how sure it is.
        assert abs(difference) <= 3.5 * joined.index_error
        if joined.index_error < 0.2:
            assert difference == 0

    def test_of_another_pitch_are_another_scale(self):
        coarse = Column(spine=8.0, division=1.37, first=-28, last=28)
        groups = join_combs(combs_in(CAMERA, self.COLUMNS[0], coarse))
        assert sorted(len(group) for group in groups) == [1, 1]
        assert len(groups[0][0].index) > len(groups[1][0].index)

    def test_one_much_steadier_than_the_fullest_drops_no_other(self):
        """Under motion blur one column of a bank scattered by 0.05 px, seven by 0.18."""
        full, other = combs_in(CAMERA, *self.COLUMNS)
        steady = replace(
            other,
            residual_px=0.05,
            index=other.index[3:],
            lines=other.lines.take(np.arange(3, len(other.index))),
        )
        (group,) = join_combs((replace(full, residual_px=0.18), steady))
        assert len(group) == 2

    def test_bent_and_short_copies_are_dropped(self):
        """As a tube beside the print shows them."""
        print_, ghost = COLUMN.comb(CAMERA), Column(spine=12.0, lengths=(1, 1, 1)).comb(CAMERA)
        wobble = 0.8 * np.random.default_rng(0).standard_normal(len(ghost.index))
        lines = ghost.lines
        bent = Segments(
            x=lines.x,
            y=lines.y + wobble,
            slope=lines.slope,
            left=lines.left,
            right=lines.right,
            strength=lines.strength,
        )
        groups = join_combs(
            (print_, Comb(side="left", index=ghost.index, lines=bent, residual_px=0.8))
        )
        assert [len(group) for group in groups] == [1]
