"""Figures of what was measured beyond the straight limb: the foot below a leg."""

from __future__ import annotations

import numpy as np

from digitise.output.forms import interval, rounded
from digitise.output.model import form
from digitise.output.model.measured import Measured, MeasuredFoot
from digitise.shape.foot.figures import (
    FootSection,
    ball_girth,
    foot_length,
    foot_sections,
    foot_volume,
    heel_instep_girth,
)
from digitise.shape.limb import Estimate


def outline_name(number: int) -> str:
    """Return the name of the picture of photograph ``number`` (from 1)."""
    return f"outline-{number}.jpg"


def segments(measured: Measured) -> tuple[form.SegmentForm, ...]:
    """Return the segments of a measured limb."""
    return () if measured.foot is None else (_foot(measured, measured.foot),)


def with_segments(measured: Measured, limb: Estimate[float]) -> Estimate[float] | None:
    """Return the volume of limb and segments together, mL; None without segments.

    Their errors come from other edges, and are taken as independent.
    """
    if measured.foot is None:
        return None
    foot = foot_volume(measured.foot.foot)
    return Estimate(limb.mean + foot.mean, float(np.hypot(limb.sd, foot.sd)))


def _foot(measured: Measured, seen: MeasuredFoot) -> form.SegmentForm:
    foot = seen.foot
    volume = foot_volume(foot)
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


def _section(section: FootSection) -> form.FootSectionForm:
    return form.FootSectionForm(
        from_heel_mm=rounded(section.from_heel_mm),
        width_mm=rounded(section.width),
        height_mm=rounded(section.height),
        area_mm2=rounded(section.area),
        girth_mm=None if section.girth is None else rounded(section.girth),
    )


def _photos(measured: Measured, seen: MeasuredFoot) -> tuple[form.SegmentPhotoForm, ...]:
    first = len(measured.photos) + 1
    named = zip(seen.photos, measured.foot_file_names, strict=True)
    return tuple(
        form.SegmentPhotoForm(
            file=name,
            outline=outline_name(number),
            sha256=photo.sha256,
            kept_sha256=photo.kept_sha256 or None,
        )
        for number, (photo, name) in enumerate(named, start=first)
    )
