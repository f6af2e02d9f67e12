"""A backup is one sealed file; it restores into an empty place on either kind of database, or not at all."""

import errno
import hashlib
import json
import os
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest

from digitise.errors import RecordError
from digitise.record import checksummed_zip as sealed
from digitise.record.backup import restore
from digitise.record.store import Store

from .conftest import a_visit, limb_model


@pytest.fixture
def filled(store, full_visit, picture):
    """Records of two clients, one of them with everything."""
    store.add_visit(full_visit)
    store.add_visit(a_visit(client="B-2", photos=(picture(3),), taken=datetime(2026, 3, 9, tzinfo=UTC)))
    store.add_visit(a_visit(model=limb_model(filling=bytes(range(256)))))
    return store


@pytest.fixture
def small_backup(tmp_path) -> Path:
    """A backup without photographs, to be damaged anywhere."""
    path = tmp_path / "small.zip"
    with Store(tmp_path / "small.sqlite") as store:
        store.add_visit(a_visit(model=limb_model()))
        store.backup(path)
    return path


def contents(store: Store) -> list:
    """Everything that can be read from records."""
    visits = [store.load_visit(line.id) for line in store.list_visits()]
    return [
        (
            visit,
            [store.photo(visit.id, photo.number) for photo in visit.photos],
            store.model(visit.id) if visit.has_model else None,
            store.field(visit.id) if visit.has_field else None,
        )
        for visit in visits
    ]


def test_round_trip(filled, new_place, tmp_path):
    filled.backup(tmp_path / "b.zip")
    other = new_place()
    rows = restore(tmp_path / "b.zip", other)
    assert (rows["clients"], rows["visits"], rows["photographs"]) == (2, 3, 3)
    with Store(other, create=False) as restored:
        assert contents(restored) == contents(filled)
        # numbers go on where they were
        assert restored.add_visit(a_visit()) == max(line.id for line in filled.list_visits()) + 1


def test_from_one_kind_of_database_to_the_other(full_visit, new_database, tmp_path):
    with Store(tmp_path / "a.sqlite") as first:
        first.add_visit(full_visit)
        first.backup(tmp_path / "a.zip")
        server = new_database()
        restore(tmp_path / "a.zip", server)
        with Store(server, create=False) as second:
            assert contents(second) == contents(first)
            second.backup(tmp_path / "b.zip")
        restore(tmp_path / "b.zip", tmp_path / "c.sqlite")
        with Store(tmp_path / "c.sqlite", create=False) as third:
            assert contents(third) == contents(first)


def test_a_place_with_records_is_never_overwritten(filled, place, new_place, tmp_path):
    filled.backup(tmp_path / "b.zip")
    before = contents(filled)
    for _ in range(2):
        with pytest.raises(RecordError, match="records in this place already"):
            restore(tmp_path / "b.zip", place)
    assert contents(filled) == before


def test_opened_records_without_visits_are_no_obstacle_and_a_failure_leaves_them_whole(
    filled, new_place, tmp_path
):
    filled.backup(tmp_path / "b.zip")
    empty = new_place()
    Store(empty).close()
    (tmp_path / "cut.zip").write_bytes((tmp_path / "b.zip").read_bytes()[:-200])
    with pytest.raises(RecordError):
        restore(tmp_path / "cut.zip", empty)
    with Store(empty, create=False) as still:
        assert still.list_visits() == ()
        # somebody looks at the empty records while they are restored
        restore(tmp_path / "b.zip", empty)
        assert contents(still) == contents(filled)


def test_a_file_of_that_name_is_never_overwritten(filled, tmp_path):
    path = tmp_path / "b.zip"
    path.write_text("precious")
    with pytest.raises(RecordError, match="of this name exists"):
        filled.backup(path)
    assert path.read_text() == "precious"
    with pytest.raises(RecordError, match="disk refuses"):
        filled.backup(tmp_path / "nowhere/b.zip")


def test_every_changed_bit_is_found(small_backup, tmp_path, rng):
    data = small_backup.read_bytes()
    target = tmp_path / "new.sqlite"
    for at in rng.choice(len(data), 300, replace=False):
        changed = bytearray(data)
        changed[at] ^= 1 << int(rng.integers(8))
        small_backup.write_bytes(changed)
        with pytest.raises(RecordError, match="cut short or changed"):
            restore(small_backup, target)
    assert not target.exists()


def test_cut_short_anywhere(small_backup, tmp_path, rng):
    data = small_backup.read_bytes()
    for size in (0, 1, 63, 64, 65, len(data) - 1, *rng.choice(len(data), 50)):
        small_backup.write_bytes(data[:size])
        with pytest.raises(RecordError, match="cut short or changed"):
            restore(small_backup, tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()


def resealed(path: Path, change) -> None:
    """Write a backup anew with changed members and a seal that fits."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    path.unlink()
    with sealed.new_sealed_zip(path) as archive:
        for name, data in members.items():
            archive.writestr(name, data)


def edit_manifest(**changes):
    def change(members):
        members["manifest.json"] = json.dumps({**json.loads(members["manifest.json"]), **changes}).encode()

    return change


def huge_number(members):
    rows = members["rows/visits.jsonl"].decode()
    members["rows/visits.jsonl"] = rows.replace('"offset_minutes": 0', f'"offset_minutes": {10**40}').encode()


def other_field(members):
    members["rows/fields.jsonl"] = json.dumps({"sha256": "0" * 64, "field_json": "{}"}).encode() + b"\n"


FALSE = {
    "other format": (edit_manifest(format="record-backup/2"), "another format"),
    "newer form": (edit_manifest(form="9999"), "newer version"),
    "other counts": (edit_manifest(rows={}), "cut short"),
    "no manifest": (lambda members: members.pop("manifest.json"), "cut short"),
    "manifest damaged": (lambda members: members.update({"manifest.json": b"{"}), "another format"),
    "no rows": (lambda members: members.pop("rows/visits.jsonl"), "cut short"),
    "rows damaged": (lambda members: members.update({"rows/visits.jsonl": b"{\n"}), "cut short"),
    "rows of another table": (
        lambda members: members.update({"rows/visits.jsonl": members["rows/limbs.jsonl"]}),
        "cut short",
    ),
    "a number that no table takes": (huge_number, "cut short"),
    "a number that nothing takes": (
        lambda members: members.update({"rows/visits.jsonl": b'{"id": ' + b"9" * 5000 + b"}\n"}),
        "cut short",
    ),
    "deep nesting": (
        lambda members: members.update({"rows/visits.jsonl": b"[" * 200_000 + b"\n"}),
        "cut short",
    ),
    "a field of another digest": (other_field, "cut short"),
    "no bytes": (lambda members: members.pop("bytes/models/limb_npz/1"), "cut short"),
    "other bytes": (lambda members: members.update({"bytes/models/limb_npz/1": b"PKother"}), "cut short"),
}


@pytest.mark.parametrize("name", FALSE)
def test_a_sealed_file_that_is_no_backup(small_backup, new_place, name):
    change, piece = FALSE[name]
    resealed(small_backup, change)
    place = new_place()
    with pytest.raises(RecordError, match=piece):
        restore(small_backup, place)
    Store(place).close()  # nothing was left there that would be in the way
    if "://" not in place:
        assert sorted(file.name for file in Path(place).parent.iterdir()) == ["records.sqlite"]


@pytest.mark.parametrize("member", ["manifest.json", "rows/visits.jsonl", "bytes/models/limb_npz/1"])
@pytest.mark.parametrize("damage", ["encrypted", "packed in an unknown way"])
def test_members_that_cannot_be_unpacked(small_backup, tmp_path, member, damage):
    """The heads of the member say so, here and in the directory; the seal fits."""
    data = bytearray(small_backup.read_bytes())
    for head, name_at, flags_at, packing_at in ((b"PK\x03\x04", 30, 6, 8), (b"PK\x01\x02", 46, 8, 10)):
        start = -1
        while (start := data.find(head, start + 1)) >= 0:
            if data[start + name_at :].startswith(member.encode()):
                if damage == "encrypted":
                    data[start + flags_at] |= 1
                else:
                    data[start + packing_at] = 99
    small_backup.write_bytes(data[:-64] + hashlib.sha256(data[:-64]).hexdigest().encode())
    with pytest.raises(RecordError, match="cut short"):
        restore(small_backup, tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()


def test_backup_missing_or_a_folder(tmp_path):
    for path in (tmp_path / "none.zip", tmp_path):
        with pytest.raises(RecordError, match="disk refuses"):
            restore(path, tmp_path / "new.sqlite")


def test_full_disk_while_writing(filled, tmp_path, monkeypatch):
    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordError, match="disk is full"):
        filled.backup(tmp_path / "b.zip")
    assert not list(tmp_path.glob("*.zip")) + list(tmp_path.glob(".backup*"))


def test_what_was_written_is_read_back(filled, tmp_path, monkeypatch):
    """A disk that keeps other bytes than it was given is found while the old backup still is the last."""

    def keep_others(descriptor):
        os.pwrite(descriptor, b"\xff" * 4, 100)

    monkeypatch.setattr(os, "fsync", keep_others)
    with pytest.raises(RecordError, match="cut short or changed"):
        filled.backup(tmp_path / "b.zip")
    assert not list(tmp_path.glob("*.zip"))
