"""Many visits measured from one table of files, with one row of results for each."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np

from digitise.anatomy import CountedFrom
from digitise.capture.calibration.lens import read_lens
from digitise.capture.outline.correction import read_correction
from digitise.capture.sheets.field import read_field
from digitise.errors import DigitiseError, TableError
from digitise.geometry.rigid import Pose
from digitise.output.model.files import write_model
from digitise.tape.rows import TapeTable
from digitise.tape.table import read_tape_table
from digitise.workflow.many.batch_table import MeasureJob, ResultRow, table_text
from digitise.workflow.many.cluster import run_on_cluster
from digitise.workflow.many.engine import Done, run_jobs
from digitise.workflow.measure import measure_limb
from digitise.workflow.posture.lying import Landmark, Lying

RESULTS = "results.csv"
JOURNAL = "done.jsonl"


def measure_job(job: MeasureJob) -> ResultRow:
    """Measure one visit and write its model; what cannot be used becomes a row with its reason."""
    try:
        drawn = [read_correction(Path(each)) for each in job.corrections]
        table = read_tape_table(Path(job.tape), at_least=0) if job.tape else TapeTable()
        measured = measure_limb(
            [Path(each) for each in job.photos],
            read_field(Path(job.field)),
            table.rows,
            limb=job.limb,
            side=job.side,
            from_mm=job.from_mm,
            to_mm=job.to_mm,
            axis_from_world=_axis(job),
            profile=read_lens(Path(job.lens)) if job.lens else None,
            corrections={each.photo_sha256 or "": each for each in drawn},
            same_visit=job.same_visit,
            lying=_lying(job),
            places=table.places,
        )
        summary = write_model(job.out, measured)
    except DigitiseError as error:
        return ResultRow(job.name, "refused", reason=str(error))
    low, high = summary.volume_ml_95
    numbers = (summary.from_mm, summary.to_mm, summary.volume_ml, low, high)
    codes = " ".join(sorted({warning.code for warning in summary.warnings}))
    first, last, volume, least, most = (f"{value:.6g}" for value in numbers)
    return ResultRow(job.name, "measured", first, last, volume, least, most, codes)


def _axis(job: MeasureJob) -> Pose | None:
    if not job.axis:
        return None
    numbers = np.array(job.axis)
    return Pose(numbers[:9].reshape(3, 3), numbers[9:])


def _lying(job: MeasureJob) -> Lying | None:
    if not job.lying:
        return None
    photo, x, y = job.landmark
    place = CountedFrom(job.counted_from) if job.counted_from else None
    return Lying(job.lying, Landmark(int(photo), (x, y), place))  # type: ignore[arg-type]  # as a model kept it


def run_batch(
    jobs: Sequence[MeasureJob],
    out: Path,
    *,
    workers: int = 1,
    scheduler: str = "",
    told: Callable[[ResultRow], None] = lambda _row: None,
) -> tuple[ResultRow, ...]:
    """Measure all visits, keep what is done at once, and leave out what an earlier run has done.

    Each result goes into ``done.jsonl`` as it comes, with a digest of all that it was made from: a run that
    was stopped goes on where it was, and a visit whose files changed is measured anew.

    Parameters
    ----------
    jobs
        The visits.
    out
        Folder of the results, made where it is missing; ``results.csv`` in it is written at the end.
    workers
        Processes to share the work, each on one core.
    scheduler
        Address of a cluster that does it instead; empty for this machine.
    told
        Called with each row as it comes.

    Returns
    -------
    The rows in the order of the jobs.

    Raises
    ------
    TableError
        The folder cannot be written to.
    ClusterError
        The cluster cannot be reached, or cannot do the work.
    """
    keys = {job.name: job_key(job) for job in jobs}
    try:
        out.mkdir(parents=True, exist_ok=True)
        found = _journal(out / JOURNAL, keys, {job.name: Path(job.out) for job in jobs})
        left = [job for job in jobs if job.name not in found]
        with (out / JOURNAL).open("a", encoding="utf-8") as journal:
            for row in map(_row, _shared(left, workers, scheduler)):
                line = json.dumps({"key": keys[row.name], **asdict(row)})
                # a line that a killed run left half is ended first
                journal.write(f"\n{line}\n")
                journal.flush()
                found[row.name] = row
                told(row)
        rows = tuple(found[job.name] for job in jobs)
        (out / RESULTS).write_text(table_text(rows), encoding="utf-8", newline="")
    except OSError as error:
        raise TableError(
            "The folder of the results cannot be written to.", where=str(out), do="Choose another folder."
        ) from error
    return rows


def _shared(
    jobs: Sequence[MeasureJob], workers: int, scheduler: str
) -> Iterator[Done[MeasureJob, ResultRow]]:
    if scheduler:
        return run_on_cluster(jobs, measure_job, scheduler)
    return run_jobs(jobs, measure_job, workers=workers)


def _row(done: Done[MeasureJob, ResultRow]) -> ResultRow:
    return ResultRow(done.job.name, "failed", reason=done.reason) if done.result is None else done.result


def job_key(job: MeasureJob) -> str:
    """Return the digest of all that a visit's result is made from: its settings and its files' bytes."""
    files = (*job.photos, job.field, job.tape, job.lens, *job.corrections)
    settings = (
        job.limb,
        job.side,
        job.from_mm,
        job.to_mm,
        job.same_visit,
        job.lying,
        job.landmark,
        job.axis,
        job.counted_from,
    )
    digest = hashlib.sha256(repr(settings).encode())
    for path in files:
        digest.update(_file_digest(path))
    return digest.hexdigest()


def _file_digest(path: str) -> bytes:
    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").digest() if path else b"none"
    except OSError:
        return b"missing"


def _journal(path: Path, keys: dict[str, str], folders: dict[str, Path]) -> dict[str, ResultRow]:
    """Read what an earlier run has done of these visits; half a line, and other files' rows, are left out."""
    found: dict[str, ResultRow] = {}
    for line in _lines(path):
        try:
            content = json.loads(line)
            key, row = content.pop("key"), ResultRow(**{name: str(value) for name, value in content.items()})
        except (ValueError, TypeError, AttributeError, KeyError):
            continue
        kept = row.status != "measured" or (folders.get(row.name, path) / "model.json").is_file()
        if keys.get(row.name) == key and row.status != "failed" and kept:
            found[row.name] = row
    return found


def _lines(path: Path) -> Iterator[str]:
    try:
        yield from path.read_text(encoding="utf-8", errors="replace").splitlines()
    except FileNotFoundError:
        return
