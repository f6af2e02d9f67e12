"""Speed and size of a report on 12 visits: ``python tests/bench_report.py``; bars 5 s and 3 MB."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from digitise.capture.sheets.field import read_field
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.report.content import ReportVisit
from digitise.output.report.pdf import report_pdf
from digitise.samples import sample_visits
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb
from digitise.workflow.report import make_report

VISITS = 12


def main() -> None:
    """Print the figures; times are of one processor, the clock's beside them."""
    with tempfile.TemporaryDirectory() as folder:
        models = []
        for visit in sample_visits():
            out = Path(folder) / visit.name
            write_model(out, measure_limb(visit.photos, read_field(visit.field), read_tape(visit.tape)))
            models.append(out)
        folders = [models[0]] * (VISITS - 1) + [models[-1]]
        start, work = time.perf_counter(), time.process_time()
        first = datetime(2026, 2, 9, 9, tzinfo=UTC)
        visits = [ReportVisit(read_model(f), first + timedelta(days=3 * n)) for n, f in enumerate(folders)]
        report = make_report(visits)
        read = time.process_time() - work
        data = report_pdf(report)
        work, clock = time.process_time() - work, time.perf_counter() - start
    print(f"reading and comparing   {read:5.1f} s")
    print(f"drawing and writing     {work - read:5.1f} s")
    print(f"together                {work:5.1f} s  (by the clock {clock:.1f} s; bar 5 s)")
    print(f"size                    {len(data) / 1e6:5.1f} MB (bar 3 MB)")


if __name__ == "__main__":
    main()
