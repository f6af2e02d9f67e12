"""An empty place for records on SQLite and on PostgreSQL, and visits to put there."""

import io
import json
import os
import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from lens_profiles import lens_text
from PIL import Image
from record_models import model_of_visit

from digitise.record.store import Store
from digitise.record.values import Clearance, ModelFiles, NewVisit
from digitise.tape.rows import TapeRow

SERVER = os.environ.get("DIGITISE_TEST_POSTGRES", "")
SAMPLE = Path(__file__).parents[2] / "sample-images/pair-calf-week0"


@pytest.fixture(scope="session")
def databases():
    """Addresses of databases that no test uses at the moment: emptying one is quicker than making one."""
    free: list[str] = []
    yield free
    for address in free:
        command(SERVER, f"DROP DATABASE {address.rsplit('/', 1)[1]} WITH (FORCE)")


@pytest.fixture
def new_database(databases):
    """Return a function that gives the address of an empty PostgreSQL database."""
    if not SERVER:
        pytest.skip("no PostgreSQL server: DIGITISE_TEST_POSTGRES is not set")
    used = []

    def make() -> str:
        if databases:
            address = databases.pop()
        else:
            name = f"records_{uuid.uuid4().hex[:12]}"
            command(SERVER, f"CREATE DATABASE {name} TEMPLATE template0")
            address = f"{SERVER.rsplit('/', 1)[0]}/{name}"
        used.append(address)
        return address

    yield make
    for address in used:
        command(address, "DROP SCHEMA public CASCADE; CREATE SCHEMA public")
        databases.append(address)


def command(address: str, sql: str) -> None:
    import psycopg

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(sql)


@pytest.fixture(params=["sqlite", "postgresql"])
def new_place(request, tmp_path, monkeypatch):
    """Return a function that gives the address of an empty place."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("DIGITISE_RECORDS", raising=False)
    if request.param == "postgresql":
        return request.getfixturevalue("new_database")
    return lambda: str(tmp_path / f"records-{uuid.uuid4().hex[:6]}" / "records.sqlite")


@pytest.fixture
def place(new_place) -> str:
    return new_place()


@pytest.fixture
def store(place):
    with Store(place) as opened:
        yield opened


@pytest.fixture(scope="session")
def picture(tmp_path_factory):
    """Return a function that writes a small photograph with a place in it, another one for each number."""
    folder = tmp_path_factory.mktemp("pictures")

    def make(number: int) -> Path:
        path = folder / f"photo-{number}.jpg"
        if not path.exists():
            path.write_bytes(small_photo(number))
        return path

    return make


def small_photo(number: int) -> bytes:
    """A noisy JPEG of the smallest size that is accepted, with GPS data."""
    noise = np.random.default_rng(number).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    image = Image.fromarray(noise).resize((640, 480), Image.Resampling.NEAREST)
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 52.0, 36.0), 27: b"GPSMETHOD"})
    file = io.BytesIO()
    image.save(file, "JPEG", quality=90, exif=exif)
    return file.getvalue()


def girths(count: int = 3, first: float = 220.0) -> tuple[TapeRow, ...]:
    return tuple(TapeRow(100.0 + 90 * k, first + 30.5 * k, k + 2, "" if k else "B") for k in range(count))


def limb_model(limb="leg", side="left", photos=(), tape=None, filling: bytes = b"limb") -> ModelFiles:
    """A model made from the girths of a plain visit."""
    return model_of_visit(limb, side, photos, girths() if tape is None else tape, filling)


def a_visit(**changes) -> NewVisit:
    """A plain visit without photographs."""
    visit = NewVisit("K-017", "leg", "left", datetime(2026, 3, 2, 9, 15, tzinfo=UTC), girths())
    return replace(visit, **changes)


def drawn(width: float) -> str:
    """A correction of an outline with one stroke."""
    stroke = {"kind": "limb", "width_px": width, "points": [[1, 2]]}
    return json.dumps({"format": "outline-correction/1", "strokes": [stroke]})


@pytest.fixture
def full_visit(picture) -> NewVisit:
    """A visit with everything in it."""
    from datetime import timezone

    return a_visit(
        taken=datetime(2026, 3, 2, 9, 15, tzinfo=timezone(timedelta(hours=-3, minutes=-30))),
        photos=(picture(1), picture(2)),
        field_json=(SAMPLE / "field.json").read_text(),
        lens_json=lens_text(),
        model=limb_model(photos=(picture(1), picture(2))),
        corrections={2: drawn(2.5)},
        posture="standing",
        measured_by="ab",
        note="Skin dry,\n\u00fcber dem Kn\u00f6chel \u2713",
        clearance=Clearance(
            "yes", "DR-1", datetime(2026, 3, 1, 8, 0, tzinfo=UTC), (("fever", False), ("hot-skin", True))
        ),
    )
