"""A photograph that comes in is stripped before its first byte is on the disk."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from digitise.errors import PhotoError
from ui import draft as drafts


def photo_with_place() -> bytes:
    noise = np.random.default_rng(1).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({27: b"GPSMETHOD"})
    file = io.BytesIO()
    Image.fromarray(noise).resize((640, 480)).save(file, "JPEG", exif=exif)
    return file.getvalue()


def test_nothing_unstripped_is_ever_written(tmp_path, monkeypatch):
    written = []

    def watch(path, data, *more):
        written.append(bytes(data))
        return real(path, data, *more)

    real = Path.write_bytes
    monkeypatch.setattr(Path, "write_bytes", watch)
    monkeypatch.setattr("tempfile.mkdtemp", lambda *_, **__: pytest.fail("a temporary folder"))
    data = photo_with_place()
    assert b"GPSMETHOD" in data
    draft = drafts.Draft(tmp_path / "one")
    path = draft.add_photo(data, "../IMG 1.jpg")
    assert b"GPSMETHOD" not in path.read_bytes()
    assert not any(b"GPSMETHOD" in piece for piece in written)
    assert [item.name for item in draft.folder.iterdir()] == ["photo-1.jpg"]


def test_what_is_no_photograph_leaves_nothing(tmp_path):
    draft = drafts.Draft(tmp_path / "one")
    with pytest.raises(PhotoError, match=r"notes\.jpg"):
        draft.add_photo(b"GPSMETHOD is no picture", "folder/notes.jpg")
    assert not draft.folder.exists()
