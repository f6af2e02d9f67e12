"""A comparison of two models becomes the figures of change.json."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from matplotlib.colors import to_hex

from digitise.care.change.compare import Change, VolumeChange, area_change
from digitise.care.change.end import EndChange
from digitise.care.excess import Excess, excess
from digitise.output.cautions import caution, left_out
from digitise.output.change import form
from digitise.output.change.overlays import Overlays, find_overlays
from digitise.output.change.words import change_sentences, change_warnings, end_sentences, sides
from digitise.output.figures import style
from digitise.output.figures.limb import change_reach
from digitise.output.forms import WarningForm, interval, now, rounded, software
from digitise.output.model.form import ModelForm
from digitise.shape.limb import AnyEstimate, Estimate

EXCESS_FORMULA = "V_affected - V_reference"
PERCENT_FORMULA = "100 (V_affected - V_reference) / V_reference"


@dataclass(frozen=True)
class Compared:
    """Two models and what was found between them.

    Attributes
    ----------
    change
        The comparison.
    first, second
        What model.json says of both.
    bilateral
        Both limbs are swollen, so that percentages of excess mean nothing.
    """

    change: Change
    first: ModelForm
    second: ModelForm
    bilateral: bool = False
    end: EndChange | None = None


def change_form(
    compared: Compared, created: datetime | None = None, overlays: Overlays | None = None
) -> form.ChangeForm:
    """Return all figures of a comparison.

    Parameters
    ----------
    compared
        The comparison.
    created
        When; now when not given.
    overlays
        Its pictures as the photographs saw the limb; found when not given.
    """
    change, first, second = compared.change, compared.first, compared.second
    seen = overlays or find_overlays(change, first, second)
    over = excess(change.whole.volumes, bilateral=compared.bilateral) if change.mirrored else None
    low, high = change.joint.low, change.joint.high
    covers = ((first.from_mm, first.to_mm), (second.from_mm, second.to_mm))
    return form.ChangeForm(
        format=form.FORMAT,
        limb=first.limb,
        mirrored=change.mirrored,
        first=_source(first, change.whole, 0),
        second=_source(second, change.whole, 1),
        from_mm=rounded(low),
        to_mm=rounded(high),
        whole=_part(change.whole, change.mirrored),
        parts=tuple(_part(part, change.mirrored) for part in change.parts),
        excess=None if over is None else _excess(change, over),
        **({} if compared.end is None else {compared.end.name: _end(compared.end)}),
        levels=_levels(change),
        alignment=_alignment(change),
        colours=_colours(change),
        overlays=tuple(_overlays(seen, first, second)),
        sentences=(*change_sentences(change, over), *end_sentences(compared.end)),
        warnings=(*change_warnings(change, covers), *_left_out(seen)),
        not_included=left_out(first.limb, low if compared.end is None else None, high),
        caution=caution(first.limb),
        created=created or now(),
        software=software(),
    )


def overlay_name(number: int) -> str:
    """Return the name of overlay ``number`` (from 1)."""
    return f"overlay-camera-{number}.png"


def _overlays(seen: Overlays, first: ModelForm, second: ModelForm) -> Iterator[form.OverlayForm]:
    for number, (stand, _) in enumerate(seen.views, start=1):
        photos = first.photos if stand.of_first else second.photos
        yield form.OverlayForm(
            file=overlay_name(number),
            model="first" if stand.of_first else "second",
            photo=photos[stand.number - 1].file,
        )


def _left_out(seen: Overlays) -> tuple[WarningForm, ...]:
    return tuple(WarningForm(code=code, text=text) for code, text in seen.left_out)


def _source(model: ModelForm, whole: VolumeChange, which: int) -> form.SourceForm:
    mean, covariance = whole.volumes
    own = Estimate(mean[which], np.sqrt(covariance[which, which]))
    return form.SourceForm(
        side=model.side,
        from_mm=model.from_mm,
        to_mm=model.to_mm,
        volume_ml=rounded(own.mean),
        volume_ml_95=interval(own),
        limb_sha256=model.limb_sha256,
        created=model.created,
    )


def _part(part: VolumeChange, mirrored: bool) -> form.PartForm:
    return form.PartForm(
        name=part.segment.name,
        from_mm=rounded(part.segment.low),
        to_mm=rounded(part.segment.high),
        first_ml=rounded(part.volumes.mean[0]),
        second_ml=rounded(part.volumes.mean[1]),
        change_ml=rounded(part.change_ml.mean),
        change_ml_95=interval(part.change_ml),
        percent=None if mirrored else rounded(part.percent.mean),
        percent_95=None if mirrored else interval(part.percent),
        verdict=form.VERDICTS[part.verdict],
    )


def _excess(change: Change, over: Excess) -> form.ExcessForm:
    affected, reference = sides(change)
    percent = over.percent
    return form.ExcessForm(
        affected=affected,
        reference=reference,
        excess_ml=_figure(over.excess_ml, EXCESS_FORMULA),
        percent=None if percent is None else _figure(percent, PERCENT_FORMULA),
        note=over.note,
    )


def _figure(estimate: AnyEstimate, formula: str) -> form.FigureForm:
    return form.FigureForm(value=rounded(estimate.mean), interval_95=interval(estimate), formula=formula)


def _end(end: EndChange) -> form.PartForm:
    return form.PartForm(
        name=end.name,
        from_mm=0.0,
        to_mm=rounded(end.below_mm),
        first_ml=rounded(end.first_ml),
        second_ml=rounded(end.second_ml),
        change_ml=rounded(end.change_ml.mean),
        change_ml_95=interval(end.change_ml),
        percent=rounded(end.percent.mean),
        percent_95=interval(end.percent),
        verdict=form.VERDICTS[end.verdict],
    )


def _levels(change: Change) -> tuple[form.LevelForm, ...]:
    girths = change.girths
    areas = area_change(change, girths.height_mm)
    each = zip(girths.height_mm, *girths.change_mm, girths.verdict, *areas, strict=True)
    return tuple(
        form.LevelForm(
            height_mm=rounded(height),
            girth_change_mm=rounded(girth),
            girth_change_mm_95=interval(Estimate(girth, girth_sd)),
            verdict=form.VERDICTS[verdict],
            area_change_mm2=rounded(area),
            area_change_mm2_95=interval(Estimate(area, area_sd)),
        )
        for height, girth, girth_sd, verdict, area, area_sd in each
    )


def _alignment(change: Change) -> form.AlignmentForm:
    alignment = change.alignment
    turn, sd = alignment.turn_degrees
    (x, y), (lean_x, lean_y) = alignment.shift_mm, 1000.0 * alignment.lean
    return form.AlignmentForm(
        turn_degrees=rounded(turn),
        turn_degrees_sd=rounded(sd),
        shift_mm=(rounded(x), rounded(y)),
        lean_mm_per_m=(rounded(lean_x), rounded(lean_y)),
    )


def _colours(change: Change) -> form.ColourForm:
    return form.ColourForm(
        reach_mm=change_reach(change),
        smallest=to_hex(style.CHANGE(0.0)),
        unchanged=to_hex(style.CHANGE(0.5)),
        largest=to_hex(style.CHANGE(1.0)),
        no_clear_change=to_hex(style.NO_CLEAR_CHANGE),
    )
