"""Where measured visits come from: folders or records, each with the other limb of that visit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from digitise.anatomy import LimbKind, Side
from digitise.errors import CourseError
from digitise.output.model.file import read_model, summary_from_json
from digitise.workflow.visits.measured import (
    OTHERWISE_PLACED,
    SAME_VISIT,
    LimbSeries,
    VisitMeasurement,
    placed_alike,
)

if TYPE_CHECKING:
    from digitise.record.store import Store
    from digitise.record.values import MeasuredVisit


def from_folders(folders: Sequence[Path], times: Sequence[datetime] = ()) -> tuple[VisitMeasurement, ...]:
    """Read models, each with the time of its visit; without times, the time at which it was made.

    Raises
    ------
    ModelError
        A model cannot be read.
    CourseError
        Two folders hold the same limb's model, or models of the same photographs.
    """
    models = [read_model(folder).summary for folder in folders]
    whens = times or [model.created for model in models]
    each = zip(models, whens, folders, strict=True)
    visits = tuple(
        VisitMeasurement(model, when, str(folder), timed=bool(times)) for model, when, folder in each
    )
    refuse_doubles(visits)
    return visits


def refuse_doubles(visits: Sequence[VisitMeasurement]) -> None:
    """Refuse a measurement of a limb that is given as two visits.

    Raises
    ------
    CourseError
        Two visits hold the same model, or models of the same photographs.
    """
    for number, visit in enumerate(visits):
        for other in visits[:number]:
            if (visit.model.limb, visit.model.side) != (other.model.limb, other.model.side):
                continue
            if visit.model.limb_sha256 == other.model.limb_sha256:
                raise CourseError(
                    "The same model is given twice.", where=visit.place, do="Give each visit once."
                )
            if _photos(visit) & _photos(other):
                raise CourseError(
                    f"This visit was measured from photographs of another one ({other.place}).",
                    where=visit.place,
                    do="Give each visit once: a copy would pass for a visit at which nothing had changed.",
                )


def _photos(visit: VisitMeasurement) -> set[str]:
    return {photo.sha256 for photo in visit.model.photos}


def own_measurements(
    visits: Sequence[VisitMeasurement],
) -> tuple[tuple[VisitMeasurement, ...], tuple[str, ...]]:
    """Return visits of one limb that share no photograph and no model with an earlier one.

    A copy would pass for a visit at which nothing had changed.

    Returns
    -------
    The visits by time, and why others are left out, a sentence each.
    """
    seen: set[str] = set()
    found, left_out = [], []
    for visit in sorted(visits, key=lambda one: one.when):
        marks = {visit.model.limb_sha256, *_photos(visit)}
        if seen & marks:
            left_out.append(
                f"{visit.place}: left out, as it holds photographs or the model of an earlier visit."
            )
        else:
            found.append(visit)
        seen |= marks
    return tuple(found), tuple(left_out)


def from_records(store: Store, client: str) -> tuple[VisitMeasurement, ...]:
    """Return the measured visits of a client, all limbs, from what model.json says.

    Raises
    ------
    RecordError
        There is no such client or no measured visit.
    ModelError
        A stored model is damaged or of another format.
    """
    return tuple(_stored(visit) for visit in store.measured_visits(client))


def _stored(visit: MeasuredVisit) -> VisitMeasurement:
    place = f"visit {visit.id}"
    model = summary_from_json(visit.model_json, place)
    return VisitMeasurement(model, visit.taken, place, visit.measured_by, visit.posture)


def one_limb(visits: Sequence[VisitMeasurement], limb: LimbKind | None, side: Side | None) -> LimbSeries:
    """Return the visits of one limb, each with the other limb of that visit, if it was measured.

    Heights of a limb that stands count from elsewhere than of one that lies: only visits at which it was
    placed as at the last one are followed, and none that is a copy of an earlier one.

    Parameters
    ----------
    visits
        Of one client.
    limb, side
        Which limb; may be left out when it is clear.

    Raises
    ------
    CourseError
        There are several such limbs, or none.
    """
    wanted = [v for v in visits if limb in (None, v.model.limb) and side in (None, v.model.side)]
    names = sorted({f"{visit.model.side} {visit.model.limb}" for visit in wanted})
    if len(names) != 1:
        found = ", ".join(names) or "none of that limb"
        raise CourseError(
            f"One limb is followed at a time, but there are visits of: {found}.",
            do="Say which with --limb and --side.",
        )
    last = max(wanted, key=lambda visit: visit.when).model

    def is_placed_alike(visit: VisitMeasurement) -> bool:
        return placed_alike(visit.model, last)

    followed, copies = own_measurements([visit for visit in wanted if is_placed_alike(visit)])
    across = [v for v in visits if v.model.limb == last.limb and v.model.side != last.side]
    others = [visit for visit in across if is_placed_alike(visit)]
    otherwise = (OTHERWISE_PLACED.format(visit.place) for visit in wanted if not is_placed_alike(visit))
    return LimbSeries(
        followed, tuple(at_same_visit(visit, others) for visit in followed), (*otherwise, *copies)
    )


def at_same_visit(visit: VisitMeasurement, across: Sequence[VisitMeasurement]) -> VisitMeasurement | None:
    """Return which of the measurements of the other limb was made at a visit; None when none was."""
    near = min(across, key=lambda other: abs(other.when - visit.when), default=None)
    return near if near is not None and abs(near.when - visit.when) <= SAME_VISIT else None


def with_others(visits: Sequence[VisitMeasurement], others: Sequence[VisitMeasurement | None]) -> LimbSeries:
    """Return visits of one limb, each with the other limb of that visit (None where not measured).

    Raises
    ------
    CourseError
        They are not of one limb, or another limb is not the other side.
    """
    first = visits[0].model
    for visit in visits:
        if (visit.model.limb, visit.model.side) != (first.limb, first.side):
            raise CourseError(
                f"It is a {visit.model.side} {visit.model.limb}, the first is a {first.side} {first.limb}.",
                where=visit.place,
                do="Give visits of one limb; the other limb goes behind --reference.",
            )
    for other in others:
        if other is not None and (other.model.limb != first.limb or other.model.side == first.side):
            raise CourseError(
                f"A {other.model.side} {other.model.limb} is not the other side of a "
                f"{first.side} {first.limb}.",
                where=other.place,
                do="Give the opposite limb behind --reference.",
            )
    return LimbSeries(tuple(visits), tuple(others) or (None,) * len(visits))
