"""Reports on what the records hold: one for each limb of a client."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from digitise.anatomy import LimbKind, Side
from digitise.care.safety.answers import with_newer
from digitise.care.wrap.plan import Plan, plan_from_toml
from digitise.errors import DigitiseError
from digitise.output.model.file import StoredModel, model_from_bytes
from digitise.output.report.content import Report, ReportVisit
from digitise.record.store import Store
from digitise.record.values import VisitId
from digitise.workflow.report import ReportOptions, make_report
from digitise.workflow.visits.measured import VisitMeasurement
from digitise.workflow.visits.sources import from_records, one_limb


@dataclass(frozen=True)
class LimbReport:
    """The report on one limb of a client, or why there is none.

    Attributes
    ----------
    client, limb, side
        Whose limb, and which.
    visits
        As they were reported.
    report
        None where it cannot be made.
    reason
        Why; empty otherwise.
    """

    client: str
    limb: LimbKind
    side: Side
    visits: tuple[ReportVisit, ...] = ()
    report: Report | None = None
    reason: str = ""

    @property
    def name(self) -> str:
        """Name for its file, without an ending."""
        return f"{self.client}-{self.side}-{self.limb}"


def stored_reports(store: Store, client: str, options: ReportOptions) -> Iterator[LimbReport]:
    """Make the report on every limb of a client that has a measured visit, the other limb beside it.

    The safety answers are those of the records, with those of ``options`` on top; a wrap follows the plan
    that was kept with the last visit, unless ``options`` hold one.

    What cannot be put side by side becomes a reason and stops no other limb.

    Raises
    ------
    RecordError
        There is no such client, or the records cannot be read.
    ModelError
        A stored model is damaged.
    """
    measured = from_records(store, client)
    for limb, side in sorted({(each.model.limb, each.model.side) for each in measured}):
        try:
            series = one_limb(measured, limb, side)
            pairs = zip(series.visits, series.others, strict=True)
            visits = tuple(_visit(store, visit, other) for visit, other in pairs)
            known = store.safety(client)
            answers = known if options.answers is None else with_newer(known, options.answers)
            plan = options.plan
            if options.wrap and plan is None:
                plan = kept_plan(store, _number(series.visits[-1]))
            made = make_report(visits, replace(options, answers=answers, plan=plan), client=client)
        except DigitiseError as error:
            yield LimbReport(client, limb, side, reason=str(error))
            continue
        yield LimbReport(client, limb, side, visits, made)


def kept_plan(store: Store, visit: VisitId) -> Plan | None:
    """Return the plan of a wrap that was kept with a visit, None without one.

    Raises
    ------
    RecordError
        There is no such visit.
    PlanError
        What is kept is no plan.
    """
    text = store.plan(visit)
    return None if text is None else plan_from_toml(text.encode(), f"visit {visit}")


def _visit(store: Store, visit: VisitMeasurement, other: VisitMeasurement | None) -> ReportVisit:
    across = None if other is None else _model(store, other)
    return ReportVisit(_model(store, visit), visit.when, across, visit.place)


def _model(store: Store, visit: VisitMeasurement) -> StoredModel:
    files = store.model(_number(visit))
    return model_from_bytes(files.json, files.limb, Path(visit.place))


def _number(visit: VisitMeasurement) -> VisitId:
    return VisitId(int(visit.place.removeprefix("visit ")))
