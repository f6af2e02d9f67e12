"""Visits of the records measured again: new models beside the old, kept in the records when accepted."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from digitise.anatomy import LimbKind, Side
from digitise.care.change.motion import LEAST_OVERLAP_MM
from digitise.output.model.file import model_from_bytes, read_model
from digitise.record.check import read_model_files
from digitise.record.export import tape_csv
from digitise.record.store import Store
from digitise.record.values import NewVisit, Visit, VisitId
from digitise.shape.limb import Limb, volume
from digitise.unfinished import temporary_folder
from digitise.workflow.many.batch import run_batch
from digitise.workflow.many.batch_table import MeasureJob, ResultRow

_FOLDER = "visit-{}"
_UPRIGHT = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Remeasured:
    """One visit before and after.

    Attributes
    ----------
    visit, client, limb, side
        Which.
    before_ml, after_ml
        Volume between the same heights; None where there was or is no model.
    change_before_ml, change_after_ml
        Since the visit of that limb before it, between the heights that both have, as the old and as the new
        models say; None without one, or where they share none.
    result
        The row of the new measurement.
    """

    visit: int
    client: str
    limb: LimbKind
    side: Side
    before_ml: float | None
    after_ml: float | None
    change_before_ml: float | None
    change_after_ml: float | None
    result: ResultRow

    @property
    def difference_percent(self) -> float | None:
        """New against old volume."""
        if self.before_ml is None or self.after_ml is None:
            return None
        return 100.0 * (self.after_ml / self.before_ml - 1.0)


def remeasure(
    store: Store,
    out: Path,
    *,
    client: str | None = None,
    workers: int = 1,
    scheduler: str = "",
    told: Callable[[ResultRow], None] = lambda _row: None,
) -> tuple[Remeasured, ...]:
    """Measure all visits with photographs and sheets again, between the heights of their models.

    Nothing in the records is touched. The new models lie in ``out``, one folder a visit; a run that was
    stopped goes on where it was.

    Parameters
    ----------
    store
        The records.
    out
        Folder of the new models.
    client
        Code of one client; None for all.
    workers, scheduler, told
        As for :func:`~digitise.workflow.many.batch.run_batch`.

    Raises
    ------
    RecordError
        The records cannot be read.
    TableError
        The folder cannot be written to.
    ClusterError
        The cluster cannot be reached, or cannot do the work.
    """
    lines = [line for line in store.list_visits(client) if line.photos]
    visits = [visit for visit in (store.load_visit(line.id) for line in lines) if visit.has_field]
    visits.sort(key=lambda visit: (visit.client, visit.limb, visit.side, visit.taken, visit.id))
    before = {visit.id: _stored_volume(store, visit) for visit in visits}
    with temporary_folder() as scratch:
        jobs = [_job(store, visit, scratch, out, before[visit.id]) for visit in visits]
        rows = run_batch(jobs, out, workers=workers, scheduler=scheduler, told=told)
    stored = {visit.id: _stored_limb(store, visit) for visit in visits}
    return _beside(visits, {key: volume for key, (_, _, volume) in before.items()}, stored, rows, out)


def accept(store: Store, out: Path, found: Sequence[Remeasured]) -> int:
    """Keep the new models in the records, each in the place of the old one; return how many.

    A visit that somebody changed meanwhile is refused, and those before it stay accepted.

    Raises
    ------
    RecordError
        A model does not belong to its visit, or the visit is not as it was when it was read.
    """
    measured = [each for each in found if each.result.status == "measured"]
    for each in measured:
        visit = store.load_visit(VisitId(each.visit))
        with temporary_folder() as scratch:
            store.replace_visit(visit.id, _with_model(store, visit, scratch, out), seen=visit.state)
    return len(measured)


def difference_rows(found: Sequence[Remeasured]) -> list[dict[str, object]]:
    """Return plain rows for a table, volumes in mL."""
    return [
        {
            **{name: value for name, value in asdict(each).items() if name != "result"},
            "difference_percent": each.difference_percent,
            "status": each.result.status,
            "reason": each.result.reason,
        }
        for each in found
    ]


def _stored_volume(store: Store, visit: Visit) -> tuple[float | None, float | None, float | None]:
    """Return the heights and the volume of a stored model, all None without one."""
    if not visit.has_model:
        return None, None, None
    model = json.loads(store.model(visit.id).json)
    return float(model["from_mm"]), float(model["to_mm"]), float(model["volume_ml"])


def _photos(store: Store, visit: Visit, folder: Path) -> tuple[Path, ...]:
    found = []
    for photo in visit.photos:
        path = folder / f"photo-{photo.number}"
        path.write_bytes(store.photo(visit.id, photo.number))
        found.append(path)
    return tuple(found)


def _job(
    store: Store,
    visit: Visit,
    scratch: Path,
    out: Path,
    before: tuple[float | None, float | None, float | None],
) -> MeasureJob:
    name = _FOLDER.format(visit.id)
    folder = scratch / name
    folder.mkdir()
    photos = _photos(store, visit, folder)
    tape = tape_csv(visit.tape, visit.places) if visit.tape or visit.places else ""
    texts = {"field.json": store.field(visit.id), "lens.json": visit.lens_json or ""}
    texts["tape.csv"] = tape
    texts |= {f"correction-{n}.json": text for n, text in visit.corrections.items()}
    for file, text in texts.items():
        if text:
            (folder / file).write_text(text, encoding="utf-8")
    lying, landmark, place, axis = _how_it_lay(store, visit)
    return MeasureJob(
        name,
        tuple(str(path) for path in photos),
        str(folder / "field.json"),
        str(folder / "tape.csv") if tape else "",
        visit.limb,
        visit.side,
        before[0],
        before[1],
        str(out / name),
        str(folder / "lens.json") if visit.lens_json else "",
        tuple(str(folder / f"correction-{n}.json") for n in sorted(visit.corrections)),
        same_visit=True,  # somebody stored them as one visit
        lying=lying,
        landmark=landmark,
        counted_from=place,
        axis=axis,
    )


def _how_it_lay(store: Store, visit: Visit) -> tuple[str, tuple[float, ...], str, tuple[float, ...]]:
    """Return how a stored limb lay, its landmark, what that is, and an axis that a person gave; else empty.

    The axis of a limb that lies is found again; that of one that stands is the mat's.
    """
    model = json.loads(store.model(visit.id).json) if visit.has_model else {}
    place = model.get("landmark")
    if model.get("lying") and place:
        return (
            str(model["lying"]),
            (place["photo"] - 1.0, place["x_px"], place["y_px"]),
            place.get("place") or "",
            (),
        )
    axis = model.get("axis_from_world")
    numbers = (*(x for row in axis["rotation"] for x in row), *axis["translation_mm"]) if axis else ()
    return "", (), "", () if numbers == _UPRIGHT else tuple(float(x) for x in numbers)


def _beside(
    visits: Sequence[Visit],
    before: dict[VisitId, float | None],
    stored: dict[VisitId, Limb | None],
    rows: Sequence[ResultRow],
    out: Path,
) -> tuple[Remeasured, ...]:
    found: list[Remeasured] = []
    last: tuple[object, Limb | None, Limb | None] = (None, None, None)
    for visit, row in zip(visits, rows, strict=True):
        measured = row.status == "measured"
        limb = read_model(out / _FOLDER.format(visit.id)).limb if measured else None
        whose = (visit.client, visit.limb, visit.side)
        old, new = last[1:] if last[0] == whose else (None, None)
        found.append(
            Remeasured(
                int(visit.id),
                *whose,
                before[visit.id],
                float(row.volume_ml) if measured else None,
                _change(old, stored[visit.id]),
                _change(new, limb),
                row,
            )
        )
        last = (whose, stored[visit.id], limb)
    return tuple(found)


def _change(earlier: Limb | None, later: Limb | None) -> float | None:
    """Return the change of volume between the heights that both have, mL; None where there are none."""
    if earlier is None or later is None:
        return None
    low, high = max(earlier.from_mm, later.from_mm), min(earlier.to_mm, later.to_mm)
    if high - low < LEAST_OVERLAP_MM:
        return None
    return float(volume(later, low, high).mean - volume(earlier, low, high).mean)


def _stored_limb(store: Store, visit: Visit) -> Limb | None:
    if not visit.has_model:
        return None
    model = store.model(visit.id)
    return model_from_bytes(model.json, model.limb, Path("model")).limb


def _with_model(store: Store, visit: Visit, scratch: Path, out: Path) -> NewVisit:
    return NewVisit(
        client=visit.client,
        limb=visit.limb,
        side=visit.side,
        taken=visit.taken,
        tape=visit.tape,
        places=visit.places,
        photos=_photos(store, visit, scratch),
        field_json=store.field(visit.id),
        lens_json=visit.lens_json,
        model=read_model_files(out / _FOLDER.format(visit.id)),
        corrections=visit.corrections,
        posture=visit.posture,
        measured_by=visit.measured_by,
        note=visit.note,
        clearance=visit.clearance,
    )
