"""Records for studies: limbs of several clients over weeks, whose models say any volume."""

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from record_models import model_of_visit

from digitise.output.model.agreement import seal_of
from digitise.record.check import ReadyVisit
from digitise.record.saving import save_visit
from digitise.record.store import Store
from digitise.record.values import ModelFiles, NewVisit
from digitise.tape.rows import TapeRow

START = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)
TAPE = (TapeRow(230.0, 300.5), TapeRow(250.0, 310.25, 3, "B"))


def scaled(model: ModelFiles, ratio: float, marks: str, **changes) -> ModelFiles:
    """The model with volume and areas times a ratio, and photographs of its own."""
    content = json.loads(model.json)
    for part in (content, *content["stretches"]):
        part["volume_ml"] *= ratio
        part["volume_ml_95"] = [ratio * end for end in part["volume_ml_95"]]
    for section in content["sections"]:
        section["area_mm2"] *= ratio
        section["area_mm2_95"] = [ratio * end for end in section["area_mm2_95"]]
    for number, photo in enumerate(content["photos"]):
        photo["sha256"] = hashlib.sha256(f"{marks} {number}".encode()).hexdigest()
    content |= changes
    return ModelFiles(json.dumps({**content, "seal": seal_of(content)}), model.limb)


def visit(client, week, ratio=1.0, *, side="left", limb="leg", **changes) -> NewVisit:
    """A measured visit so many weeks after the start."""
    marks = f"{client} {limb} {side} {week}"
    model = scaled(model_of_visit(limb, side, (), TAPE, filling=marks.encode()), ratio, marks)
    made = NewVisit(client, limb, side, START + timedelta(weeks=week), TAPE, model=model)
    return replace(made, **changes)


def keep(store: Store, *visits: NewVisit) -> None:
    """Store visits past the check that a model's figures are those of its limb."""
    with store._database.writing() as session:
        for each in visits:
            save_visit(session, ReadyVisit(each, each.client, each.measured_by, {}))
