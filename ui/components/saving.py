"""A draft becomes a stored visit."""

from __future__ import annotations

from datetime import datetime

from digitise.output.measured import Measured
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit, VisitId
from ui import text, work
from ui.draft import Draft, Inputs


def missing(inputs: Inputs) -> list[str]:
    """Return in words what a visit still needs before it can be kept."""
    wanted = (
        (inputs.client.strip(), text.WAITS_CODE),
        (inputs.clearance, text.WAITS_CLEARANCE),
        (inputs.flags is not None, text.WAITS_FLAGS),
    )
    return [words for there, words in wanted if not there]


def save(draft: Draft, inputs: Inputs, measured: Measured) -> VisitId:
    """Store the visit with its photographs, corrections and limb, and return its number.

    Raises
    ------
    DigitiseError
        Something in it cannot be kept.
    """
    now = datetime.now().astimezone()
    paths = draft.photos
    corrections = {n: words for n, path in enumerate(paths, start=1) if (words := draft.correction(path))}
    visit = NewVisit(
        client=inputs.client,
        limb=inputs.limb or "leg",
        side=inputs.side or "left",
        taken=now,
        tape=measured.tape,
        photos=paths,
        field_json=work.field_text(draft),
        model=work.model_files(measured),
        corrections=corrections,
        posture=inputs.posture,
        measured_by=inputs.measured_by,
        note=inputs.note,
        clearance=Clearance(
            answer=inputs.clearance or "not-asked",
            by=inputs.clearance_by,
            when=None if inputs.clearance in (None, "not-asked") else now,
            red_flags=_flags(inputs),
        ),
    )
    with Store() as store:
        return store.add_visit(visit)


def _flags(inputs: Inputs) -> tuple[tuple[str, bool], ...]:
    """Return every question asked with its answer; none when they were not asked."""
    if inputs.flags is None:
        return ()
    return tuple((flag, flag in inputs.flags) for flag in text.FLAG_NAMES if flag != text.NO_FLAG)
