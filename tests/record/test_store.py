"""Visits come back as they went in; what cannot be kept is refused; nothing identifies anyone."""

import hashlib
import json
import math
import os
import stat
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record_models import model_of_visit

from digitise.capture.photo.photograph import remove_metadata
from digitise.errors import DigitiseError, FieldError, LensError, OutlineError, PhotoError, RecordError
from digitise.record.check import client_code
from digitise.record.store import Store
from digitise.record.values import Clearance, ModelFiles, VisitId
from digitise.tape.rows import TapeRow

from .conftest import SAMPLE, a_visit, drawn, girths, limb_model


def test_a_visit_comes_back_as_it_went_in(store, full_visit):
    visit = store.load_visit(store.add_visit(full_visit))
    for name in ("client", "limb", "side", "taken", "tape", "lens_json", "posture", "note", "clearance"):
        assert getattr(visit, name) == getattr(full_visit, name), name
    assert visit.taken.utcoffset() == full_visit.taken.utcoffset()
    assert visit.measured_by == "AB"
    assert dict(visit.corrections) == full_visit.corrections
    assert (visit.has_field, visit.has_model) == (True, True)
    assert store.field(visit.id) == full_visit.field_json
    assert store.model(visit.id) == full_visit.model
    for photo, path in zip(visit.photos, full_visit.photos, strict=True):
        data = store.photo(visit.id, photo.number)
        assert data == remove_metadata(path)
        assert (photo.sha256, photo.bytes) == (hashlib.sha256(data).hexdigest(), len(data))


def test_it_is_there_after_closing(place, full_visit):
    with Store(place) as store:
        number = store.add_visit(full_visit)
        kept = store.load_visit(number)
    with Store(place, create=False) as store:
        assert store.load_visit(number) == kept


def test_a_visit_may_be_girths_alone(store):
    visit = store.load_visit(store.add_visit(a_visit()))
    assert (visit.photos, visit.has_field, visit.has_model, dict(visit.corrections)) == ((), False, False, {})
    assert visit.clearance == Clearance()


def test_lists(store, picture):
    store.add_visit(a_visit(client="b-2", taken=datetime(2026, 3, 9, tzinfo=UTC)))
    first = store.add_visit(a_visit(client="A-1", taken=datetime(2026, 3, 1, 23, tzinfo=UTC)))
    late = store.add_visit(
        a_visit(client="a-1", side="right", taken=datetime(2026, 3, 8, tzinfo=UTC), photos=(picture(3),))
    )
    middle = store.add_visit(
        a_visit(client="a-1", model=limb_model(), taken=datetime(2026, 3, 2, tzinfo=UTC))
    )
    assert [(c.code, c.visits, c.first.day, c.last.day) for c in store.list_clients()] == [
        ("A-1", 3, 1, 8),
        ("B-2", 1, 9, 9),
    ]
    lines = store.list_visits("a-1")
    assert [line.id for line in lines] == [first, middle, late]
    assert [(line.side, line.photos, line.has_model) for line in lines] == [
        ("left", 0, False),
        ("left", 0, True),
        ("right", 1, False),
    ]
    assert len(store.list_visits()) == 4


def test_measured_visits_are_those_with_a_model(store):
    early = datetime(2026, 3, 1, 23, tzinfo=timezone(timedelta(hours=2)))
    store.add_visit(a_visit(taken=datetime(2026, 3, 2, tzinfo=UTC)))
    right = store.add_visit(
        a_visit(side="right", model=limb_model(side="right"), taken=datetime(2026, 3, 3, tzinfo=UTC))
    )
    left = store.add_visit(a_visit(model=limb_model(), taken=early, posture="sitting", measured_by="ab"))
    found = store.measured_visits("k-017")
    assert [(visit.id, visit.side) for visit in found] == [(left, "left"), (right, "right")]
    assert (found[0].taken.isoformat(), found[0].posture, found[0].measured_by) == (
        early.isoformat(),
        "sitting",
        "AB",
    )
    assert found[0].model_json == limb_model().json
    with pytest.raises(RecordError, match="not in the records"):
        store.measured_visits("K-018")


def test_nothing_stored_is_an_empty_list(store):
    assert store.list_clients() == store.list_visits() == ()


def stored(store, number):
    """All that is stored of a visit, the bytes too."""
    visit = store.load_visit(number)
    photos = [store.photo(number, photo.number) for photo in visit.photos]
    model = store.model(number) if visit.has_model else None
    return visit, photos, model, store.field(number) if visit.has_field else None


def test_a_changed_visit_takes_the_place_of_the_stored_one(store, full_visit, picture):
    other = store.add_visit(a_visit(photos=(picture(1),)))
    number = store.add_visit(full_visit)
    changed = a_visit(
        side="right",
        taken=full_visit.taken,
        tape=girths(5, 240.0),
        photos=(picture(1), picture(3)),
        field_json=full_visit.field_json,
        model=limb_model("leg", "right", (picture(1), picture(3)), girths(5, 240.0), b"second"),
        corrections={1: drawn(1), 2: drawn(2)},
        note="read again",
        clearance=Clearance("no", "DR-1", datetime(2026, 3, 2, tzinfo=UTC)),
    )
    store.replace_visit(number, changed)
    visit, photos, model, field = stored(store, number)
    for name in ("client", "limb", "side", "taken", "tape", "posture", "measured_by", "note", "clearance"):
        assert getattr(visit, name) == getattr(changed, name), name
    assert dict(visit.corrections) == changed.corrections
    assert (photos, model, field) == (
        [remove_metadata(path) for path in changed.photos],
        changed.model,
        changed.field_json,
    )
    assert [line.id for line in store.list_visits()] == sorted([other, number])
    assert store.photo(other, 1) == photos[0]
    # the photograph that was taken out is gone with the limb that nobody measured
    proof = store.forget("K-017")
    assert (proof.visits, proof.photographs, proof.rows["limbs"]) == (2, 2, 2)


def test_a_visit_saved_again_as_it_is_stays_as_it_is(store, full_visit):
    number = store.add_visit(full_visit)
    before = stored(store, number)
    store.replace_visit(number, full_visit)
    assert stored(store, number) == before


def test_a_change_of_what_somebody_changed_meanwhile_is_refused(store, full_visit):
    number = store.add_visit(full_visit)
    seen = store.load_visit(number).state
    assert store.load_visit(number).state == seen
    store.replace_visit(number, replace(full_visit, note="first"), seen=seen)
    before = stored(store, number)
    with pytest.raises(RecordError, match="changed by someone else"):
        store.replace_visit(number, replace(full_visit, note="second"), seen=seen)
    assert stored(store, number) == before
    store.replace_visit(number, replace(full_visit, note="second"), seen=store.load_visit(number).state)
    assert store.load_visit(number).note == "second"


@pytest.mark.parametrize("what", ["model", "field", "lens", "correction", "photograph", "girth"])
def test_every_part_that_somebody_changed_meanwhile_counts(store, full_visit, picture, what):
    other = {
        "model": {"model": limb_model(photos=full_visit.photos, filling=b"newer")},
        "field": {"field_json": full_visit.field_json + "\n"},
        "lens": {"lens_json": full_visit.lens_json + "\n"},
        "correction": {"corrections": {2: drawn(3.5)}},
        "photograph": {"photos": (picture(1), picture(5)), "model": None},
        "girth": {"tape": girths(3, 221.0), "model": None},
    }[what]
    number = store.add_visit(full_visit)
    seen = store.load_visit(number).state
    store.replace_visit(number, replace(full_visit, **other))
    before = stored(store, number)
    with pytest.raises(RecordError, match="changed by someone else"):
        store.replace_visit(number, full_visit, seen=seen)
    assert stored(store, number) == before


def test_a_model_belongs_to_photographs_as_given_or_as_kept(store, picture, tmp_path):
    """A visit that was exported holds photographs without their place, the model the digests of both."""
    given = (picture(1), picture(2))
    kept = tuple(tmp_path / f"photo-{n}.jpg" for n in (1, 2))
    for path, source in zip(kept, given, strict=True):
        path.write_bytes(remove_metadata(source))
    model = limb_model(photos=given)
    photos = json.loads(model.json)["photos"]
    for photo, path in zip(photos, kept, strict=True):
        photo["kept_sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    both = model_of_visit(tape=girths(), **{"photos": photos})
    store.add_visit(a_visit(photos=given, model=both))
    store.add_visit(a_visit(photos=kept, model=both))
    with pytest.raises(RecordError, match="not made from this photograph"):
        store.add_visit(a_visit(photos=(picture(3), kept[1]), model=both))


CANNOT_REPLACE = {
    "another client": ({"client": "X-9"}, "of client K-017"),
    "model of the other side": ({"model": limb_model(side="right")}, "the right leg"),
    "correction of no photograph": ({"corrections": {3: "{}"}}, "no photograph"),
    "photograph of another client": ({"photos": (4,)}, "another client"),
}


@pytest.mark.parametrize("name", CANNOT_REPLACE)
def test_a_change_that_cannot_be_kept_leaves_the_visit_as_it_was(store, full_visit, picture, name):
    changes, piece = CANNOT_REPLACE[name]
    if "photos" in changes:
        changes = {"photos": tuple(map(picture, changes["photos"])), "corrections": {}, "model": None}
    store.add_visit(a_visit(client="Z-1", photos=(picture(4),)))
    number = store.add_visit(full_visit)
    before = stored(store, number)
    with pytest.raises(RecordError, match=piece):
        store.replace_visit(number, replace(full_visit, **{"note": "lost", **changes}))
    assert stored(store, number) == before


def test_a_change_cut_short_leaves_the_visit_as_it_was(store, full_visit, monkeypatch):
    def fail(*_):
        raise OSError(28, "No space left on device")

    number = store.add_visit(full_visit)
    before = stored(store, number)
    with monkeypatch.context() as patch:
        patch.setattr("digitise.record.saving.remove_unused", fail)
        with pytest.raises(RecordError, match="disk is full"):
            store.replace_visit(number, replace(full_visit, note="lost"))
    assert stored(store, number) == before


def test_a_photograph_may_return_for_the_same_client_only(store, picture):
    first = store.add_visit(a_visit(photos=(picture(1),)))
    again = store.add_visit(a_visit(photos=(picture(2), picture(1))))
    assert store.photo(first, 1) == store.photo(again, 2)
    with pytest.raises(RecordError, match="another client"):
        store.add_visit(a_visit(client="X-9", photos=(picture(4), picture(1))))
    assert [client.code for client in store.list_clients()] == ["K-017"]


MISSING = {
    "visit": lambda store, number: store.load_visit(VisitId(number + 1)),
    "visit zero": lambda store, _: store.load_visit(VisitId(0)),
    "visit beyond all numbers": lambda store, _: store.load_visit(VisitId(10**30)),
    "photograph": lambda store, number: store.photo(number, 3),
    "photograph beyond all numbers": lambda store, number: store.photo(number, 10**30),
    "photograph of no visit": lambda store, number: store.photo(VisitId(number + 1), 1),
    "model": lambda store, number: store.model(number),
    "visit to change": lambda store, number: store.replace_visit(VisitId(number + 1), a_visit()),
    "field": lambda store, number: store.field(number),
    "client": lambda store, _: store.list_visits("K-018"),
    "client to forget": lambda store, _: store.forget("K-018"),
}


@pytest.mark.parametrize("name", MISSING)
def test_what_is_not_there_is_said(store, name):
    number = store.add_visit(a_visit())
    with pytest.raises(RecordError, match="not in the records"):
        MISSING[name](store, number)


REFUSED = (RecordError, PhotoError, FieldError, LensError, OutlineError)
NOW = datetime.now(UTC)
FIELD = (SAMPLE / "field.json").read_text()
TWO = (SAMPLE / "photo-1.jpg", SAMPLE / "photo-2.jpg")
BAD = {
    "name": ({"client": "Maria Huber"}, "looks like a name"),
    "family name": ({"client": "Huber"}, "looks like a name"),
    "empty code": ({"client": " "}, "empty"),
    "signs in the code": ({"client": "K_17"}, "other signs"),
    "dash at the end": ({"client": "K17-"}, "other signs"),
    "other letters": ({"client": "Ü-17"}, "other signs"),
    "long code": ({"client": "K" * 20 + "1"}, "longer than 20"),
    "limb": ({"limb": "tail"}, "Choose leg, arm"),
    "side": ({"side": "middle"}, "Choose left, right"),
    "posture": ({"posture": "asleep"}, "Choose standing"),
    "no time zone": ({"taken": datetime(2026, 3, 2, 9, 15)}, "no time zone"),
    "future": ({"taken": NOW + timedelta(days=3)}, "in the future"),
    "long ago": ({"taken": datetime(1970, 1, 1, tzinfo=UTC)}, "before 2000"),
    "nothing measured": ({"tape": ()}, "neither photographs nor girths"),
    "girths out of order": ({"tape": girths()[::-1]}, "in order"),
    "two girths at one height": ({"tape": (TapeRow(100, 220), TapeRow(100, 221))}, "in order"),
    "note too long": ({"note": "n" * 5000}, "longer"),
    "note with control signs": ({"note": "a\0b"}, "control"),
    "measurer": ({"measured_by": "A. B."}, "initials"),
    "answer": ({"clearance": Clearance("maybe")}, "Choose yes"),
    "answer without time": ({"clearance": Clearance("yes", "AB")}, "goes with its time"),
    "time without answer": ({"clearance": Clearance("not-asked", "AB", NOW)}, "goes with its time"),
    "answer by a name": ({"clearance": Clearance("yes", "A B", NOW)}, "initials"),
    "flag": ({"clearance": Clearance(red_flags=(("Hot Skin", True),))}, "warning sign"),
    "flag twice": ({"clearance": Clearance(red_flags=(("fever", True), ("fever", False)))}, "twice"),
    "model of the other side": ({"model": limb_model(side="right")}, "the right leg"),
    "model of another limb": ({"model": limb_model(limb="arm")}, "the left arm"),
    "model of another format": (
        {"model": ModelFiles('{"format": "limb-model/2", "limb": "leg", "side": "left"}', b"PK")},
        "limb-model/1",
    ),
    "model damaged": ({"model": ModelFiles("{", b"PK")}, "not JSON"),
    "limb damaged": ({"model": ModelFiles(limb_model().json, b"")}, "cut short"),
    "limb cut": ({"model": ModelFiles(limb_model().json, limb_model().limb[:-1])}, "cut short"),
    "limb of another model": (
        {"model": ModelFiles(limb_model().json, limb_model(filling=b"x").limb)},
        "another",
    ),
    "model of other girths": ({"model": limb_model(tape=girths(3, 221.0))}, "other girths"),
    "model of more girths": ({"model": limb_model(tape=girths(4))}, "other girths"),
    "model without girths": ({"model": limb_model(tape=())}, "other girths"),
    "model of other photographs": (
        {"model": limb_model(photos=(SAMPLE / "photo-1.jpg",)), "photos": (SAMPLE / "photo-2.jpg",)},
        "photo-2.jpg: .*not made from this photograph",
    ),
    "model of photographs in another order": (
        {"model": limb_model(photos=TWO), "photos": TWO[::-1]},
        "not made from this photograph",
    ),
    "model of more photographs": ({"model": limb_model(photos=TWO), "photos": TWO[:1]}, "made from 2"),
    "model of other sheets": (
        {"model": model_of_visit(tape=girths(), field_sha256="0" * 64), "field_json": FIELD},
        "other sheets",
    ),
    "model with boards that the sheets lack": (
        {"model": limb_model(), "field_json": FIELD.replace("backdrop-a", "wall")},
        "other sheets",
    ),
    "changed figure": (
        {"model": ModelFiles(limb_model().json.replace('"leg"', '"arm"', 1), limb_model().limb)},
        "changed after it was written",
    ),
    "correction of no photograph": ({"corrections": {1: "{}"}}, "no photograph"),
    "correction damaged": ({"corrections": {1: "{"}, "photos": (SAMPLE / "photo-1.jpg",)}, "damaged"),
    "correction of another kind": ({"corrections": {1: '{"edge": 1}'}, "photos": TWO[:1]}, "damaged"),
    "correction with no numbers": (
        {"corrections": {1: drawn(1).replace("[1, 2]", "[NaN, 2]")}, "photos": TWO[:1]},
        "damaged",
    ),
    "girth that is no number": ({"tape": (TapeRow(100.0, math.nan),)}, "cannot be"),
    "height that is no number": ({"tape": (TapeRow(math.nan, 220.0),)}, "cannot be"),
    "endless height": ({"tape": (TapeRow(math.inf, 220.0),)}, "cannot be"),
    "girth of nobody": ({"tape": (TapeRow(100.0, 5.0),)}, "cannot be"),
    "correction no object": ({"corrections": {1: "[]"}, "photos": (SAMPLE / "photo-1.jpg",)}, "damaged"),
    "photograph twice": ({"photos": (SAMPLE / "photo-1.jpg",) * 2}, "twice"),
    "many photographs": ({"photos": (SAMPLE / "photo-1.jpg",) * 13}, "13 photographs"),
    "photograph missing": ({"photos": (Path("none.jpg"),)}, "cannot be opened"),
    "no photograph": ({"photos": (SAMPLE / "tape.csv",)}, "tape.csv"),
    "field": ({"field_json": "{}"}, "field.json"),
    "lens": ({"lens_json": "{}"}, "lens profile"),
}


@pytest.fixture(scope="module")
def one_store(tmp_path_factory):
    with Store(tmp_path_factory.mktemp("bad") / "records.sqlite") as opened:
        yield opened


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_kept_is_refused_and_nothing_changes(one_store, name):
    changes, piece = BAD[name]
    with pytest.raises(REFUSED, match=piece) as refused:
        one_store.add_visit(a_visit(**changes))
    assert refused.value.do
    assert one_store.list_clients() == one_store.list_visits() == ()


@given(st.text(max_size=25))
def test_any_text_is_a_code_or_refused(text):
    try:
        code = client_code(text)
    except DigitiseError:
        return
    assert code == client_code(code)
    assert set(code) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-")
    assert any(sign.isdigit() for sign in code)


def test_two_people_saving_at_once_are_both_kept(place):
    Store(place).close()
    numbers, failures = [], []

    def save(side):
        try:
            with Store(place) as store:
                for minute in range(20):
                    taken = datetime(2026, 3, 2, 9, minute, tzinfo=UTC)
                    numbers.append(store.add_visit(a_visit(side=side, taken=taken)))
        except DigitiseError as error:
            failures.append(error)

    people = [threading.Thread(target=save, args=(side,)) for side in ("left", "right", "left")]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert failures == []
    with Store(place) as store:
        assert sorted(line.id for line in store.list_visits("K-017")) == sorted(numbers)
        assert len(set(numbers)) == 60
        assert all(len(store.load_visit(number).tape) == 3 for number in numbers)


def test_one_store_may_be_used_by_several_threads(store):
    people = [
        threading.Thread(target=lambda: [store.add_visit(a_visit()) for _ in range(5)]) for _ in range(3)
    ]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert len(store.list_visits()) == 15


def test_making_the_records_at_once(place):
    failures = []

    def make():
        try:
            Store(place).close()
        except DigitiseError as error:
            failures.append(error)

    people = [threading.Thread(target=make) for _ in range(4)]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert failures == []
    with Store(place, create=False) as store:
        store.add_visit(a_visit())


def stored_bytes(place: str) -> bytes:
    file = Path(place)
    return b"".join(part.read_bytes() for part in file.parent.glob(f"{file.name}*"))


def test_no_place_of_the_sample_photograph_survives(tmp_path):
    """Searched for as the sample's EXIF block holds it: the latitude 48/1 52/1 3612/100 and the date."""
    path = SAMPLE / "photo-1.jpg"
    place = str(tmp_path / "r/records.sqlite")
    original = path.read_bytes()
    latitudes = [b"".join(n.to_bytes(4, order) for n in (48, 1, 52, 1)) for order in ("little", "big")]
    assert any(latitude in original for latitude in latitudes)
    assert b"2025:03:03" in original
    with Store(place) as store:
        number = store.add_visit(a_visit(photos=(path,)))
        held = stored_bytes(place)
        assert store.photo(number, 1)[-1000:] in original  # the picture itself is there
    assert len(held) > len(original)
    for secret in (*latitudes, b"2025:03:03", b"photo-1.jpg"):
        assert secret not in held
        assert secret not in stored_bytes(place)


@pytest.mark.skipif(os.name != "posix", reason="rights of POSIX")
def test_only_the_owner_can_read_the_file(tmp_path):
    old = os.umask(0)
    try:
        place = tmp_path / "new/deep/records.sqlite"
        with Store(place) as store:
            store.add_visit(a_visit())
            store.backup(tmp_path / "b.zip")
            files = [*place.parent.iterdir(), tmp_path / "b.zip"]
            assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
            assert len(files) == 4  # the database, its log and its index, the backup
        assert stat.S_IMODE(place.parent.stat().st_mode) == 0o700
    finally:
        os.umask(old)


def test_where_records_are_by_default(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "mine")
    monkeypatch.delenv("DIGITISE_RECORDS", raising=False)
    Store().close()
    assert (tmp_path / "mine/records.sqlite").is_file()
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "other.sqlite"))
    Store().close()
    assert (tmp_path / "other.sqlite").is_file()
    monkeypatch.setenv("DIGITISE_RECORDS", f"sqlite:///{tmp_path}/third.sqlite")
    Store().close()
    assert (tmp_path / "third.sqlite").is_file()
