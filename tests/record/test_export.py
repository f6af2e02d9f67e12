"""Exported files are those that were stored, and our own readers take them."""

import json

import pytest

from digitise.capture.calibration.lens import read_lens
from digitise.capture.photo.photograph import read_photo
from digitise.capture.sheets.field import read_field
from digitise.errors import RecordError
from digitise.record.export import export_client, tape_csv
from digitise.tape.rows import TapeRow
from digitise.tape.table import read_tape, tape_from_csv

from .conftest import a_visit


def test_files_of_a_visit(store, full_visit, tmp_path):
    number = store.add_visit(full_visit)
    store.add_visit(a_visit(client="B-2"))
    (folder,) = export_client(store, "k-017", tmp_path / "out")
    assert folder.name == f"2026-03-02-left-leg-visit-{number}"
    assert sorted(file.name for file in folder.iterdir()) == [
        "correction-2.json",
        "field.json",
        "lens.json",
        "limb.npz",
        "model.json",
        "photo-1.jpg",
        "photo-2.jpg",
        "tape.csv",
        "visit.json",
    ]
    assert [(row.height_mm, row.girth_mm, row.point) for row in read_tape(folder / "tape.csv")] == [
        (row.height_mm, row.girth_mm, row.point) for row in full_visit.tape
    ]
    assert read_photo(folder / "photo-1.jpg").sha256 == store.load_visit(number).photos[0].sha256
    assert read_field(folder / "field.json").boards
    assert read_lens(folder / "lens.json").photos == 9
    assert (folder / "model.json").read_bytes() == full_visit.model.json.encode()
    assert (folder / "limb.npz").read_bytes() == full_visit.model.limb
    facts = json.loads((folder / "visit.json").read_text(encoding="utf-8"))
    assert facts["taken"] == "2026-03-02T12:45:00Z"
    assert facts["taken_local"] == "2026-03-02T09:15:00-03:30"
    assert facts["note"] == full_visit.note
    assert facts["clearance"]["red_flags"] == {"fever": False, "hot-skin": True}


def test_an_empty_folder_may_be_there(store, tmp_path):
    store.add_visit(a_visit())
    (tmp_path / "out").mkdir()
    assert len(export_client(store, "K-017", tmp_path / "out")) == 1


def test_nothing_is_overwritten(store, tmp_path):
    store.add_visit(a_visit())
    (tmp_path / "out").mkdir()
    (tmp_path / "out/mine").touch()
    for place in (tmp_path / "out", tmp_path / "out/mine"):
        with pytest.raises(RecordError, match="not empty"):
            export_client(store, "K-017", place)
    assert [file.name for file in (tmp_path / "out").iterdir()] == ["mine"]


def test_unknown_client_leaves_nothing(store, tmp_path):
    with pytest.raises(RecordError, match="not in the records"):
        export_client(store, "K-017", tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("value", [100.0, 100.25, 322.999999, 1499.5, 0.1])
def test_girths_are_written_as_they_are_read(value):
    (row,) = tape_from_csv(tape_csv((TapeRow(value, 220.0),)))
    assert row.height_mm == value
