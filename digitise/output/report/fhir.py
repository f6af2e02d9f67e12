"""Visits as a FHIR R4 Bundle of Observations: volume, girths and excess, with method, side and intervals.

What is measured and how is said in text: no code of an open code system is known to fit exactly.  Where is
said in text, and by SNOMED CT's code of limb, foot or hand.  Units are UCUM; the category is from FHIR's own
code system.  FHIR has no place for an interval of a value, so its two ends are components.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any

from digitise import __version__
from digitise.anatomy import LimbKind
from digitise.output.cautions import counted_from
from digitise.output.forms import FigureForm
from digitise.output.model.form import ModelForm
from digitise.output.report.content import Report, ReportVisit
from digitise.tape.places import is_length, place_words

UCUM = "http://unitsofmeasure.org"
SNOMED = "http://snomed.info/sct"
SITES = {
    LimbKind.LEG: ("61685007", "Lower limb structure"),
    LimbKind.ARM: ("53120007", "Upper limb structure"),
    "foot": ("56459004", "Foot structure"),
    "hand": ("85562004", "Hand structure"),
}
"""SNOMED CT's body structures, as several open sources agree on them."""
_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
METHOD = "Photographs on a printed mat solved together with girths by tape"
TAPE = "Tape"
TAPE_ALONE = "Estimated from a few girths and a length by tape"
LOWER, UPPER = "Lower end of the 95 % interval", "Upper end of the 95 % interval"
HEIGHT = "Height along the limb's axis from {}"
# names of our own observations are made from this and never change
_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "urn:limb-shape-digitiser:observation")

Resource = dict[str, Any]


def fhir_bundle(visits: Sequence[ReportVisit], report: Report) -> Resource:
    """Return a Bundle (FHIR R4, type collection) of what was measured at some visits.

    Parameters
    ----------
    visits
        As given to the report.
    report
        Client, time of making, and the excess over the other limb.
    """
    client, words = report.form.client, {visit.taken: visit for visit in report.form.visits}
    entries = []
    for visit in sorted(visits, key=lambda one: one.taken):
        said, segment = words[visit.taken], (report.form.from_mm, report.form.to_mm)
        for resource in _observations(visit, client, said.volume_ml, said.excess_ml, segment):
            entries.append({"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource})
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": _instant(report.form.created),
        "entry": entries,
    }


def fhir_text(bundle: Resource) -> str:
    """Return a Bundle as the text of a file."""
    return json.dumps(bundle, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _observations(
    visit: ReportVisit,
    client: str,
    found: FigureForm,
    excess: FigureForm | None,
    segment: tuple[float, float],
) -> Iterator[Resource]:
    summary = visit.model.summary
    own = (summary.from_mm, summary.to_mm)
    volume = _observation(visit, client, "Volume of the limb between two heights", _place(summary, *own))
    yield _between(_valued(volume, summary.volume_ml, summary.volume_ml_95, "mL"), summary, own)
    if own != segment:
        place = _place(summary, *segment)
        shared = _observation(visit, client, "Volume of the limb between the heights of all visits", place)
        yield _between(_valued(shared, found.value, found.interval_95, "mL"), summary, segment)
    for section in summary.sections:
        name = f"{summary.side.capitalize()} {summary.limb}"
        girth = _observation(visit, client, "Girth of the limb", name, str(section.height_mm))
        valued = _valued(girth, section.girth_mm, section.girth_mm_95, "mm")
        height = HEIGHT.format(counted_from(summary.lying, summary.counted_from))
        valued["component"].append(_component(height, section.height_mm, "mm"))
        yield valued
    yield from _beyond(visit, client)
    if excess is not None:
        over = _observation(
            visit, client, "Volume of the limb minus that of the other limb", _place(summary, *segment)
        )
        yield _between(_valued(over, excess.value, excess.interval_95, "mL"), summary, segment)


def _between(found: Resource, summary: ModelForm, segment: tuple[float, float]) -> Resource:
    """Return an observation with the two heights between which it holds as components."""
    height = HEIGHT.format(counted_from(summary.lying, summary.counted_from))
    ends = zip(("lower end", "upper end"), segment, strict=True)
    found["component"] += [_component(f"{height}, {name}", value, "mm") for name, value in ends]
    return found


def _beyond(visit: ReportVisit, client: str) -> Iterator[Resource]:
    """Yield what was measured of foot or hand, by photographs and by tape."""
    summary = visit.model.summary
    for part in summary.segments:
        name = f"{summary.side.capitalize()} {part.name}"

        def of_part(what: str, place: str, site: str = part.name) -> Resource:
            return _observation(visit, client, what, place, site=site)

        below = f"{name}, below {part.to_mm:.0f} mm"
        yield _valued(of_part(f"Volume of the {part.name}", below), part.volume_ml, part.volume_ml_95, "mL")
        yield _valued(of_part(f"Length of the {part.name}", name), part.length_mm, part.length_mm_95, "mm")
    end = "foot" if summary.limb == LimbKind.LEG else "hand"
    for row in summary.place_girths:
        what = f"{'Length' if is_length(row.place) else 'Girth'} by tape: {place_words(row.place)}"
        taped = _observation(visit, client, what, f"{summary.side.capitalize()} {end}", site=end)
        yield {**taped, "method": {"text": TAPE}, "valueQuantity": _quantity(row.girth_mm, "mm")}
    found = summary.taped_end
    if found is not None and found.volume_ml is not None and found.volume_ml_95 is not None:
        start = "beyond the wrist" if found.below_mm is None else f"below {found.below_mm:.0f} mm"
        where = f"{summary.side.capitalize()} {found.part}, {start}"
        taped = _observation(
            visit, client, f"Volume of the {found.part} by tape alone", where, site=found.part
        )
        yield {**_valued(taped, found.volume_ml, found.volume_ml_95, "mL"), "method": {"text": TAPE_ALONE}}


def _place(summary: ModelForm, low: float, high: float) -> str:
    start = counted_from(summary.lying, summary.counted_from)
    return f"{summary.side.capitalize()} {summary.limb}, {low:.0f} to {high:.0f} mm from {start}"


def _observation(
    visit: ReportVisit, client: str, what: str, place: str, which: str = "", site: str = ""
) -> Resource:
    """Return an observation without its value; its id tells model, time and what was measured."""
    code, display = SITES[site or visit.model.summary.limb]
    key = "|".join((visit.model.summary.limb_sha256, _instant(visit.taken), what, which))
    found: Resource = {
        "resourceType": "Observation",
        "id": str(uuid.uuid5(_SPACE, key)),
        "status": "final",
        "category": [{"coding": [{"system": _CATEGORY, "code": "exam", "display": "Exam"}]}],
        "code": {"text": what},
        "effectiveDateTime": _instant(visit.taken),
        "bodySite": {
            "coding": [{"system": SNOMED, "code": code, "display": display}],
            "text": place,
        },
        "method": {"text": METHOD},
        "device": {"display": f"digitise {__version__}"},
        "component": [],
    }
    if client:
        found["subject"] = {"type": "Patient", "identifier": {"value": client}}
    return found


def _valued(found: Resource, value: float, interval: tuple[float, float], unit: str) -> Resource:
    found["valueQuantity"] = _quantity(value, unit)
    ends = ((LOWER, interval[0]), (UPPER, interval[1]))
    found["component"] = [_component(name, end, unit) for name, end in ends]
    return found


def _component(name: str, value: float, unit: str) -> Resource:
    return {"code": {"text": name}, "valueQuantity": _quantity(value, unit)}


def _quantity(value: float, unit: str) -> Resource:
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def _instant(when: datetime) -> str:
    return when.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
