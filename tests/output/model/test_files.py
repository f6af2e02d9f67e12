"""The folder of a model appears whole or not at all, and other people's files stay."""

import pytest

from digitise.errors import DigitiseError, OutputError
from digitise.output.model import files as folder_module
from digitise.output.model.file import read_model
from digitise.output.model.files import is_model_file, write_model

NAMES = [
    "limb.npz",
    "mesh.glb",
    "mesh.obj",
    "mesh.ply",
    "mesh.stl",
    "model.json",
    "outline-1.jpg",
    "outline-2.jpg",
    "sections.csv",
]


def content(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def once(measured, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "new" / "visit-1"
    return out, write_model(out, measured)


def test_writes_everything_and_nothing_else(once):
    out, summary = once
    assert sorted(item.name for item in out.iterdir()) == NAMES
    assert [item.name for item in out.parent.iterdir()] == ["visit-1"]
    assert read_model(out).summary == summary
    assert all(is_model_file(name) for name in NAMES)
    assert (out.stat().st_mode & 0o555) == 0o555  # as any folder, not as a temporary one


def test_replaces_an_earlier_model(measured, tmp_path):
    out = tmp_path / "visit"
    write_model(out, measured)
    (out / "outline-7.jpg").write_bytes(b"of an earlier run with more photographs")
    (out / ".DS_Store").write_bytes(b"")
    write_model(out, measured)
    assert sorted(item.name for item in out.iterdir()) == NAMES
    assert [item.name for item in tmp_path.iterdir()] == ["visit"]


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({"notes.txt": b"mine"}, r"notes\.txt"),
        ({"model.json": b"{}", "holiday.jpg": b"mine"}, r"holiday\.jpg"),
        ({"outline-1.jpg": b"mine"}, r"no model\.json"),
        ({"outline-1.jpeg": b"mine", "model.json": b""}, r"outline-1\.jpeg"),
    ],
)
def test_refuses_folders_of_others(measured, tmp_path, files, words):
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    with pytest.raises(OutputError, match=words):
        write_model(tmp_path, measured)
    assert content(tmp_path) == files


def test_refuses_a_file_in_its_place(measured, tmp_path):
    (tmp_path / "taken").write_text("a file")
    for name in ("taken", "taken/below", "zero\0byte", "x" * 300):
        with pytest.raises(OutputError):
            write_model(tmp_path / name, measured)
    assert content(tmp_path) == {"taken": b"a file"}


@pytest.mark.parametrize(
    ("failure", "raised"),
    [
        (OSError(28, "No space left on device"), OutputError),
        (DigitiseError("Something else."), DigitiseError),
        (KeyboardInterrupt(), KeyboardInterrupt),
    ],
)
@pytest.mark.parametrize("step", ["write_model_file", "write_sections", "write_meshes", "write_pictures"])
def test_failure_in_the_middle_changes_nothing(once, measured, tmp_path, monkeypatch, failure, raised, step):
    earlier = tmp_path / "earlier"
    earlier.mkdir()
    (earlier / "model.json").write_bytes(b"an earlier model")

    def fail(folder, *rest):
        (folder / "mesh.ply").write_bytes(b"half")
        raise failure

    for name in ("write_model_file", "write_sections", "write_meshes", "write_pictures"):
        monkeypatch.setattr(folder_module, name, fail if name == step else lambda *_: None)
    for out in (earlier, tmp_path / "fresh"):
        with pytest.raises(raised) as caught:
            write_model(out, measured)
        if raised is OutputError:
            assert "No space left" in caught.value.what
            assert caught.value.where == str(out)
    assert content(tmp_path) == {"earlier/model.json": b"an earlier model"}
    assert [item.name for item in tmp_path.iterdir()] == ["earlier"]
