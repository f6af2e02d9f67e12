import csv
import json
import signal
import subprocess
import sys
from contextlib import suppress
from dataclasses import replace

import psutil
import pytest
from commands import run
from conftest import CASES
from hypothesis import given
from hypothesis import strategies as st

from digitise import cores
from digitise.errors import TableError
from digitise.workflow.many import batch
from digitise.workflow.many.batch import JOURNAL, RESULTS, job_key, run_batch
from digitise.workflow.many.batch_table import ResultRow, read_table, table_text
from digitise.workflow.many.engine import Done

HEADER = "name,photos,field,tape,limb,side,from_mm,to_mm\n"


def table(folder, *rows, header=HEADER):
    path = folder / "visits.csv"
    path.write_text(header + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return path


@pytest.fixture
def jobs(tmp_path):
    for n in range(4):
        (tmp_path / f"p{n}.jpg").write_bytes(bytes([n]))
    (tmp_path / "field.json").write_text("{}")
    rows = [f"v{n},p{n}.jpg;p0.jpg,field.json,,leg,left,100," for n in range(4)]
    return read_table(table(tmp_path, *rows), tmp_path / "out")


@pytest.fixture
def measured(monkeypatch):
    """Jobs done at once in this process; returns the names of those that were."""
    names = []

    def instead(left, _work, *, workers):
        for job in left:
            names.append(job.name)
            row = ResultRow(job.name, "refused", reason="too, dark\n") if job.name == "v2" else None
            yield Done(job, row or ResultRow(job.name, "measured", "100", "700", "9000", "8900", "9100"))

    monkeypatch.setattr(batch, "run_jobs", instead)
    return names


def made(jobs, names):
    for job in jobs:
        if job.name in names:
            folder = batch.Path(job.out)
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "model.json").write_text("{}")


def test_a_table_is_read_with_paths_from_its_own_folder(tmp_path):
    (tmp_path / "shots").mkdir()
    for name in ("b.jpg", "a.JPG", "notes.txt"):
        (tmp_path / "shots" / name).touch()
    path = table(tmp_path, "k-1,shots,field.json,tape.csv,arm,right,,640.5")
    (job,) = read_table(path, tmp_path / "out")
    assert [each.rsplit("/", 1)[1] for each in job.photos] == ["a.JPG", "b.jpg"]
    assert (job.field, job.tape) == (str(tmp_path / "field.json"), str(tmp_path / "tape.csv"))
    assert (job.limb, job.side, job.from_mm, job.to_mm) == ("arm", "right", None, 640.5)
    assert job.out == str(tmp_path / "out/k-1")


LYING = "name,photos,field,tape,limb,side,lying,landmark"


def test_a_limb_that_lies_has_its_posture_and_landmark(tmp_path):
    path = tmp_path / "lying.csv"
    path.write_text(f"{LYING}\na,p.jpg,f,,arm,left,palm-up,2;2210;1480.5\nb,p.jpg,f,,leg,left,,\n")
    first, second = read_table(path, tmp_path)
    assert (first.lying, first.landmark) == ("palm-up", (1.0, 2210.0, 1480.5))
    assert (second.lying, second.landmark) == ("", ())
    assert (first.counted_from, second.counted_from) == ("", "")


def test_the_place_that_heights_count_from_is_one_of_that_limb(tmp_path):
    path = tmp_path / "lying.csv"
    row = "a,p.jpg,f,,arm,left,palm-up,2;2210;1480.5"
    path.write_text(f"{LYING},counted_from\n{row},elbow-tip\n")
    assert [job.counted_from for job in read_table(path, tmp_path)] == ["elbow-tip"]
    for cells in (f"{row},kneecap", f"{row},wrist", "a,p.jpg,f,,arm,left,,,wrist-crease"):
        path.write_text(f"{LYING},counted_from\n{cells}\n")
        with pytest.raises(TableError, match="said to count from"):
            read_table(path, tmp_path)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ("arm,left,on-back,2;10;10", "is said to lie 'on-back'"),
        ("leg,left,sideways,2;10;10", "is said to lie 'sideways'"),
        ("arm,left,,2;10;10", "is said to lie ''"),
        ("arm,left,palm-up,", "is no landmark"),
        ("arm,left,palm-up,0;10;10", "is no landmark"),
        ("arm,left,palm-up,13;10;10", "is no landmark"),
        ("arm,left,palm-up,1.5;10;10", "is no landmark"),
        ("arm,left,palm-up,1;nan;10", "is no landmark"),
        ("arm,left,palm-up,1;10", "is no landmark"),
    ],
)
def test_a_posture_or_landmark_that_cannot_be_names_the_line(tmp_path, cells, words):
    path = tmp_path / "lying.csv"
    path.write_text(f"{LYING}\na,p.jpg,f,,{cells}\n")
    with pytest.raises(TableError) as caught:
        read_table(path, tmp_path)
    assert words in str(caught.value)
    assert "line 2" in str(caught.value)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "no column"),
        (["a/b,p.jpg,f,,leg,left,,"], "line 2"),
        (["..,p.jpg,f,,leg,left,,"], "no name for a folder"),
        (["a,p.jpg,f,,foot,left,,"], "leg or arm"),
        (["a,p.jpg,f,,leg,left,low,"], "no height"),
        (["a,p.jpg,f,,leg,left,nan,"], "no height"),
        (["a,,f,,leg,left,,"], "No photographs"),
        (["a,p.jpg,f,,leg,left,,", "A,p.jpg,f,,leg,left,,"], "line 3"),
    ],
)
def test_a_table_that_cannot_be_used_names_the_line(tmp_path, rows, words):
    with pytest.raises(TableError) as caught:
        read_table(table(tmp_path, *rows), tmp_path)
    assert words in str(caught.value)


@given(st.binary(max_size=300))
def test_any_bytes_are_a_table_or_our_error(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("t") / "t.csv"
    path.write_bytes(HEADER.encode() + data)
    with suppress(TableError):
        read_table(path, path.parent)


def test_rows_survive_as_csv():
    rows = [ResultRow("a", "refused", reason='he said "no", twice\nand left')]
    read = next(csv.DictReader(table_text(rows).splitlines(keepends=True)))
    assert read["reason"] == rows[0].reason


def test_a_run_that_was_stopped_ends_with_the_same_table(jobs, measured, tmp_path):
    whole = tmp_path / "whole"
    run_batch([replace(job, out=str(whole / job.name)) for job in jobs], whole)
    measured.clear()
    made(jobs, ["v0", "v1"])
    run_batch(jobs[:2], tmp_path / "out")
    # what a killed program leaves: half a line
    with (tmp_path / "out" / JOURNAL).open("a") as journal:
        journal.write('{"key": "12')
    run_batch(jobs, tmp_path / "out")
    assert measured == ["v0", "v1", "v2", "v3"]
    assert (tmp_path / "out" / RESULTS).read_bytes() == (whole / RESULTS).read_bytes()


def test_what_changed_or_is_gone_is_measured_again(jobs, measured, tmp_path):
    made(jobs, ["v0", "v1", "v3"])
    run_batch(jobs, tmp_path / "out")
    measured.clear()
    (tmp_path / "p1.jpg").write_bytes(b"other")
    (tmp_path / "out/v3/model.json").unlink()
    run_batch(jobs, tmp_path / "out")
    assert measured == ["v1", "v3"]


def test_a_key_changes_with_every_setting_and_file(jobs, tmp_path):
    job = jobs[0]
    others = (
        {"side": "right"},
        {"from_mm": 110.0},
        {"lying": "on-back", "landmark": (1.0, 880.0, 790.0)},
        {"lying": "on-back", "landmark": (1.0, 881.0, 790.0)},
        {"axis": (1.0,) * 12},
        {"counted_from": "kneecap"},
    )
    keys = {job_key(job), *(job_key(replace(job, **other)) for other in others)}
    keys |= {
        job_key(replace(job, photos=job.photos[:1])),
        job_key(replace(job, tape=str(tmp_path / "p1.jpg"))),
    }
    assert len(keys) == 9
    assert job_key(replace(job, out="elsewhere")) == job_key(job)


def test_a_folder_that_is_a_file_is_refused(jobs, measured, tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(TableError):
        run_batch(jobs, tmp_path / "file")
    assert measured == []


@pytest.mark.slow
def test_visits_are_measured_as_one_by_one_and_the_bad_one_is_a_row(tmp_path):
    rows = []
    for name in ("walk-light", "turn-dark"):
        home = CASES[name] / name
        photos = f"{home / 'photo-1.jpg'};{home / 'photo-2.jpg'}"
        rows.append(f"{name},{photos},{home / 'field.json'},{home / 'tape.csv'},leg,left,100,700")
    rows.append(f"one,{home / 'photo-1.jpg'},{home / 'field.json'},,leg,left,,")
    jobs = read_table(table(tmp_path, *rows), tmp_path / "two")
    found = run_batch(jobs, tmp_path / "two", workers=2)
    assert [row.status for row in found] == ["measured", "measured", "refused"]
    assert "2 to 12 photographs" in found[2].reason
    one = run_batch([replace(job, out=str(tmp_path / "one" / job.name)) for job in jobs], tmp_path / "one")
    assert one == found
    # the same to the last digit, whatever shared the work
    for name in ("walk-light", "turn-dark"):
        both = [json.loads((tmp_path / each / name / "model.json").read_text()) for each in ("one", "two")]
        assert both[0]["volume_ml_95"] == both[1]["volume_ml_95"]
        assert both[0]["sections"] == both[1]["sections"]


@pytest.mark.parametrize(("words", "count"), [((), 3), (("--workers", 2), 2)])
def test_without_a_number_there_are_as_many_workers_as_cores(tmp_path, capsys, monkeypatch, words, count):
    asked = []

    def instead(left, _work, *, workers):
        asked.append(workers)
        return (Done(job, ResultRow(job.name, "refused", reason="dark")) for job in left)

    monkeypatch.setattr(batch, "run_jobs", instead)
    monkeypatch.setattr(cores, "cores", lambda: 3)
    path = table(tmp_path, "v,photo.jpg,field.json,,leg,left,,")
    code, _, _ = run(capsys, "batch", path, "--out", tmp_path / "o", *words)
    assert (code, asked) == (0, [count])


def samples(count):
    """Rows of a table: the samples in turn, each between other heights."""
    for n in range(count):
        name = ("walk-light", "turn-dark")[n % 2]
        home = CASES[name] / name
        photos = f"{home / 'photo-1.jpg'};{home / 'photo-2.jpg'}"
        yield f"v{n},{photos},{home / 'field.json'},{home / 'tape.csv'},leg,left,{200 + n},500"


def begun(path, out):
    """Start a batch as a person does; return it when its first visit is done."""
    words = [sys.executable, "-m", "digitise", "batch", str(path), "--out", str(out), "--workers", "2"]
    command = subprocess.Popen(words, stderr=subprocess.PIPE, text=True)
    assert "1 of 4: " in command.stderr.readline()
    return command


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_killed_run_leaves_no_process_and_goes_on_where_it_was(tmp_path, how):
    path = table(tmp_path, *samples(4))
    command = begun(path, tmp_path / "out")
    workers = psutil.Process(command.pid).children(recursive=True)
    assert len(workers) >= 2
    command.send_signal(how)
    command.communicate(timeout=120)
    assert command.returncode == (130 if how == signal.SIGINT else -how)
    _, left = psutil.wait_procs(workers, timeout=20)
    assert left == []
    assert not (tmp_path / "out" / RESULTS).exists()
    told = []
    found = run_batch(read_table(path, tmp_path / "out"), tmp_path / "out", workers=2, told=told.append)
    assert len(told) < 4
    assert [row.status for row in found] == ["measured"] * 4
    run_batch(read_table(path, tmp_path / "whole"), tmp_path / "whole", workers=2)
    assert (tmp_path / "out" / RESULTS).read_bytes() == (tmp_path / "whole" / RESULTS).read_bytes()
