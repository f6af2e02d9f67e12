"""Forgetting a client leaves no row and no byte, and everybody else as they were."""

import hashlib
import io
import json
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from end_models import with_foot, with_hand
from record_models import as_made_from

from digitise.capture.photo.photograph import remove_metadata
from digitise.errors import RecordError
from digitise.output.model.files import model_text
from digitise.record.export import visit_facts
from digitise.record.forget import drafts_folder, forget_drafts
from digitise.record.store import Store
from digitise.record.values import ModelFiles
from digitise.unfinished import PREFIX, unfinished_folder
from ui import draft
from ui.pairing.session import Pairing, RefusedError

from .conftest import a_visit, limb_model

MARK = "UNMISTAKABLE-REMARK"


def test_rows_are_counted_before_and_none_is_left(store, full_visit, picture):
    store.add_visit(full_visit)
    store.add_visit(a_visit(side="right", photos=(picture(2), picture(5))))
    kept = store.add_visit(
        a_visit(client="B-2", photos=(picture(3),), model=limb_model(photos=(picture(3),)))
    )
    others = visit_facts(store.load_visit(kept))
    proof = store.forget("k-017")
    assert (proof.client, proof.visits, proof.photographs, proof.copies) == ("K-017", 2, 3, ())
    assert proof.rows == {
        "clients": 1,
        "client_conditions": 0,
        "arterial_checks": 0,
        "limbs": 2,
        "visits": 2,
        "tape_rows": 6,
        "place_girths": 0,
        "photographs": 3,
        "visit_photographs": 4,
        "models": 1,
        "corrections": 1,
        "plans": 0,
        "history": 0,
    }
    assert [client.code for client in store.list_clients()] == ["B-2"]
    assert visit_facts(store.load_visit(kept)) == others
    assert store.photo(kept, 1)
    with pytest.raises(RecordError, match="not in the records"):
        store.forget("K-017")


def test_numbers_are_never_given_twice(store):
    numbers = [store.add_visit(a_visit(client="A-1")), store.add_visit(a_visit(client="B-2"))]
    store.forget("B-2")
    assert store.add_visit(a_visit(client="A-1")) not in numbers


def test_the_field_stays_as_long_as_anyone_uses_it(store, full_visit):
    store.add_visit(full_visit)
    kept = store.add_visit(a_visit(client="B-2", field_json=full_visit.field_json))
    store.forget("K-017")
    assert store.field(kept) == full_visit.field_json


def pieces(data: bytes) -> list[bytes]:
    """Short pieces from all over a photograph, behind the tables that all photographs share."""
    return [data[at : at + 24] for at in range(1500, len(data) - 24, 997)]


def found(wanted: list[bytes], held: bytes) -> list[bytes]:
    """Those that are held in one piece: of 24 bytes in pages of 4096, one in 170 lies across a border."""
    whole = [piece for piece in wanted if piece in held]
    assert len(whole) >= 0.9 * len(wanted) > 9
    return whole


def test_no_byte_is_left_in_the_file(tmp_path, full_visit, picture):
    place = tmp_path / "r/records.sqlite"
    note = f"{MARK} of this client"
    with Store(place) as store:
        gone = store.add_visit(full_visit)
        store.add_visit(a_visit(note=note, model=limb_model(filling=b"UNMISTAKABLE-LIMB")))
        kept = store.add_visit(a_visit(client="B-2", photos=(picture(3),)))
        before = held(place)
        secrets = [MARK.encode(), b"UNMISTAKABLE-LIMB", b"K-017"]
        assert all(secret in before for secret in secrets)
        for number in (1, 2):
            secrets += found(pieces(store.photo(gone, number)), before)
        others = found(pieces(store.photo(kept, 1)), before)
        store.forget("K-017")
        after = held(place)  # while it is open, the log included
        assert not [secret for secret in secrets if secret in after]
        assert all(piece in after for piece in others)
    assert not [secret for secret in secrets if secret in held(place)]


def held(place: Path) -> bytes:
    return b"".join(file.read_bytes() for file in place.parent.iterdir())


def test_copies_from_before_a_migration_go_too(tmp_path):
    place = tmp_path / "records.sqlite"
    copy = tmp_path / "records-before-0003-20260302T091500Z.zip"
    other = tmp_path / "others-before-0003-20260302T091500Z.zip"
    with Store(place) as store:
        store.add_visit(a_visit())
        copy.touch()
        other.touch()
        assert store.forget("K-017").copies == (copy.name,)
    assert (copy.exists(), other.exists()) == (False, True)


def test_a_reader_in_the_way_is_said_and_forgetting_can_be_finished(tmp_path, picture):
    place = tmp_path / "records.sqlite"
    with Store(place, patience_s=0.2) as store:
        number = store.add_visit(a_visit(photos=(picture(1),)))
        secrets = found(pieces(store.photo(number, 1)), held(place))
        reader = sqlite3.connect(place, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM visits").fetchone()
        with pytest.raises(RecordError, match="could not be wiped") as refused:
            store.forget("K-017")
        assert "again" in refused.value.do
        assert store.list_clients() == ()
        reader.execute("COMMIT")
        reader.close()
        with pytest.raises(RecordError, match="not in the records"):
            store.forget("K-017")  # wipes nevertheless
        assert not [secret for secret in secrets if secret in held(place)]


def test_two_visits_on_the_way_out(store):
    """A visit stored while a client is forgotten belongs to a new client of that code."""
    store.add_visit(a_visit())
    store.forget("K-017")
    number = store.add_visit(a_visit(taken=datetime(2026, 3, 9, tzinfo=UTC)))
    assert [line.id for line in store.list_visits("K-017")] == [number]


def everything_below(*folders: Path) -> bytes:
    """The bytes of all files below some folders, with their names."""
    files = sorted(path for folder in folders for path in folder.rglob("*") if path.is_file())
    return b"".join(str(path).encode() + b"\n" + path.read_bytes() for path in files)


def test_no_byte_is_left_of_drafts_and_of_what_killed_programs_left(place, tmp_path, full_visit, picture):
    """Code, note and photographs: in the records, unsaved visits, half-made backups and unstripped copies."""
    note = f"{MARK} of this client"
    drafts = drafts_folder()
    left = {
        "typed": {
            "draft.json": f'{{"client": "k-017 ", "note": "{note}"}}'.encode(),
            "photo-1.jpg": b"theirs",
        },
        "half written": {".draft.json-0a1b2c3d": f'{{"client": "K-017", "note": "{MARK}'.encode()},
        "nameless": {"draft.json": b'{"client": ""}', "photo-1.jpg": remove_metadata(picture(1))},
        "of another": {"draft.json": b'{"client": "K-0170"}', "photo-1.jpg": b"another"},
        "damaged": {"draft.json": b"[]"},
    }
    for name, files in left.items():
        (drafts / name).mkdir(parents=True)
        for file, data in files.items():
            (drafts / name / file).write_bytes(data)
    unstripped = drafts / "of another/tmpabcdefgh"  # as earlier versions made it before they stripped
    unstripped.mkdir()
    (unstripped / "IMG_1.jpg").write_bytes(picture(2).read_bytes())
    unfinished = unfinished_folder() / f"{PREFIX}0123"
    unfinished.mkdir(parents=True)
    (unfinished / "backup.zip").write_bytes(MARK.encode())
    with Store(place) as store:
        store.add_visit(replace(full_visit, note=note))
        home = store._database.file.parent if store._database.file else tmp_path / "data/digitise"
        (home / ".backup-0a1b2c_d").write_bytes(b"PK\x03\x04 rows/clients.jsonl" + MARK.encode())
        (home / ".backup-notes").write_bytes(b"a file of somebody else")
        secrets = [MARK.encode(), b"GPSMETHOD", *(remove_metadata(picture(n))[1500:1600] for n in (1, 2))]
        assert MARK.encode() in everything_below(tmp_path)
        proof = store.forget("K-017")
    assert (proof.visits, proof.drafts) == (1, 3)
    held = everything_below(tmp_path)
    assert not [secret for secret in secrets if secret in held]
    assert b'"K-017"' not in held
    assert sorted(path.name for path in drafts.iterdir()) == ["damaged", "of another"]
    assert (home / ".backup-notes").exists()


def made_of(measured, limb, photos):
    """A visit of a limb with its foot or hand, and figures of that which nobody else's have."""
    text = model_text(measured)
    with np.load(io.BytesIO(text.limb)) as stored:
        (name,) = {"foot_parameters", "hand_parameters"} & set(stored.files)
        own = stored[name].tobytes()
    (part,) = json.loads(text.json)["segments"]
    part["photos"][0] |= {"sha256": hashlib.sha256(photos[-1].read_bytes()).hexdigest(), "kept_sha256": None}
    model = as_made_from(ModelFiles(text.json, text.limb), photos[:-1], segments=[part])
    visit = a_visit(limb=limb, photos=photos, tape=(), places=measured.places, model=model)
    return visit, [own[at : at + 24] for at in range(0, 72, 24)]


def test_no_byte_is_left_of_foot_and_hand_of_what_a_phone_sent_and_of_papers(place, tmp_path, picture):
    foot, feet = made_of(with_foot(), "leg", (picture(1), picture(2)))
    hand, hands = made_of(with_hand(), "arm", (picture(3), picture(4), picture(5)))
    paper = unfinished_folder() / f"{PREFIX}4567"
    paper.mkdir(parents=True)
    (paper / "foam.pdf").write_bytes(b"%PDF foam for UNMISTAKABLE-CODE")
    with Store(place) as store:
        numbers = [store.add_visit(visit) for visit in (foot, hand)]
        visit = draft.Draft(draft.drafts_folder() / draft.new_token())
        visit.write(draft.Inputs(client="K-017", names={"photo-1.jpg": "UNMISTAKABLE-NAME.jpg"}))
        phone = Pairing(visit.folder.name)
        phone.take("0b" * 8, "UNMISTAKABLE-NAME.jpg", picture(6).read_bytes())
        secrets = [b"UNMISTAKABLE-CODE", b"UNMISTAKABLE-NAME", b"heel-instep", b"hand-length"]
        secrets += feet + hands + pieces(remove_metadata(picture(6)))
        if "://" not in place:
            for number, count in zip(numbers, (2, 3), strict=True):
                for n in range(1, count + 1):
                    secrets += found(pieces(store.photo(number, n)), held(Path(place)))
        before = everything_below(tmp_path)
        # a server keeps its files elsewhere; its rows are counted
        seen = [secret for secret in secrets if secret in before]
        assert len(seen) > (0.9 * len(secrets) if "://" not in place else 10)
        proof = store.forget("K-017")
        after = everything_below(tmp_path)  # while it is open, the log included
        assert not [secret for secret in secrets if secret in after]
    assert (proof.visits, proof.photographs, proof.rows["place_girths"], proof.drafts) == (2, 5, 6, 1)
    after = everything_below(tmp_path)
    assert not [secret for secret in secrets if secret in after]
    assert phone.arrived
    with pytest.raises(RefusedError):
        phone.admit("0a" * 16)  # the visit is not open any more
    with pytest.raises(RefusedError):
        phone.take("0c" * 8, "IMG_2.jpg", picture(6).read_bytes())
    assert not visit.folder.exists()


def test_a_client_of_unsaved_visits_alone_can_be_forgotten(store):
    folder = drafts_folder() / "typed"
    folder.mkdir(parents=True)
    (folder / "draft.json").write_text('{"client": "N-9"}')
    proof = store.forget("n-9")
    assert (proof.visits, proof.photographs, proof.drafts) == (0, 0, 1)
    assert not folder.exists()
    with pytest.raises(RecordError, match="not in the records"):
        store.forget("n-9")


def test_the_page_keeps_its_drafts_where_they_are_looked_for(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert draft.drafts_folder() == drafts_folder()
    made = draft.draft_of(draft.new_token())
    made.write(draft.Inputs(client="k-17"))
    assert forget_drafts("K-17", ()) == 1
    assert not made.folder.exists()
