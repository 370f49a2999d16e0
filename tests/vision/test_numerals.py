"""Numbers on drawn scales: a face the network was not trained on, true geometry."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont

from limbsight.vision.numbering import NumberingTable, spellings
from limbsight.vision.numeral_columns import find_columns
from limbsight.vision.numeral_scores import (
    OFFSET_FLOOR,
    OFFSET_SD,
    _offset_scores,
    _offset_sd,
    _spread_px,
    score_column,
)
from limbsight.vision.numeral_strings import CHARACTERS, string_probabilities
from limbsight.vision.numeral_units import read_unit
from limbsight.vision.numerals import (
    DECISIVE_LABELS,
    DECISIVE_MARGIN,
    LabelEvidence,
    Numbering,
    NumeralVerdict,
    ScaleGeometry,
    _shows_its_top,
    _with_those_between,
    bare_hypotheses,
    known_scale_hypotheses,
    read_numerals,
)

ORIGIN = -37
"""Index of the lowest graduation: any."""


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A scale to draw: signed values from the bottom up, every tenth numbered."""

    first: float = 0.0
    division: float = 1.0
    count: int = 121
    every: int = 10
    pitch_px: float = 7.3
    figures_px: float = 15.0
    side: str = "right"
    ink: int = 25
    board: int = 215
    tilt_rad: float = 0.03
    blur_px: float = 1.0
    unit: str = ""
    numbered: bool = True
    quarter_turns: int = 0
    hidden: tuple[float, float] = (0.0, 0.0)
    opposite: bool = False
    """Numbers on the other side that grow downward."""
    above: float = 0.0
    """Heights of a figure from its line up to its middle."""
    drift: float = 0.0
    """Pixels across for every pixel up by which the spine runs off the numbers."""

    @property
    def values(self) -> np.ndarray:
        return self.first + self.division * np.arange(self.count)


def text_of(value: float, step: float) -> str:
    return f"{abs(value):.1f}" if step % 1 else f"{abs(value):.0f}"


def draw(scale: Drawn) -> tuple[np.ndarray, ScaleGeometry]:
    """Picture and geometry; drawn threefold, turned about the spine, averaged down."""
    s, width, margin = 3, 460, 90
    height = round(scale.pitch_px * (scale.count - 1)) + 2 * margin
    image = Image.new("L", (width * s, height * s), scale.board)
    pen = ImageDraw.Draw(image)
    figure = ImageFont.load_default(100).getbbox("0")
    font = ImageFont.load_default(round(scale.figures_px * s * 100 / (figure[3] - figure[1])))
    middle, reach = width / 2, {"right": 22.0, "left": -22.0, "between": 30.0}[scale.side]
    top = height - margin - scale.pitch_px * (scale.count - 1)
    for k, value in enumerate(scale.values):
        y = (height - margin - scale.pitch_px * k) * s
        step = round(value / scale.division)
        long = 10.0 if step % scale.every == 0 else 7.0 if step % 5 == 0 else 4.5
        for sign in (-1, 1) if scale.side == "between" else (1,):
            start = middle + sign * reach if scale.side == "between" else middle
            ends = sorted(((start - long) * s, (start + long) * s))
            pen.line((ends[0], y, ends[1], y), fill=scale.ink, width=4)
        if step % scale.every == 0 and scale.numbered:
            x = middle + (reach if scale.side != "between" else 0.0)
            anchor = {"right": "lm", "left": "rm", "between": "mm"}[scale.side]
            label = text_of(value, scale.every * scale.division)
            y -= scale.above * scale.figures_px * s
            if scale.quarter_turns:
                size = round(4 * scale.figures_px * s)
                tile = Image.new("L", (size, size), scale.board)
                middle_of_tile = (size / 2, size / 2)
                ImageDraw.Draw(tile).text(middle_of_tile, label, scale.ink, font, anchor="mm")
                tile = tile.rotate(90 * scale.quarter_turns)
                part = tile.crop((size * 3 // 8, 0, size * 5 // 8, size))
                image.paste(part, (round((middle + 24) * s), round(y) - size // 2))
            else:
                pen.text((x * s, y), label, scale.ink, font, anchor=anchor)
            if scale.opposite:
                label = text_of(scale.values[-1] - value, scale.every * scale.division)
                pen.text(((middle - 22) * s, y), label, scale.ink, font, anchor="rm")
    if scale.unit:
        pen.text((middle * s, (top - 45) * s), scale.unit, scale.ink, font, anchor="mm")
    if scale.hidden[1] > scale.hidden[0]:
        band = [(top + share * (height - margin - top)) * s for share in scale.hidden]
        pen.rectangle((0, band[0], width * s, band[1]), fill=(scale.ink + scale.board) // 2)
    small = cv2.resize(np.asarray(image), (width, height), interpolation=cv2.INTER_AREA)
    turn = cv2.getRotationMatrix2D((middle, height / 2), np.degrees(scale.tilt_rad), 1.0)
    picture = cv2.warpAffine(small, turn, (width, height), borderValue=scale.board)
    noise = np.random.default_rng(5).normal(0, 3, picture.shape)
    picture = cv2.GaussianBlur(picture, (0, 0), scale.blur_px) + noise
    along = turn[:, :2] @ (0.0, -scale.pitch_px)
    across = turn[:, :2] @ (1.0, 0.0)
    places = np.stack(
        (
            np.full(scale.count, middle),
            height - margin - scale.pitch_px * np.arange(scale.count),
        )
    )
    places[0] -= scale.drift * (places[1] - height / 2)
    geometry = ScaleGeometry(
        index=ORIGIN + np.arange(scale.count),
        centre_px=(turn[:, :2] @ places + turn[:, 2:]).T,
        along_px=np.tile(along, (scale.count, 1)),
        across_px=np.tile(across, (scale.count, 1)),
        tick_half_length_px=10.0 if scale.side != "between" else 40.0,
    )
    return np.clip(picture, 0, 255).astype(np.uint8), geometry


def cut(geometry: ScaleGeometry, first: int, last: int) -> ScaleGeometry:
    """The part of a scale that is in sight."""
    part = slice(first, last)
    return replace(
        geometry,
        index=geometry.index[part],
        centre_px=geometry.centre_px[part],
        along_px=geometry.along_px[part],
        across_px=geometry.across_px[part],
    )


def values_read(verdict: NumeralVerdict, geometry: ScaleGeometry) -> np.ndarray:
    assert verdict.best is not None
    return np.array([verdict.best.value(k) for k in geometry.index])


LOOKS = [
    Drawn(),
    Drawn(side="left", ink=190, board=40),
    Drawn(side="between", pitch_px=5.1, figures_px=10.0),
    Drawn(figures_px=24.0, blur_px=2.0, tilt_rad=-0.12),
    Drawn(figures_px=7.5, pitch_px=4.0, blur_px=0.6, count=201),
    Drawn(ink=150, board=215),
]


@pytest.mark.parametrize("scale", LOOKS)
def test_known_scale_with_hidden_lower_end(scale: Drawn) -> None:
    picture, geometry = draw(scale)
    seen = cut(geometry, 33, scale.count - 4)
    table = known_scale_hypotheses(
        division=1.0,
        numbered_every=10.0,
        lowest=0.0,
        highest=float(scale.count - 1),
        numbers="upward",
        lowest_index=range(ORIGIN - 80, ORIGIN + 81, 10),
    )
    verdict = read_numerals(picture, seen, table)
    assert verdict.decisive
    assert verdict.stance == "upright"
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values)
    assert int(np.argmax(verdict.scores)) == 8


SHIFTED = range(ORIGIN - 80, ORIGIN + 81, 10)


def known_every_tenth(lowest_index: Sequence[int]) -> NumberingTable:
    """A file's scale from 0 to 120, numbered every tenth division."""
    return known_scale_hypotheses(
        division=1.0,
        numbered_every=10.0,
        lowest=0.0,
        highest=120.0,
        numbers="upward",
        lowest_index=lowest_index,
    )


def test_margin_collapses_without_the_true_hypothesis() -> None:
    picture, geometry = draw(Drawn())
    table = known_every_tenth([index for index in SHIFTED if index != ORIGIN])
    assert not read_numerals(picture, geometry, table).decisive


def test_figures_tell_the_division_where_it_is_wide() -> None:
    scale = Drawn(every=5, pitch_px=16.0, count=61)
    picture, geometry = draw(scale)
    table = known_scale_hypotheses(
        division=1.0,
        numbered_every=5.0,
        lowest=0.0,
        highest=60.0,
        numbers="upward",
        lowest_index=range(ORIGIN - 12, ORIGIN + 13),
    )
    verdict = read_numerals(picture, geometry, table)
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values)
    assert verdict.graduation_decisive
    # Carried there by lines that may slope by a division, they tell nothing of it.
    assert verdict.column is not None
    unsure = replace(geometry, u_slope=scale.pitch_px / abs(verdict.column.across_px))
    verdict = read_numerals(picture, unsure, table)
    assert verdict.decisive
    assert not verdict.graduation_decisive


def test_figures_far_from_all_lines_that_they_may_name_settle_nothing() -> None:
    """The right place is not among those asked about: two divisions from the next."""
    scale = Drawn(every=5, pitch_px=16.0, count=61)
    picture, geometry = draw(scale)
    verdict = read_numerals(
        picture,
        geometry,
        known_scale_hypotheses(
            division=1.0,
            numbered_every=5.0,
            lowest=0.0,
            highest=60.0,
            numbers="upward",
            lowest_index=range(ORIGIN + 2, ORIGIN + 13),
        ),
    )
    assert verdict.conflict
    assert not verdict.decisive


@pytest.mark.parametrize(
    ("scale", "direction"),
    [
        (Drawn(first=60.0, count=101), 1),
        (Drawn(first=-60.0), 1),
        (Drawn(first=120.0, division=-1.0), -1),
        (Drawn(division=0.1, count=81), 1),
        (Drawn(division=0.05, count=101), 1),
        (Drawn(first=-40.0, division=2.0, count=81, side="between"), 1),
        (Drawn(division=0.2, every=5, pitch_px=14.0, count=61), 1),
    ],
)
def test_bare_scale(scale: Drawn, direction: int) -> None:
    picture, geometry = draw(scale)
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.decisive
    assert verdict.best is not None
    assert verdict.best.direction == direction
    assert verdict.best.numbered_every == scale.every
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values, atol=1e-9)


@pytest.mark.parametrize("side", ["right", "between"])
def test_of_two_columns_that_run_opposite_the_one_that_grows_upward(side: str) -> None:
    scale = Drawn(count=101, side=side, opposite=side == "right")
    picture, geometry = draw(scale)
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.both_ways == scale.opposite
    assert verdict.decisive
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values, atol=1e-9)


def test_every_fifth_of_the_numbers_is_not_all_there_are() -> None:
    scale = Drawn(count=81)
    picture, geometry = draw(scale)
    ((column, *_), *_) = find_columns(picture, geometry, scale.every)
    fifth = replace(column, numbered_every=5 * scale.every)
    few = score_column(picture, geometry, bare_hypotheses(), fifth, "upright", 1.0)
    assert len(few.labels) < DECISIVE_LABELS
    found = _with_those_between(picture, geometry, bare_hypotheses(), few)
    assert found.numbering.numbered_every == scale.every
    values = [found.numbering.value(int(k)) for k in geometry.index]
    np.testing.assert_allclose(values, scale.values, atol=1e-9)


@pytest.mark.parametrize("first", [120.0, 130.0])
def test_sign_is_certain_where_numbers_fall_to_the_last_and_none_follow(first: float) -> None:
    """To zero, or to ten; where lines go on beyond what was found a zero has to be read."""
    scale = Drawn(first=first, division=-1.0, count=121)
    picture, geometry = draw(scale)
    assert read_numerals(picture, geometry, bare_hypotheses()).sign_certain
    for last in (95, 101):
        lower = cut(geometry, 0, last)
        assert not read_numerals(picture, lower, bare_hypotheses()).sign_certain
    more = replace(geometry, beyond_ends=4)
    zero_is_read = first == scale.count - 1
    assert read_numerals(picture, more, bare_hypotheses()).sign_certain is zero_is_read


@pytest.mark.parametrize(
    ("expected", "read", "tells"),
    [
        ("8", "8", False),
        ("2", "2", False),
        ("88", "88", False),
        ("25", "25", True),
        ("10", "10", True),
        ("6", "6", True),
        ("7", "1", False),
    ],
)
def test_figures_that_look_alike_upside_down_do_not_tell_the_top(
    expected: str, read: str, tells: bool
) -> None:
    box = np.zeros((4, 2))
    label = LabelEvidence(index=0, expected=expected, read=read, evidence=6.9, box_px=box)
    assert _shows_its_top(label) is tells


@pytest.mark.parametrize(("flip", "stance"), [(-1, "turned"), (1, "mirrored")])
def test_stance_of_the_picture(flip: int, stance: str) -> None:
    scale = Drawn(tilt_rad=0.0)
    picture, geometry = draw(scale)
    flipped = cv2.flip(picture, flip)
    height, width = picture.shape
    if flip == -1:
        centre = ([width, height] - geometry.centre_px - 1)[::-1]
    else:
        centre = geometry.centre_px * [-1, 1] + [width - 1, 0]
    turned = replace(geometry, centre_px=np.ascontiguousarray(centre))
    verdict = read_numerals(flipped, turned, bare_hypotheses())
    assert verdict.stance == stance
    assert verdict.decisive


@pytest.mark.parametrize("pitch_px", [9.0, 5.0])
@pytest.mark.parametrize(("quarter_turns", "stance"), [(1, "rising"), (3, "falling")])
def test_numbers_along_the_scale(quarter_turns: int, stance: str, pitch_px: float) -> None:
    """Also where the next ones come into sight, as on a ruler that stands upright."""
    scale = Drawn(quarter_turns=quarter_turns, pitch_px=pitch_px, figures_px=14.0)
    picture, geometry = draw(scale)
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.stance == stance
    assert verdict.decisive
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values)


@pytest.mark.parametrize("drift", [-0.02, 0.02])
def test_numbers_along_the_scale_may_drift_across_it(drift: float) -> None:
    """By more than they are high, over the whole scale."""
    scale = Drawn(quarter_turns=1, figures_px=14.0, drift=drift)
    picture, geometry = draw(scale)
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.stance == "rising"
    assert verdict.decisive
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values)


@pytest.mark.parametrize("above", [-0.8, 0.8])
@pytest.mark.parametrize("known", [True, False])
def test_figures_may_stand_on_lines_or_hang_from_them(above: float, known: bool) -> None:
    """Half of a figure is about its line then: too little to find the column by."""
    scale = Drawn(figures_px=26.0, above=above)
    picture, geometry = draw(scale)
    table = known_every_tenth(SHIFTED) if known else bare_hypotheses()
    verdict = read_numerals(picture, geometry, table)
    assert verdict.decisive
    assert verdict.best is not None
    assert verdict.best.division == scale.division
    moved = above * scale.figures_px / scale.pitch_px
    named = verdict.best.zero_index - ORIGIN
    assert named + verdict.above_px / scale.pitch_px == pytest.approx(moved, abs=0.3)


def test_hidden_middle_does_not_matter() -> None:
    scale = Drawn(hidden=(0.3, 0.62))
    picture, geometry = draw(scale)
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.decisive
    np.testing.assert_allclose(values_read(verdict, geometry), scale.values)


@pytest.mark.parametrize(
    "scale", [Drawn(numbered=False), Drawn(blur_px=9.0), Drawn(hidden=(0.0, 0.9))]
)
def test_abstains_where_too_little_is_legible(scale: Drawn) -> None:
    picture, geometry = draw(scale)
    assert not read_numerals(picture, geometry, bare_hypotheses()).decisive


def test_columns_at_known_place() -> None:
    picture, geometry = draw(Drawn(tilt_rad=0.0, side="between"))
    column = find_columns(picture, geometry, 10)[0][0]
    assert column.across_px == pytest.approx(0.0, abs=2.5)
    assert column.offset_px == pytest.approx(0.0, abs=1.5)
    assert column.height_px == pytest.approx(15.0, rel=0.25)


def test_columns_far_across_a_board() -> None:
    picture, geometry = draw(Drawn(tilt_rad=0.0))
    lines_end, start_px, apart_px = 244, 22.0, 300
    blank = np.full((len(picture), apart_px), 215, np.uint8)
    apart = np.hstack([picture[:, :lines_end], blank, picture[:, lines_end:]])
    near, far = (
        [c.across_px for group in find_columns(apart, geometry, 10, far=far) for c in group]
        for far in (False, True)
    )
    assert max(near, default=0.0) < apart_px
    (place,) = far
    assert apart_px + start_px < place < apart_px + start_px + 3 * Drawn().figures_px


def test_no_figure_stands_more_than_its_height_from_its_line() -> None:
    picture, geometry = draw(Drawn(pitch_px=4.0))
    ((column, *_), *_) = find_columns(picture, geometry, 10)
    off = column.offset_px / geometry.pitch_px
    away = np.array([0.0, 0.5, 1.0, 1.3, 2.5]) * column.height_px / geometry.pitch_px
    spread_px = _spread_px(column, OFFSET_SD, 0.0)
    scores = _offset_scores(column, geometry.pitch_px, off + away, spread_px)
    assert scores[0] == 0.0
    np.testing.assert_allclose(scores[[1, 2]], OFFSET_FLOOR)
    np.testing.assert_allclose(scores[3:], 4 * OFFSET_FLOOR)


def test_figures_along_a_scale_may_begin_at_their_line() -> None:
    """Half of a number's length off its middle; upright ones are not set so."""
    assert _offset_sd("upright") == _offset_sd("turned") < 0.5 * _offset_sd("rising")
    assert _offset_sd("rising") == _offset_sd("falling")
    assert 0.5 * (0.5 / _offset_sd("rising")) ** 2 < 3.0


def test_label_boxes_lie_on_the_labels() -> None:
    picture, geometry = draw(Drawn(tilt_rad=0.0, side="between"))
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    for label in verdict.labels:
        place = geometry.centre_px[label.index - ORIGIN]
        assert label.read == label.expected
        assert np.linalg.norm(label.box_px.mean(axis=0) - place) < 4.0


@pytest.mark.parametrize("unit", ["mm", "kPa", "inH2O", ""])
def test_unit_above_the_scale(unit: str) -> None:
    picture, geometry = draw(Drawn(unit=unit, pitch_px=6.0))
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.column is not None
    assert read_unit(picture, geometry, verdict.column) == (unit or None)


def by_alignments(probabilities: np.ndarray, text: str) -> float:
    """Sum over every path of classes that collapses to the text."""
    alphabet = sorted({0, *(CHARACTERS.index(c) + 1 for c in text)})
    wanted = [CHARACTERS.index(c) + 1 for c in text]
    total = 0.0
    for path in itertools.product(alphabet, repeat=len(probabilities)):
        kept = [c for c, _ in itertools.groupby(path) if c]
        if kept == wanted:
            total += float(np.prod([p[c] for p, c in zip(probabilities, path, strict=True)]))
    return total


@given(seed=st.integers(0, 10**6), text=st.sampled_from(["", "7", "11", "12", "1.5"]))
@settings(max_examples=20, deadline=None)
def test_string_probability_is_the_sum_over_alignments(seed: int, text: str) -> None:
    rng = np.random.default_rng(seed)
    probabilities = rng.dirichlet(np.ones(1 + len(CHARACTERS)), size=(1, 5))
    ours = string_probabilities(probabilities, [text])[0, 0]
    assert ours == pytest.approx(by_alignments(probabilities[0], text), rel=0.01, abs=1e-9)


def test_spellings_of_a_number() -> None:
    assert spellings(3, 10.0) == ("30",)
    assert set(spellings(1, 0.5)) == {"0.5", ".5"}
    assert set(spellings(2, 0.5)) == {"1.0", "1"}
    assert set(spellings(3, 0.25)) == {"0.75", ".75"}


def test_value_of_a_numbering() -> None:
    down = Numbering(
        numbered_every=10, division=0.5, direction=-1, unsigned=False, zero_index=20.0
    )
    assert down.value(0) == 10.0
    assert down.value(24) == -2.0


def test_geometry_must_be_consecutive() -> None:
    _, geometry = draw(Drawn(count=20))
    with pytest.raises(ValueError, match="consecutive"):
        replace(geometry, index=geometry.index[::-1].copy())


def test_numbers_of_a_known_scale_that_are_read_nowhere_decide_nothing() -> None:
    picture, geometry = draw(Drawn())
    verdict = read_numerals(picture, geometry, known_every_tenth(SHIFTED))
    assert verdict.decisive
    blank = tuple(replace(label, read="") for label in verdict.labels)
    assert not replace(verdict, labels=blank).decisive
    assert not replace(verdict, labels=(*verdict.labels[:1], *blank[1:])).decisive


def test_of_three_numbers_of_a_known_scale_all_must_agree() -> None:
    """Two may be those of another place by chance: 80 and 120, and 20 for 100 between them."""
    picture, geometry = draw(Drawn())
    verdict = read_numerals(picture, geometry, known_every_tenth(SHIFTED))
    three = verdict.labels[:3]
    assert replace(verdict, labels=three).decisive
    other = replace(three[1], read="7", evidence=-3.0)
    assert not replace(verdict, labels=(three[0], other, three[2])).decisive


def test_figures_that_drift_from_line_to_line_decide_nothing() -> None:
    """Lines were lost between them; of a hidden end the drift is that of something else."""
    picture, geometry = draw(Drawn())
    verdict = read_numerals(picture, geometry, known_every_tenth(SHIFTED))
    assert verdict.column is not None
    slope = verdict.pitch_px / (verdict.labels[-1].index - verdict.labels[0].index)
    drifting = replace(verdict, column=replace(verdict.column, offset_slope_px=slope))
    assert not drifting.decisive
    hidden = [replace(label, read="") for label in verdict.labels[-6:]]
    assert replace(drifting, labels=(*verdict.labels[:-6], *hidden)).keeps_step


def test_margin_is_a_documented_constant() -> None:
    picture, geometry = draw(Drawn())
    verdict = read_numerals(picture, geometry, bare_hypotheses())
    assert verdict.margin > DECISIVE_MARGIN
    assert not replace(verdict, margin=DECISIVE_MARGIN - 0.1).decisive
