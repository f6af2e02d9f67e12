"""Temporary folders: private, removed at the end, and after a kill by the next program."""

import os
import signal
import stat
import subprocess
import sys
import threading
from contextlib import suppress

import pytest

from digitise.files import new_folder
from digitise.unfinished import PREFIX, clear_unfinished, temporary_folder, unfinished_folder

HOLD = """
import sys, time
from pathlib import Path
from digitise.unfinished import temporary_folder
with temporary_folder(Path(sys.argv[1]) if sys.argv[1] else None) as folder:
    (folder / "secret").write_text("a photograph")
    print(folder, flush=True)
    time.sleep(60)
"""


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def held(beside=""):
    """Start a program that holds a temporary folder; return it and the folder."""
    program = subprocess.Popen([sys.executable, "-c", HOLD, str(beside)], stdout=subprocess.PIPE, text=True)
    return program, program.stdout.readline().strip()


def test_it_is_private_and_gone_at_the_end(tmp_path):
    for beside in (None, tmp_path):
        with suppress(KeyError), temporary_folder(beside) as folder:
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
            assert folder.parent == (beside or unfinished_folder())
            assert folder.name.startswith(PREFIX)
            (folder / "deep").mkdir()
            (folder / "deep/file").write_bytes(b"x")
            raise KeyError
        assert not folder.exists()
        assert not list(unfinished_folder().iterdir())


@pytest.mark.skipif(os.name != "posix", reason="needs SIGKILL")
def test_what_a_killed_program_left_is_removed_and_nothing_else(tmp_path):
    other = tmp_path / f"{PREFIX}of-somebody"
    other.mkdir()
    programs = [held(), held(tmp_path)]
    try:
        with temporary_folder(tmp_path) as own:
            assert clear_unfinished() == 0  # all are in use
            assert own.exists()
            assert all(os.path.exists(folder) for _, folder in programs)
            for program, _ in programs:
                program.send_signal(signal.SIGKILL)
                program.wait()
            assert clear_unfinished() == 2
            assert own.exists()
        assert not any(os.path.exists(folder) for _, folder in programs)
        assert other.exists()
        assert not list(unfinished_folder().iterdir())
    finally:
        for program, _ in programs:
            program.kill()
            program.wait()
            program.stdout.close()


def test_a_note_that_names_another_place_removes_nothing(tmp_path):
    precious = tmp_path / "precious"
    precious.mkdir()
    unfinished_folder().mkdir(parents=True)
    for number, text in enumerate((str(precious), "", "relative", str(tmp_path), "\0")):
        (unfinished_folder() / f"{PREFIX}{number}.note").write_text(text)
    clear_unfinished()
    assert precious.exists()
    assert not list(unfinished_folder().iterdir())


def test_a_disk_that_is_not_there_is_tried_again(tmp_path):
    disk = tmp_path / "stick"
    unfinished_folder().mkdir(parents=True)
    note = unfinished_folder() / f"{PREFIX}1.note"
    note.write_text(str(disk / f"{PREFIX}1"))
    assert clear_unfinished() == 0
    (disk / f"{PREFIX}1").mkdir(parents=True)
    assert clear_unfinished() == 1
    assert not list(disk.iterdir())
    assert not note.exists()


def test_many_at_once(tmp_path):
    failures = []

    def work():
        try:
            for _ in range(30):
                with temporary_folder(tmp_path) as folder:
                    (folder / "file").write_bytes(b"x")
                    clear_unfinished()
                    assert (folder / "file").read_bytes() == b"x"
        except BaseException as error:
            failures.append(error)

    people = [threading.Thread(target=work) for _ in range(4)]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert failures == []
    assert not list(unfinished_folder().iterdir())


def test_a_data_folder_that_is_a_file_keeps_no_results_from_being_made(tmp_path, home):
    home.write_text("in the way")
    with new_folder(tmp_path / "out", lambda _: True, "results") as folder:
        (folder / "a").write_text("a")
    assert (tmp_path / "out/a").exists()
    with pytest.raises(OSError, match=r"home"):
        temporary_folder().__enter__()
