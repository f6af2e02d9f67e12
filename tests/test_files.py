"""Folders that appear all at once: exchanged by rename, or file by file where they must stay."""

import errno
import os
import stat
from pathlib import Path

import pytest

from digitise import files
from digitise.errors import OutputError
from digitise.files import check_folder, new_folder

OURS = {"a", "b", "c"}


def fill(out, **texts):
    with new_folder(out, OURS.__contains__, "things") as folder:
        for name, text in texts.items():
            (folder / name).write_text(text)


def content(folder):
    return {item.name: item.read_text() for item in folder.iterdir()}


def test_a_new_folder_with_new_parents(tmp_path):
    fill(tmp_path / "x" / "y", a="1")
    assert content(tmp_path / "x" / "y") == {"a": "1"}


def test_nothing_is_there_before_the_end(tmp_path):
    with new_folder(tmp_path / "x", OURS.__contains__, "things") as folder:
        (folder / "a").write_text("1")
        assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("start", [{}, {"a": "old"}, {"a": "old", "b": "old"}])
def test_an_earlier_folder_is_replaced(tmp_path, start):
    (tmp_path / "x").mkdir()
    for name, text in start.items():
        (tmp_path / "x" / name).write_text(text)
    fill(tmp_path / "x", b="new", c="new")
    assert content(tmp_path / "x") == {"b": "new", "c": "new"}
    assert [item.name for item in tmp_path.iterdir()] == ["x"]


def test_the_working_folder_stays_itself(tmp_path, monkeypatch):
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "a").write_text("old")
    monkeypatch.chdir(tmp_path / "x")
    before = os.stat(".").st_ino
    fill(".", b="new")
    assert os.stat(".").st_ino == before
    assert content(Path()) == {"b": "new"}
    assert [item.name for item in tmp_path.iterdir()] == ["x"]


def test_a_link_keeps_pointing_to_the_folder(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    fill(tmp_path / "link", a="1")
    assert (tmp_path / "link").is_symlink()
    assert content(tmp_path / "real") == {"a": "1"}


@pytest.mark.parametrize("stays", [False, True], ids=["renamed", "file by file"])
@pytest.mark.parametrize("broken", range(4))
def test_failing_moves_are_undone(tmp_path, monkeypatch, stays, broken):
    out = tmp_path / "x"
    out.mkdir()
    (out / "a").write_text("old a")
    (out / "b").write_text("old b")
    monkeypatch.setattr(files, "_stays", lambda _: stays)
    rename, calls = Path.rename, []

    def sometimes(self, target):
        calls.append(self)
        if len(calls) == broken + 1:
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", sometimes)
    moves = 4 if stays else 2
    if broken < moves:
        with pytest.raises(OutputError, match="Input/output error"):
            fill(out, b="new", c="new")
        assert content(out) == {"a": "old a", "b": "old b"}
    else:
        fill(out, b="new", c="new")
        assert content(out) == {"b": "new", "c": "new"}
    assert [item.name for item in tmp_path.iterdir()] == ["x"]


@pytest.mark.parametrize("stays", [False, True], ids=["renamed", "file by file"])
def test_all_is_on_the_disk_before_anything_is_moved(tmp_path, monkeypatch, stays):
    out = tmp_path / "x"
    out.mkdir()
    (out / "a").write_text("old")
    events = []
    flush, rename = os.fsync, Path.rename

    def noted_flush(descriptor):
        events.append(os.fstat(descriptor).st_ino)
        flush(descriptor)

    def noted_rename(self, target):
        events.append("move")
        return rename(self, target)

    monkeypatch.setattr(files, "_stays", lambda _: stays)
    monkeypatch.setattr(os, "fsync", noted_flush)
    monkeypatch.setattr(Path, "rename", noted_rename)
    with new_folder(out, OURS.__contains__, "things") as folder:
        (folder / "b").write_text("new")
        (folder / "c").write_text("new")
        written = {item.stat().st_ino for item in (folder, *folder.iterdir())}
    moves = [n for n, event in enumerate(events) if event == "move"]
    assert written <= set(events[: moves[0]])
    # and the new names last
    assert events[-1] == (out if stays else tmp_path).stat().st_ino
    assert len(events) - 1 > moves[-1]


def test_a_file_system_that_does_not_flush_folders(tmp_path, monkeypatch):
    def files_only(descriptor):
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr(os, "fsync", files_only)
    fill(tmp_path / "x", a="1")
    assert content(tmp_path / "x") == {"a": "1"}


def test_a_disk_that_fails_when_flushed(tmp_path, monkeypatch):
    def fail(_descriptor):
        raise OSError(errno.EIO, "Input/output error")

    fill(tmp_path / "x", a="old")
    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OutputError, match="Input/output error"):
        fill(tmp_path / "x", b="new")
    assert content(tmp_path / "x") == {"a": "old"}


def test_a_folder_that_cannot_be_written_to(tmp_path, monkeypatch):
    # rights do not stop root, who runs the tests in many places: the system's refusal is played back
    def refuse(*_args, **_kwargs):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(OutputError, match="Permission denied"):
        fill(tmp_path / "x", a="1")
    assert not list(tmp_path.iterdir())


def test_links_in_a_circle(tmp_path):
    (tmp_path / "one").symlink_to("two")
    (tmp_path / "two").symlink_to("one")
    with pytest.raises(OutputError):
        fill(tmp_path / "one" / "x", a="1")


def test_a_folder_is_checked_without_being_touched(tmp_path):
    check_folder(tmp_path / "new", OURS.__contains__, "things")
    assert not list(tmp_path.iterdir())
    (tmp_path / "a").write_text("1")
    check_folder(tmp_path, OURS.__contains__, "things")
    (tmp_path / "letter").write_text("2")
    with pytest.raises(OutputError, match="such as letter"):
        check_folder(tmp_path, OURS.__contains__, "things")
    with pytest.raises(OutputError, match="cannot be written"):
        check_folder("a\0b", OURS.__contains__, "things")


def test_a_defect_is_not_dressed_up(tmp_path):
    with (
        pytest.raises(ZeroDivisionError),
        new_folder(tmp_path / "x", OURS.__contains__, "things"),
    ):
        raise ZeroDivisionError
    assert not list(tmp_path.iterdir())
