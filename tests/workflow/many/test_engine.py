import time

import pytest
from engine_jobs import work

from digitise.workflow.many.engine import run_jobs


def results(jobs, **how):
    return {done.job: done for done in run_jobs(jobs, work, **how)}


@pytest.mark.parametrize("workers", [1, 2])
def test_every_job_is_done_once(workers):
    found = [(done.job, done.result) for done in run_jobs(range(20), work, workers=workers)]
    assert sorted(found) == [(n, n * n) for n in range(20)]


def test_no_jobs_are_no_trouble():
    assert list(run_jobs([], work, workers=2)) == []


def test_only_the_job_that_kills_its_process_is_lost():
    found = results([1, 2, "killed", 3, 4, 5], workers=2)
    assert {job: done.result for job, done in found.items() if job != "killed"} == {
        n: n * n for n in range(1, 6)
    }
    assert found["killed"].result is None
    assert "killed" in found["killed"].reason


def test_a_worker_killed_once_loses_nothing(tmp_path):
    job = f"once {tmp_path / 'marker'}"
    found = results([1, job, 2, 3], workers=2)
    assert found[job].result == 0
    assert all(done.reason == "" for done in found.values())


def test_a_job_keeps_to_its_time_and_memory():
    start = time.monotonic()
    found = results([2, "slow", "large"], workers=1, seconds=1.0)
    assert time.monotonic() - start < 30
    assert found[2].result == 4
    assert "longer" in found["slow"].reason
    assert "memory" in found["large"].reason


def test_an_error_of_ours_is_not_hidden():
    with pytest.raises(TypeError):
        list(run_jobs([None], work))


def test_a_worker_is_a_core():
    found = results(["at once"], workers=2)
    assert found["at once"].result == (1, True)  # one thread, one photograph after the other
