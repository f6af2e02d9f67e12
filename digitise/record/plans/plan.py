"""A wrap's plan as text beside its visit: what was agreed with a client is printed again from there."""

from __future__ import annotations

from sqlalchemy import delete
from sqlalchemy.orm import Session

from digitise.care.wrap.plan import plan_from_toml, plan_to_toml
from digitise.errors import RecordError
from digitise.record.loading import nothing
from digitise.record.tables import PlanRow, VisitRow


def checked_plan(text: str) -> str:
    """Return a plan's text as the program writes it.

    Raises
    ------
    PlanError
        It is no plan.
    """
    return plan_to_toml(plan_from_toml(text.encode()))


def stored_plan(session: Session, visit_id: int) -> str | None:
    """Return the text of the plan that was kept with a visit, None without one.

    Raises
    ------
    RecordError
        There is no such visit.
    """
    if session.get(VisitRow, visit_id) is None:
        raise nothing(f"visit {visit_id}")
    row = session.get(PlanRow, visit_id)
    return None if row is None else row.plan_toml


def put_plan(session: Session, visit_id: int, text: str | None, seen: str | None) -> None:
    """Keep a plan in the place of the one that was ``seen``; None keeps none.

    Raises
    ------
    RecordError
        There is no such visit, or somebody kept another plan meanwhile.
    """
    if stored_plan(session, visit_id) != seen:
        raise RecordError(
            "Another plan was kept with this visit since it was shown.",
            where=f"visit {visit_id}",
            do="Look at it again, and make the change there.",
        )
    session.execute(delete(PlanRow).where(PlanRow.visit_id == visit_id))
    if text is not None:
        session.add(PlanRow(visit_id=visit_id, plan_toml=text))
