"""The form of change.json: what changed between two limb models, or differs between the two sides.

Every change is second minus first; names ending in ``_95`` are the two ends of a 95 % interval.
"""

from __future__ import annotations

from typing import Final, Literal

from pydantic import AwareDatetime

from digitise.care.change.compare import ChangeVerdict
from digitise.output.forms import Digest, Form, LimbField, Pair, SideField, SoftwareForm, Text, WarningForm

FORMAT: Final = "limb-change/1"
Verdict = Literal["smaller", "larger", "no clear change"]
VERDICTS: dict[ChangeVerdict, Verdict] = {
    ChangeVerdict.SMALLER: "smaller",
    ChangeVerdict.LARGER: "larger",
    ChangeVerdict.UNCLEAR: "no clear change",
}
"""How a verdict is said, to people and in change.json."""


class SourceForm(Form):
    """One of the two models; its volume is that of the compared heights, as both shapes together tell it."""

    side: SideField
    from_mm: float
    to_mm: float
    volume_ml: float
    volume_ml_95: Pair
    limb_sha256: Digest
    created: AwareDatetime


class PartForm(Form):
    """Change of volume between two heights, also in percent of the first limb's; null between two sides."""

    name: str
    from_mm: float
    to_mm: float
    first_ml: float
    second_ml: float
    change_ml: float
    change_ml_95: Pair
    percent: float | None
    percent_95: Pair | None
    verdict: Verdict


class LevelForm(Form):
    """Change of girth and of the section's area at one height; the verdict is the girth's."""

    height_mm: float
    girth_change_mm: float
    girth_change_mm_95: Pair
    verdict: Verdict
    area_change_mm2: float
    area_change_mm2_95: Pair


class AlignmentForm(Form):
    """How the second limb was moved onto the first.

    Turned counter-clockwise seen from above, then shifted along x and y; ``lean_mm_per_m`` is how much the
    shift grows by metre of height.
    """

    turn_degrees: float
    turn_degrees_sd: float
    shift_mm: Pair
    lean_mm_per_m: Pair


class ColourForm(Form):
    """The colours of pictures and meshes: ``smallest`` at ``-reach_mm``, ``largest`` at ``+reach_mm``."""

    reach_mm: float
    smallest: str
    unchanged: str
    largest: str
    no_clear_change: str


class FigureForm(Form):
    """A figure, its interval, and the formula it comes from."""

    value: float
    interval_95: Pair
    formula: str


class ExcessForm(Form):
    """Excess of the first limb over the second, which is the other side of the body.

    ``percent`` is null where both limbs are swollen; ``note`` tells why.
    """

    affected: Text
    reference: Text
    excess_ml: FigureForm
    percent: FigureForm | None
    note: Text


class OverlayForm(Form):
    """A picture as a photograph saw the limb: its file, and the name of the photograph in which model."""

    file: str
    model: Literal["first", "second"]
    photo: str


class ChangeForm(Form):
    """All that change.json holds; the chart of directions and heights is in chart.csv beside it.

    ``foot`` or ``hand`` is there where both visits measured it.
    """

    format: Literal["limb-change/1"]
    limb: LimbField
    mirrored: bool
    first: SourceForm
    second: SourceForm
    from_mm: float
    to_mm: float
    whole: PartForm
    parts: tuple[PartForm, ...]
    excess: ExcessForm | None
    foot: PartForm | None = None
    hand: PartForm | None = None
    levels: tuple[LevelForm, ...]
    alignment: AlignmentForm
    colours: ColourForm
    overlays: tuple[OverlayForm, ...] = ()
    sentences: tuple[Text, ...]
    warnings: tuple[WarningForm, ...]
    not_included: tuple[Text, ...]
    caution: tuple[Text, ...]
    created: AwareDatetime
    software: SoftwareForm
