"""Jobs for workers of a cluster, which import them by name."""

import os
import signal
import time
from pathlib import Path

from digitise.workflow.many.batch_table import ResultRow


def work(job):
    """Say what is in the job's files, or do what its name says."""
    if job.name == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if job.name == "slow":
        time.sleep(60)
    if job.name == "large":
        raise MemoryError
    if job.name == "defect":
        raise ZeroDivisionError
    if job.name == "once":
        # its worker is lost the first time only; the mark is at a path that both know
        mark = Path(job.limb)
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    if not Path(job.field).is_file():
        return ResultRow(job.name, "refused", reason=f"{job.field}: There is no such file.")
    out = Path(job.out)
    out.mkdir(parents=True)
    (out / "model.json").write_text(Path(job.field).read_text())
    (out / "limb.npz").write_bytes(b"".join(Path(each).read_bytes() for each in job.photos))
    return ResultRow(job.name, "measured", volume_ml=str(len(job.photos)))
