"""Photographs that tell nothing of the limb, left out where two others do."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import Inspection
from digitise.capture.outline.find import Outline
from digitise.capture.outline.hiding import CLOTH, LEG_BEFORE, SKIN, SUPPORT
from digitise.errors import OutlineError

# Points of an edge, 2 mm apart: a hand's breadth of one edge tells less than it may mislead.
_LEAST_SEEN = 40
# In 18 made visits of three photographs a quarter of the points or more was sure in each, but for one
# photograph: in it a chair was followed, and one point was sure.
LEAST_SURE = 0.05
_MOVE = "move that out of the way"
_CURES = {
    LEG_BEFORE: "set the other foot back, level with this one,",
    CLOTH: "bare the limb there",
    SKIN: "set the feet further apart, or the other foot forward or back,",
}
_LEAST_HIDDEN_MM = 30.0  # shorter, the neighbouring heights tell it
_HEM_SLACK_MM = 15.0  # asked for that little beyond, cloth is not the matter


def inspection_of(inspection: Inspection, names: Sequence[str]) -> Inspection:
    """Return what was said of the photographs called ``names``, and of all together."""
    return replace(
        inspection,
        photos=tuple(facts for facts in inspection.photos if facts.file in names),
        findings=tuple(finding for finding in inspection.findings if finding.photo in ("", *names)),
    )


def clashes_of(inspection: Inspection, names: Sequence[str]) -> tuple[Finding, ...]:
    """Return what speaks against it that the photographs called ``names`` belong to the others.

    The findings name no photograph: their words do.
    """
    codes = {clash.code for clash in inspection.clashes}
    return tuple(
        replace(finding, photo="")
        for finding in inspection.findings
        if finding.photo in names and finding.code in codes
    )


def useful_outlines(
    tried: Sequence[Outline | OutlineError],
    names: Sequence[str],
    silent: Collection[int] = (),
    least: int = 2,
) -> tuple[dict[int, Outline], tuple[Finding, ...]]:
    """Return the outlines that tell of the limb, by photograph, and of each other photograph why it does not.

    Of the photographs ``silent`` (from 0), which serve otherwise, nothing is said.  Those of which nothing is
    sure go as well where ``least`` others are left: what was followed there may be anything.

    Raises
    ------
    OutlineError
        When fewer than two do; the first reason.
    """
    why = (_why_not(*each) for each in zip(tried, names, strict=True))
    reasons = {n: reason for n, reason in enumerate(why) if reason is not None}
    if len(tried) - len(reasons) < 2:
        raise next(iter(reasons.values()))
    useful = {n: found for n, found in enumerate(tried) if isinstance(found, Outline) and n not in reasons}
    doubtful = [n for n, found in useful.items() if found.sure_share < LEAST_SURE]
    if len(useful) - len(doubtful) >= least:
        reasons |= {n: _doubtful(names[n]) for n in doubtful}
        useful = {n: found for n, found in useful.items() if n not in doubtful}
    told = (
        Finding("", "left-out", "warning", f"Photograph {n + 1} was left out: {reason.what}", reason.do)
        for n, reason in sorted(reasons.items())
        if n not in silent
    )
    return useful, tuple(told)


def _doubtful(name: str) -> OutlineError:
    return OutlineError(
        "hardly any point of the limb's edges is sure in it.",
        where=name,
        do="Take it before a plain backdrop of another colour than the skin, with nothing beside the limb.",
    )


def _why_not(found: Outline | OutlineError, name: str) -> OutlineError | None:
    if isinstance(found, OutlineError):
        return found
    if max(np.count_nonzero(edge.seen) for edge in found.edges) >= _LEAST_SEEN:
        return None
    what = found.hidden[0].what if found.hidden else "something that stands before it"
    return OutlineError(
        f"nothing of the limb's edges is seen in it: the limb is hidden by {what}.",
        where=name,
        do="Take it from where nothing stands before the limb.",
    )


def hidden_findings(outlines: Sequence[Outline], from_mm: float, to_mm: float) -> tuple[Finding, ...]:
    """Name the longer stretches between two heights on which an edge is not seen; they widen the interval.

    Cloth below them, for which the limb is not measured further down, is named as well.
    """
    hidden = [(n, part) for n, outline in enumerate(outlines, start=1) for part in outline.hidden]
    told = [
        Finding(
            "",
            "edge-hidden",
            "warning",
            f"In photograph {number} the {part.side} edge is hidden by {part.what} from "
            f"{max(part.from_mm, from_mm):.0f} to {min(part.to_mm, to_mm):.0f} mm: what else is seen tells "
            "the limb there, less surely.",
        )
        for number, part in hidden
        if part.what != SUPPORT and min(part.to_mm, to_mm) - max(part.from_mm, from_mm) >= _LEAST_HIDDEN_MM
    ]
    if any(part.what == CLOTH and part.to_mm < from_mm + _LEAST_HIDDEN_MM for _, part in hidden):
        text = f"Below {from_mm:.0f} mm cloth or a bandage goes round the limb: it is measured above it only."
        told.insert(0, Finding("", "covered", "warning", text, "Bare the limb to measure all of it."))
    return tuple(told)


def cure_of(
    outlines: Sequence[Outline], from_mm: float | None, to_mm: float | None, *, instead: bool = True
) -> str:
    """Name what covers or hides the heights that are asked for, and what to do; empty without such.

    Parameters
    ----------
    outlines
        One per photograph.
    from_mm, to_mm
        Heights, mm; None without a limit.
    instead
        Offer as well to leave those heights out.
    """
    hems = [(n, outline.hem_mm) for n, outline in enumerate(outlines, start=1) if outline.hem_mm is not None]
    number, hem = min(hems, key=lambda each: each[1], default=(0, np.inf))
    if to_mm is not None and hem + _HEM_SLACK_MM < to_mm:
        return (
            f"In photograph {number} cloth covers the limb from {hem:.0f} mm upwards: roll it up and take "
            f"the photographs again{', or measure up to there' if instead else ''}."
        )
    low, high = (-np.inf if from_mm is None else from_mm), (np.inf if to_mm is None else to_mm)
    hidden = [
        (part, n)
        for n, outline in enumerate(outlines, start=1)
        for part in outline.hidden
        if part.to_mm > low and part.from_mm < high and part.what != SUPPORT
    ]
    if not hidden:
        return ""
    part, number = max(hidden, key=lambda each: each[0].to_mm - each[0].from_mm)
    stretch = f"from {part.from_mm:.0f} to {part.to_mm:.0f} mm"
    return (
        f"In photograph {number} the {part.side} edge is hidden by {part.what} {stretch}: "
        f"{_CURES.get(part.what, _MOVE)} and take the photograph again"
        f"{', or give heights that leave it out' if instead else ''}."
    )
