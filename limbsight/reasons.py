"""Every reason a reading can give: code, what it does to the status, what to say and do.

The one table that feeds the reading, the report, the README and the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from limbsight.errors import NotMeasurable
from limbsight.records import Reason

Effect = Literal["refused", "check", "note"]
"""A note leaves the status as it is: what was assumed or left out, not a doubt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonKind:
    """A code, its effect, and its sentence with places to fill in."""

    code: str
    effect: Effect
    text: str
    remedy: str


_KINDS = (
    ReasonKind(
        code="scale_not_found",
        effect="refused",
        text="no graduated scale was found: no column of {least} or more level lines, dark or "
        "light, at even distances",
        remedy="retake facing the scale, closer, sharp and without glare on the graduations",
    ),
    ReasonKind(
        code="photo_blurred",
        effect="refused",
        text="nothing in the picture is sharp: its edges are blurred over {blur:.0f} px, and "
        "lines nearer to each other than {needed:.0f} px can't be told apart",
        remedy="hold still, let the camera focus on the instrument, and give it more light",
    ),
    ReasonKind(
        code="too_few_pixels",
        effect="refused",
        text="a division is {most}{pitch:.1f} px here, {needed:.1f} are needed",
        remedy="retake closer or with a longer lens",
    ),
    ReasonKind(
        code="scale_differs_from_file",
        effect="refused",
        text="the graduations found do not fit the scale of the instrument file ({detail})",
        remedy="check lowest, highest and division, or whether this is another instrument",
    ),
    ReasonKind(
        code="other_instrument",
        effect="refused",
        text="the label in the picture is number {seen}, that of the instrument file {stated}",
        remedy="give the file of this instrument, or correct number under [label] in it",
    ),
    ReasonKind(
        code="instrument_not_told",
        effect="refused",
        text="of the labels that the instrument files state, the picture shows {what}",
        remedy="retake with the label of this instrument alone in the picture, or give its "
        "file with --instrument",
    ),
    ReasonKind(
        code="label_not_seen",
        effect="note",
        text="the label of the instrument file, number {stated}, is not seen: nothing but its "
        "scale says which instrument this is",
        remedy="retake with the whole label in the picture, sharp and without glare on it",
    ),
    ReasonKind(
        code="scale_uneven",
        effect="refused",
        text="the graduations do not follow one even scale on one flat board",
        remedy="retake facing the scale, or check the scale in the instrument file",
    ),
    ReasonKind(
        code="scale_ambiguous",
        effect="refused",
        text="the scale can be numbered in two ways: an end or the numerals are not seen",
        remedy="retake with both ends of the scale and its numbers in the picture",
    ),
    ReasonKind(
        code="picture_turned",
        effect="refused",
        text="the numbers stand upside down: the picture is turned",
        remedy="turn the picture upright, or retake holding the camera upright",
    ),
    ReasonKind(
        code="picture_mirrored",
        effect="refused",
        text="the numbers are mirror-written: the picture is a mirror image",
        remedy="retake without a mirror, or with the camera's mirror setting off",
    ),
    ReasonKind(
        code="scale_unnumbered",
        effect="refused",
        text="the numbers of the scale could not be read",
        remedy="give an instrument file with --instrument, or retake closer and sharper",
    ),
    ReasonKind(
        code="scale_partly_seen",
        effect="check",
        text="more than a quarter of the graduations that the instrument file states are not "
        "seen where they would be in the picture",
        remedy="uncover the whole scale, or compare its ends with lowest and highest in the "
        "instrument file",
    ),
    ReasonKind(
        code="scale_through_tubes",
        effect="check",
        text="a column of graduations that the scale rests on reaches behind a tube, where "
        "glass and liquid shift what is seen, and too few are seen beside the tubes",
        remedy="retake closer and sharper, so that their ends beside the tubes are seen",
    ),
    ReasonKind(
        code="several_scales",
        effect="check",
        text="{count} graduated boards stand in the picture, and the one with most "
        "graduations was read",
        remedy="look at the overlay whether it is the right one; retake with one instrument "
        "in the picture",
    ),
    ReasonKind(
        code="limb_not_found",
        effect="refused",
        text="{found} of {wanted} limbs were found beside the scale",
        remedy="retake with the whole instrument in the picture, and check the tube's "
        "outside_diameter in the instrument file",
    ),
    ReasonKind(
        code="limb_uncertain",
        effect="check",
        text="something beside the scale looks like another limb",
        remedy="look at the overlay; retake without tubes or rods near the instrument",
    ),
    ReasonKind(
        code="level_not_found",
        effect="refused",
        text="no level was found in {limb} within the scale",
        remedy="check that the level is on the scale and in the picture; light from the side "
        "shows a clear liquid better",
    ),
    ReasonKind(
        code="level_hidden",
        effect="refused",
        text="the level in {limb} is behind something that covers the tube",
        remedy="retake from another side, or move the clip or label",
    ),
    ReasonKind(
        code="level_off_scale",
        effect="refused",
        text="the level in {limb} is at {value:.4g} {unit}, beyond the scale",
        remedy="bring the level onto the scale before reading",
    ),
    ReasonKind(
        code="level_beyond_graduations",
        effect="check",
        text="the graduations beside the level in {limb} were not found; its height "
        "is carried on from others",
        remedy="retake with the graduations there in view, sharp and without glare",
    ),
    ReasonKind(
        code="level_competes",
        effect="check",
        text="{limb} shows another interface as clear as the one reported",
        remedy="look at the overlay: bubbles, a broken column or a second liquid?",
    ),
    ReasonKind(
        code="level_doubted",
        effect="check",
        text="the level reported in {limb} is doubtful, or another place there looks "
        "as much like one",
        remedy="look at the overlay: glare, a label, bubbles, a broken column?",
    ),
    ReasonKind(
        code="level_unlike_meniscus",
        effect="check",
        text="the level in {limb} does not look like a meniscus of this liquid",
        remedy="look at the overlay: glare, droplets, dirt or a wrong liquid in the file?",
    ),
    ReasonKind(
        code="level_as_seen",
        effect="note",
        text="the level in {limb} does not look quite like a meniscus of this liquid, but is "
        "plainly seen; its interval is as wide as one who looks would be wrong",
        remedy="for a narrower interval retake with softer light and clean glass",
    ),
    ReasonKind(
        code="glare_on_level",
        effect="check",
        text="glare has burnt out a part of {limb} about its level",
        remedy="retake a step aside, or with the light from the side and without flash",
    ),
    ReasonKind(
        code="level_uncertain",
        effect="check",
        text="the level in {limb} is known only to ± {width:.2g} {unit}",
        remedy="look at the overlay; retake with softer light, level with the meniscus",
    ),
    ReasonKind(
        code="wall_not_wetted",
        effect="check",
        text="the levels look like those of water in tubes that it does not wet, plastic or "
        "greasy glass, and are read as such",
        remedy="look at the overlay; give the material of the tubes in the instrument file",
    ),
    ReasonKind(
        code="wetting_uncertain",
        effect="check",
        text="the picture does not tell whether the liquid wets the tubes (glass) or not "
        "(plastic, greasy glass), and the levels differ",
        remedy="give the material of the tubes in the instrument file",
    ),
    ReasonKind(
        code="liquid_differs_from_file",
        effect="check",
        text="what is in {where} looks like {seen}, where the instrument file states {stated}",
        remedy="check that the file is that of this instrument and names its liquids",
    ),
    ReasonKind(
        code="tubes_differ_from_file",
        effect="check",
        text="the tubes look {ratio:.1f} times as wide as the instrument file says",
        remedy="check that the file is that of this instrument, and measure its tubes",
    ),
    ReasonKind(
        code="liquid_uncertain",
        effect="check",
        text="{limb} may hold mercury or a clear liquid, and the level differs",
        remedy="give an instrument file with --instrument",
    ),
    ReasonKind(
        code="fillings_uncertain",
        effect="check",
        text="what stands in the tubes, and how many levels there are, is not plain",
        remedy="look at the overlay; give an instrument file with --instrument",
    ),
    ReasonKind(
        code="unit_uncertain",
        effect="check",
        text="the unit of the scale is not seen, and the sizes of tubes and figures allow two",
        remedy="give an instrument file with --instrument, or take the unit into the picture",
    ),
    ReasonKind(
        code="read_without_file",
        effect="note",
        text="no instrument file: numbers every {every:g} {unit} from {lowest:g} to "
        "{highest:g} were read from the picture; the unit ({unit_from}), {fillings} and tubes "
        "about {tube:.0f} mm wide are taken for granted; their axes {depth}",
        remedy="look at the overlay; give an instrument file with --instrument for a pressure",
    ),
    ReasonKind(
        code="numbers_both_ways",
        effect="note",
        text="two columns of numbers run opposite ways beside the same graduations; the "
        "values are those of the one that grows upward",
        remedy="take the other column's number for a limb beside it, if that is the one meant",
    ),
    ReasonKind(
        code="zero_out_of_sight",
        effect="check",
        text="the numbers fall upward and their zero is not in the picture: it may lie inside "
        "the scale, and the values be those below it",
        remedy="take the zero into the picture, or give an instrument file with --instrument",
    ),
    ReasonKind(
        code="focal_unknown",
        effect="note",
        text="the file does not say the camera's focal length, and a guessed one makes most "
        "of the interval",
        remedy="use the file as the camera wrote it, not one cut or sent by a messenger",
    ),
    ReasonKind(
        code="scale_askew",
        effect="note",
        text="the tubes lean by {degrees:.1f} degrees against the scale; levels are read "
        "square to the scale, and the interval of a pressure allows for a scale that is as "
        "far from plumb",
        remedy="set tubes and scale plumb; if the scale is known to be, give plumb in the "
        "instrument file",
    ),
    ReasonKind(
        code="picture_of_picture",
        effect="note",
        text="a border runs around what the picture shows, as about a screen or a paper "
        "print; its EXIF data name another lens than what it shows was taken with, and a "
        "guessed one widens the interval",
        remedy="give the photo itself, not a photo of it",
    ),
    ReasonKind(
        code="depth_unknown",
        effect="note",
        text="how far the axes of the tubes stand in front of the graduated face is not "
        "known; with it the level in {limb} would be known to ± {known:.2g} {unit} in place "
        "of ± {now:.2g}",
        remedy="measure it and give it with --axis-to-scale, or as axis_to_scale in the "
        "instrument file",
    ),
    ReasonKind(
        code="pressure_not_computed",
        effect="note",
        text="the levels were read but not reduced to a pressure: {detail}",
        remedy="complete the instrument file",
    ),
    ReasonKind(
        code="zero_doubtful",
        effect="check",
        text="the zero photo that was subtracted, {photo}, needs a look itself ({codes})",
        remedy="look at its overlay, or take the zero again",
    ),
    ReasonKind(
        code="zero_unfit",
        effect="check",
        text="the levels were read, but the zero photo does not fit them: {detail}",
        remedy="take the zero of this instrument again",
    ),
)

KINDS: dict[str, ReasonKind] = {kind.code: kind for kind in _KINDS}


def reason(code: str, /, *, limb: str | None = None, **places: object) -> Reason:
    """Build a reason with its remedy.

    Raises
    ------
    KeyError
        For a code that is not in the table (a fault of the program).
    """
    kind = KINDS[code]
    text = kind.text.format(limb=limb and limb_text(limb), **places)
    return Reason(code=code, text=f"{text}; {kind.remedy}", limb=limb)


def refusal(code: str, **places: object) -> NotMeasurable:
    """Build what stops a reading, for a reason that concerns the whole photo."""
    return NotMeasurable(reason(code, limb=None, **places).text, code=code)


def limb_text(limb: str) -> str:
    """Name a limb in a sentence: the left limb, limb 3, the tube."""
    if limb.isdigit():
        return f"limb {limb}"
    return f"the {limb}" if limb == "tube" else f"the {limb} limb"


def status_of(reasons: tuple[Reason, ...]) -> Literal["read", "check", "refused"]:
    """Return the gravest effect among the reasons."""
    effects = {KINDS[r.code].effect for r in reasons}
    if "refused" in effects:
        return "refused"
    return "check" if "check" in effects else "read"
