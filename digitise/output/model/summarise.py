"""A measured limb becomes the figures of model.json."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from pydantic import ValidationError

from digitise.errors import ShapeError, TapeError
from digitise.geometry.rigid import Pose
from digitise.output import cautions
from digitise.output.forms import FindingForm, WarningForm, interval, rounded, software
from digitise.output.model import form
from digitise.output.model.form import camera_form
from digitise.output.model.place_girths import doubts, place_girths, taped_end_form
from digitise.output.model.segments import outline_name, segments, with_segments
from digitise.output.model.stretches import stretch_errors, stretch_forms
from digitise.shape.limb import Estimate, Limb, Section, print_sd, sections, volume
from digitise.shape.taped import TapeCheck
from digitise.tape.rows import TapeRow
from digitise.tape.volumes import cone_volume_ml

if TYPE_CHECKING:
    from digitise.capture.outline.find import ByHand
    from digitise.output.model.measured import Measured

CONE_REACH_MM = 150.0
"""How far the end girths may be carried on for the sum of cones; the note says how far they were."""


def summarise(measured: Measured, created: datetime, limb_sha256: str) -> form.ModelForm:
    """Return all figures of a measured limb.

    Parameters
    ----------
    measured
        What was measured.
    created
        When, UTC.
    limb_sha256
        Hex digest of the limb.npz that goes with it.

    Raises
    ------
    ShapeError
        The limb's figures are not those of any limb.
    """
    try:
        return _form(measured, created, limb_sha256)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ", ".join(map(str, first["loc"]))
        raise ShapeError(
            f"What was measured cannot be a limb ({place}: {first['msg']}).",
            do="Look at the photographs and tape rows, and take the photographs again.",
        ) from error


def _form(measured: Measured, created: datetime, limb_sha256: str) -> form.ModelForm:
    limb = measured.fit.limb
    whole = volume(limb, limb.from_mm, limb.to_mm)
    beyond = segments(measured)
    together = with_segments(measured, Estimate(float(whole.mean), float(whole.sd)))
    cone, cone_note = cone_beside(measured.tape, measured.fit.tape_checks, limb)
    findings = _findings(measured)
    taped = tuple(place_girths(measured.places, beyond))
    return form.ModelForm(
        format=form.FORMAT,
        limb=limb.kind,
        side=limb.side,
        from_mm=rounded(limb.from_mm),
        to_mm=rounded(limb.to_mm),
        volume_ml=rounded(whole.mean),
        volume_ml_95=interval(whole),
        cone_volume_ml=cone,
        cone_note=cone_note,
        sections=tuple(_section(section) for section in sections(limb)),
        stretches=stretch_forms(limb),
        tape_check=tuple(_tape_check(check) for check in measured.fit.tape_checks),
        photos=_photos(measured),
        warnings=(*_warnings(measured, findings, cone, cone_note), *_place_warnings(taped)),
        findings=findings,
        not_included=cautions.left_out(
            limb.kind, None if measured.end is not None else limb.from_mm, limb.to_mm
        ),
        method=cautions.LIMITS,
        caution=cautions.caution(limb.kind),
        foot_top_mm=measured.fit.levels.foot_top_mm,
        axis_from_world=_axis(limb.axis_from_world),
        limb_sha256=limb_sha256,
        created=created,
        software=software(),
        field_sha256=measured.field_sha256,
        volume_print_sd_ml=rounded(print_sd(limb, limb.from_mm, limb.to_mm)),
        stretch_errors=stretch_errors(limb),
        segments=beyond,
        place_girths=taped,
        taped_end=taped_end_form(measured),
        volume_ml_whole=None if together is None else rounded(together.mean),
        volume_ml_whole_95=None if together is None else interval(together),
        landmark=_landmark(measured),
        lying=limb.lying or None,  # type: ignore[arg-type]  # one of the three by the fit's own rule
    )


def cone_beside(
    rows: tuple[TapeRow, ...], checks: tuple[TapeCheck, ...], limb: Limb
) -> tuple[float | None, str]:
    """Return the sum of cones between the limb's levels (None without enough tape), and a note on it."""
    if rows and not any(limb.from_mm <= row.height_mm <= limb.to_mm for row in rows):
        return None, "No sum of cones: no tape row lies on what was measured of the limb."
    try:
        cone = cone_volume_ml(rows, limb.from_mm, limb.to_mm, CONE_REACH_MM)
    except TapeError as error:
        return None, f"No sum of cones: {error.what}"
    notes = [f"From {len(rows)} tape girth{'' if len(rows) == 1 else 's'} as read."]
    gaps = (
        (rows[0].height_mm - limb.from_mm, "below the lowest"),
        (limb.to_mm - rows[-1].height_mm, "above the highest"),
    )
    reach = [f"{gap:.0f} mm {place}" for gap, place in gaps if gap >= 0.5]
    if reach:
        notes.append(f"The end girths are carried on {' and '.join(reach)} row.")
    if any(check.verdict == "suspect" for check in checks):
        notes.append("A suspect row is among them.")
    return rounded(cone), " ".join(notes)


def _landmark(measured: Measured) -> form.LandmarkForm | None:
    if measured.landmark is None:
        return None
    number, x, y = measured.landmark
    return form.LandmarkForm(
        photo=number + 1, x_px=rounded(x), y_px=rounded(y), place=measured.fit.limb.counted_from
    )


def _section(section: Section) -> form.SectionForm:
    return form.SectionForm(
        height_mm=rounded(section.height_mm),
        area_mm2=rounded(section.area.mean),
        area_mm2_95=interval(section.area),
        girth_mm=rounded(section.girth.mean),
        girth_mm_95=interval(section.girth),
        width_mm=rounded(section.width.mean),
        depth_mm=rounded(section.depth.mean),
        centre_mm=(rounded(section.centre_mm[0]), rounded(section.centre_mm[1])),
    )


def _tape_check(check: TapeCheck) -> form.TapeCheckForm:
    seen = check.verdict != "not seen"
    photo = Estimate(np.asarray(check.photo_mm), np.asarray(check.photo_sd_mm))
    return form.TapeCheckForm(
        height_mm=rounded(check.row.height_mm),
        tape_mm=rounded(check.row.girth_mm),
        photo_mm=rounded(check.photo_mm) if seen else None,
        photo_mm_95=interval(photo) if seen else None,
        difference_mm=rounded(check.difference_mm) if seen else None,
        verdict=check.verdict,  # type: ignore[arg-type]  # one of the four by TapeCheck's own rule
        point=check.row.point,
    )


def _photos(measured: Measured) -> tuple[form.PhotoForm, ...]:
    calibration = measured.calibration
    each = zip(measured.file_names, measured.photos, measured.facts, measured.outlines, strict=True)
    return tuple(
        form.PhotoForm(
            file=name,
            rms_px=rounded(calibration.rms_px[n]),
            markers=len(calibration.used[n]),
            focal_px=rounded(calibration.cameras[n].lens.focal_px),
            distance_mm=rounded(np.linalg.norm(calibration.cameras[n].centre[:2])),
            markers_by_board=dict(facts.markers),
            sha256=photo.sha256,
            kept_sha256=photo.kept_sha256 or None,
            outline=outline_name(n + 1),
            camera=camera_form(calibration.cameras[n]),
            drawn=_drawn(outline.by_hand),
        )
        for n, (name, photo, facts, outline) in enumerate(each)
    )


def _drawn(by_hand: ByHand | None) -> form.DrawnForm | None:
    if by_hand is None or not (by_hand.share or by_hand.strokes):
        return None
    left, right = by_hand.drawn_mm
    return form.DrawnForm(
        left_mm=rounded(left),
        right_mm=rounded(right),
        percent=rounded(100 * by_hand.share),
        strokes=by_hand.strokes,
    )


def _findings(measured: Measured) -> tuple[FindingForm, ...]:
    """Return the findings under the photographs' neutral names."""
    names: dict[str, str] = {"": ""}
    above = () if measured.end is None else measured.end.photos
    every = (*measured.file_names, *measured.end_file_names)
    for photo, name in zip((*measured.photos, *above), every, strict=True):
        # photographs of one name, from two folders, cannot be told apart in a finding
        names[photo.name] = f"{names[photo.name]} or {name}" if photo.name in names else name
    return tuple(
        FindingForm(photo=names[f.photo], code=f.code, severity=f.severity, text=f.text, do=f.do)
        for f in measured.findings
    )


def _warnings(
    measured: Measured, findings: tuple[FindingForm, ...], cone: float | None, cone_note: str
) -> Iterator[WarningForm]:
    for warning in measured.fit.warnings:
        yield WarningForm(code=warning.code, text=warning.text)
    for finding in findings:
        if finding.severity == "note":
            continue
        place = f"{finding.photo}: " if finding.photo else ""
        yield WarningForm(code=finding.code, text=f"{place}{finding.text} {finding.do}".strip())
    if cone is None:
        yield WarningForm(code="no-cones", text=cone_note)


def _place_warnings(rows: tuple[form.PlaceGirthForm, ...]) -> Iterator[WarningForm]:
    for words in doubts(rows):
        yield WarningForm(code="tape-place-differs", text=words)


def _axis(pose: Pose) -> form.AxisForm:
    x, y, z = (tuple(map(float, row)) for row in pose.rotation)
    return form.AxisForm(rotation=(x, y, z), translation_mm=tuple(map(float, pose.translation)))  # type: ignore[arg-type]
