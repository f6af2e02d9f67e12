"""Figures of what was measured beyond the straight limb: the foot below a leg, the hand beyond an arm."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from digitise.output.forms import interval, rounded
from digitise.output.model import form
from digitise.shape.end_figures import end_volume
from digitise.shape.foot.figures import (
    FootSection,
    ball_girth,
    foot_length,
    foot_sections,
    heel_instep_girth,
)
from digitise.shape.hand.figures import hand_length, palm_girth, wrist_girth
from digitise.shape.limb import Estimate

if TYPE_CHECKING:
    from digitise.output.model.measured import Measured, MeasuredEnd


def outline_name(number: int) -> str:
    """Return the name of the picture of photograph ``number`` (from 1)."""
    return f"outline-{number}.jpg"


def segments(measured: Measured) -> tuple[form.SegmentForm, ...]:
    """Return the segments of a measured limb."""
    seen = measured.end
    if seen is None:
        return ()
    return (_foot(measured, seen) if seen.part.name == "foot" else _hand(measured, seen),)


def with_segments(measured: Measured, limb: Estimate[float]) -> Estimate[float] | None:
    """Return the volume of limb and segments together, mL; None without segments.

    Their errors come from other edges, and are taken as independent.
    """
    if measured.end is None:
        return None
    end = end_volume(measured.end.part)
    return Estimate(limb.mean + end.mean, float(np.hypot(limb.sd, end.sd)))


def segment_girths(part: form.SegmentForm) -> tuple[tuple[str, float, tuple[float, float]], ...]:
    """Return the girths of a foot or hand: its name in words, the value and its interval, mm."""
    every = (
        ("ball", part.ball_girth_mm, part.ball_girth_mm_95),
        ("heel and instep", part.heel_instep_girth_mm, part.heel_instep_girth_mm_95),
        ("palm", part.palm_girth_mm, part.palm_girth_mm_95),
        ("wrist", part.wrist_girth_mm, part.wrist_girth_mm_95),
    )
    return tuple((name, mean, ends) for name, mean, ends in every if mean is not None and ends is not None)


def _foot(measured: Measured, seen: MeasuredEnd) -> form.SegmentForm:
    foot = seen.part
    volume = end_volume(foot)
    measures = [measure(foot.belief) for measure in (foot_length, ball_girth, heel_instep_girth)]
    length, ball, instep = measures
    return form.SegmentForm(
        name="foot",
        from_mm=0.0,
        to_mm=rounded(foot.top_mm),
        volume_ml=rounded(volume.mean),
        volume_ml_95=interval(volume),
        length_mm=rounded(length.mean),
        length_mm_95=interval(length),
        ball_girth_mm=rounded(ball.mean),
        ball_girth_mm_95=interval(ball),
        heel_instep_girth_mm=rounded(instep.mean),
        heel_instep_girth_mm_95=interval(instep),
        sections=tuple(map(_section, foot_sections(foot))),
        photos=_photos(measured, seen),
    )


def _hand(measured: Measured, seen: MeasuredEnd) -> form.SegmentForm:
    hand = seen.part
    volume = end_volume(hand)
    length, palm, wrist = (measure(hand.belief) for measure in (hand_length, palm_girth, wrist_girth))
    wrist_mm = hand.top_mm - hand.above_wrist_mm
    return form.SegmentForm(
        name="hand",
        from_mm=rounded(wrist_mm - length.mean),
        to_mm=rounded(hand.top_mm),
        volume_ml=rounded(volume.mean),
        volume_ml_95=interval(volume),
        length_mm=rounded(length.mean),
        length_mm_95=interval(length),
        palm_girth_mm=rounded(palm.mean),
        palm_girth_mm_95=interval(palm),
        wrist_girth_mm=rounded(wrist.mean),
        wrist_girth_mm_95=interval(wrist),
        photos=_photos(measured, seen),
    )


def _section(section: FootSection) -> form.FootSectionForm:
    return form.FootSectionForm(
        from_heel_mm=rounded(section.from_heel_mm),
        width_mm=rounded(section.width),
        height_mm=rounded(section.height),
        area_mm2=rounded(section.area),
        girth_mm=None if section.girth is None else rounded(section.girth),
    )


def _photos(measured: Measured, seen: MeasuredEnd) -> tuple[form.SegmentPhotoForm, ...]:
    first = len(measured.photos) + 1
    named = zip(seen.photos, measured.end_file_names, strict=True)
    return tuple(
        form.SegmentPhotoForm(
            file=name,
            outline=outline_name(number),
            sha256=photo.sha256,
            kept_sha256=photo.kept_sha256 or None,
        )
        for number, (photo, name) in enumerate(named, start=first)
    )
