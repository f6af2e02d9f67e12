"""A cluster measures as this machine does, to the last digit, and loses nothing."""

import json
import threading
from contextlib import contextmanager
from dataclasses import replace

import dask
import distributed
import numpy as np
import pytest
from cluster_jobs import work
from commands import run
from conftest import CASES

from digitise.errors import ClusterError
from digitise.workflow.many import cluster
from digitise.workflow.many.batch import RESULTS, run_batch
from digitise.workflow.many.batch_table import MeasureJob, ResultRow, read_table
from digitise.workflow.many.cluster import do_parcel, pack, run_on_cluster


@contextmanager
def local_cluster(workers=2):
    with distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as found:
        yield found


@pytest.fixture(scope="module")
def address():
    with local_cluster() as found:
        yield found.scheduler_address


def job(folder, name, field="field.json", limb="leg"):
    (folder / "a").mkdir(exist_ok=True)
    (folder / "a/photo.jpg").write_bytes(b"one")
    (folder / "photo.jpg").write_bytes(b"two")
    (folder / "field.json").write_text("{}")
    photos = (str(folder / "a/photo.jpg"), str(folder / "photo.jpg"))
    return MeasureJob(
        name, photos, str(folder / field), "", limb, "left", None, None, str(folder / "out" / name)
    )


def test_files_of_one_name_stay_apart_on_their_way(tmp_path):
    answer = do_parcel(pack(job(tmp_path, "v")), work)
    assert answer.files == {"limb.npz": b"onetwo", "model.json": b"{}"}
    assert not (tmp_path / "out").exists()


def test_a_reason_names_files_as_they_are_called_here(tmp_path):
    missing = job(tmp_path, "v", field="none.json")
    assert do_parcel(pack(missing), work).row == work(missing)
    assert work(missing).reason.startswith(str(tmp_path / "none.json"))


def test_want_of_memory_is_a_reason(tmp_path):
    answer = do_parcel(pack(job(tmp_path, "large")), work)
    assert (answer.row, answer.reason) == (None, "it took more memory than a job may")


def test_another_version_is_refused(tmp_path):
    with pytest.raises(ClusterError, match=r"this is 0\.0\.1"):
        do_parcel(replace(pack(job(tmp_path, "v")), version="0.0.1"), work)


def test_threads_of_one_worker_take_turns(tmp_path):
    at_once, most = [], []

    def counting(each):
        at_once.append(each)
        most.append(len(at_once))
        threading.Event().wait(0.05)
        at_once.pop()
        return ResultRow(each.name, "refused")

    parcel = pack(job(tmp_path, "v"))
    threads = [threading.Thread(target=do_parcel, args=(parcel, counting)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1] * 4


def test_a_scheduler_that_is_not_there_is_our_error(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(cluster, "_PATIENCE_S", 0.5)
    for wrong in ("tcp://127.0.0.1:9", "no address", "ftp://host"):
        with pytest.raises(ClusterError, match="cannot be reached"):
            list(run_on_cluster([job(tmp_path, "v")], work, wrong))
    assert list(run_on_cluster([], work, "tcp://127.0.0.1:9")) == []
    table = tmp_path / "t.csv"
    table.write_text("name,photos,field,tape,limb,side\nv,photo.jpg,field.json,,leg,left\n")
    words = ("batch", table, "--out", tmp_path / "o", "--scheduler", "tcp://127.0.0.1:9")
    code, _, err = run(capsys, *words)
    assert (code, "cannot be reached" in err) == (3, True)
    code, _, _ = run(capsys, *words, "--workers", 2)
    assert code == 2


@pytest.mark.slow
def test_a_cluster_without_workers_is_our_error(tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "_PATIENCE_S", 2.0)
    with local_cluster(0) as found, pytest.raises(ClusterError, match="no worker"):
        list(run_on_cluster([job(tmp_path, "v")], work, found.scheduler_address))


@pytest.mark.slow
def test_jobs_are_done_once_and_their_models_kept(tmp_path, address):
    jobs = [job(tmp_path, f"v{number}") for number in range(12)]
    jobs.append(job(tmp_path, "w", field="none.json"))
    (tmp_path / "out/v3").mkdir(parents=True)
    (tmp_path / "out/v3/own.txt").write_text("mine")
    found = {done.job.name: done.result for done in run_on_cluster(jobs, work, address)}
    assert sorted(found) == sorted(each.name for each in jobs)
    assert {name for name, row in found.items() if row.status == "refused"} == {"v3", "w"}
    assert "own.txt" in found["v3"].reason
    assert (tmp_path / "out/v5/limb.npz").read_bytes() == b"onetwo"
    assert [path.name for path in (tmp_path / "out/v3").iterdir()] == ["own.txt"]


@pytest.mark.slow
def test_a_lost_worker_loses_nothing_and_a_bad_job_ends_alone(tmp_path):
    jobs = [job(tmp_path, f"v{number}") for number in range(6)]
    jobs[2:2] = [
        job(tmp_path, "killed"),
        job(tmp_path, "once", limb=str(tmp_path / "mark")),
        job(tmp_path, "slow"),
    ]
    # so few that whoever only waits at a lost worker is blamed too
    with dask.config.set({"distributed.scheduler.allowed-failures": 1}), local_cluster() as found:
        rows = {
            done.job.name: done for done in run_on_cluster(jobs, work, found.scheduler_address, seconds=3.0)
        }
    assert {name for name, done in rows.items() if done.result is None} == {"killed", "slow"}
    assert "ended every worker" in rows["killed"].reason
    assert (tmp_path / "mark").exists()
    assert rows["once"].result.status == "measured"


@pytest.mark.slow
def test_a_defect_is_not_hidden(tmp_path, address):
    with pytest.raises(ZeroDivisionError):
        list(run_on_cluster([job(tmp_path, "defect")], work, address))


@pytest.mark.slow
def test_a_cluster_measures_to_the_last_digit_as_this_machine(tmp_path):
    # four on two cores: half a core each
    with local_cluster(4) as found:
        measured_on_a_cluster(tmp_path, found.scheduler_address)


def measured_on_a_cluster(tmp_path, address):
    rows = ["name,photos,field,tape,limb,side,from_mm,to_mm"]
    for name in ("walk-light", "turn-dark"):
        home = CASES[name] / name
        photos = f"{home / 'photo-1.jpg'};{home / 'photo-2.jpg'}"
        rows.append(f"{name},{photos},{home / 'field.json'},{home / 'tape.csv'},leg,left,100,700")
    rows.append(f"one,{home / 'photo-1.jpg'},{home / 'field.json'},,leg,left,,")
    (tmp_path / "t.csv").write_text("\n".join(rows))
    plain, shared = tmp_path / "plain", tmp_path / "shared"
    run_batch(read_table(tmp_path / "t.csv", plain), plain)
    run_batch(read_table(tmp_path / "t.csv", shared), shared, scheduler=address)
    assert (plain / RESULTS).read_bytes() == (shared / RESULTS).read_bytes()
    for name in ("walk-light", "turn-dark"):
        texts = [json.loads((each / name / "model.json").read_text()) for each in (plain, shared)]
        for text in texts:
            # when it was made, and the digest that holds it
            del text["created"], text["seal"]
        assert texts[0] == texts[1]
        files = sorted(path.name for path in (plain / name).iterdir())
        assert files == sorted(path.name for path in (shared / name).iterdir())
        with np.load(plain / name / "limb.npz") as one, np.load(shared / name / "limb.npz") as two:
            assert all(np.array_equal(one[key], two[key]) for key in one.files)
        assert (plain / name / "mesh.ply").read_bytes() == (shared / name / "mesh.ply").read_bytes()
    # what is done is not done again
    again = []
    run_batch(read_table(tmp_path / "t.csv", shared), shared, scheduler=address, told=again.append)
    assert again == []
