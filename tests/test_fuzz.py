"""Damaged photographs and tape tables: refused with their name or read, never anything else.

Seeded loops, so that a failure repeats; together 500 photographs and 500 tables.
"""

import io

import numpy as np
import pytest
from heic import heic_bytes
from PIL import Image

from digitise.capture.photo.photograph import Photograph, read_photo, remove_metadata
from digitise.errors import PhotoError, TapeError
from digitise.tape.advice import explain_tape
from digitise.tape.table import read_tape

WIDTH, HEIGHT = 480, 640  # just above the smallest picture that is read, so that damage reaches the decoders


def bit_flips(data: bytes, rng: np.random.Generator) -> bytes:
    changed = bytearray(data)
    for at in rng.integers(0, len(data), rng.integers(1, 20)):
        changed[at] ^= 1 << int(rng.integers(8))
    return bytes(changed)


def header_flips(data: bytes, rng: np.random.Generator) -> bytes:
    start = min(len(data), 700)
    return bit_flips(data[:start], rng) + data[start:]


def cut(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: rng.integers(len(data))]


def splice(data: bytes, rng: np.random.Generator) -> bytes:
    """Move a piece of the file somewhere else, mostly within the header."""
    start, length, at = rng.integers(0, 900, 3)
    return data[:at] + data[start : start + length] + data[at + length * int(rng.integers(2)) :]


def random_piece(data: bytes, rng: np.random.Generator) -> bytes:
    at, length = int(rng.integers(len(data))), int(rng.integers(1, 200))
    return data[:at] + rng.bytes(length) + data[at + length :]


def random_whole(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: rng.integers(0, 30)] + rng.bytes(int(rng.integers(0, 3000)))


MUTATIONS = (bit_flips, header_flips, cut, splice, random_piece, random_whole)


def small_photographs(case) -> dict[str, bytes]:
    """The sample shrunk, in every type, with its EXIF block."""
    with Image.open(case.photos[0]) as image:
        exif = image.getexif().tobytes()
        small = image.resize((WIDTH, HEIGHT))
    files = {}
    for name, kind, options in (
        ("base.jpg", "JPEG", {}),
        ("progressive.jpg", "JPEG", {"progressive": True}),
        ("photo.png", "PNG", {"compress_level": 1}),
    ):
        file = io.BytesIO()
        small.save(file, kind, exif=exif, **options)
        files[name] = file.getvalue()
    files["photo.heic"] = heic_bytes(small, exif)
    return files


@pytest.mark.slow
def test_damaged_photographs(case, tmp_path, rng):
    # 4 cases x 125; the JPEG types, which phones write, get most
    files = small_photographs(case)
    names = ["base.jpg"] * 3 + ["progressive.jpg", "photo.png", "photo.heic"]
    read = refused = 0
    for i in range(125):
        name = names[i % len(names)]
        path = tmp_path / name
        path.write_bytes(MUTATIONS[(i // len(names)) % len(MUTATIONS)](files[name], rng))
        try:
            photo = read_photo(path)
            remove_metadata(path)
        except PhotoError as error:
            assert str(error).startswith(f"{name}: ")
            assert error.do
            refused += 1
        else:
            assert_sound(photo)
            read += 1
    # both ways must occur, else the damage is too weak or never reaches the decoders
    assert refused > 25
    assert read > 10


def assert_sound(photo: Photograph) -> None:
    assert photo.pixels.dtype == np.uint8
    assert photo.pixels.ndim == 3
    assert photo.pixels.shape[2] == 3
    assert photo.focal_35mm is None or 4 <= photo.focal_35mm <= 3000


def test_undamaged_small_photographs_are_read(case, tmp_path):
    for name, data in small_photographs(case).items():
        (tmp_path / name).write_bytes(data)
        assert read_photo(tmp_path / name).pixels.shape == (HEIGHT, WIDTH, 3)


WORDS = (
    ",",
    ";",
    "\t",
    "\n",
    "\r\n",
    "#",
    '"',
    "'",
    "-",
    "+",
    ".",
    "e9",
    "nan",
    "inf",
    "0",
    "00",
    "9999999",
    "cm",
    "mm",
)
WORDS += (
    "height_mm",
    "girth_cm",
    "point",
    "B1",
    "\ufeff",
    "\0",
    "é",
    "٣",
    "\u2028",
    " ",
    "sep=;",
    "=1+1",
    "319",
    "31,9",
)


def typed_over(data: bytes, rng: np.random.Generator) -> bytes:
    """Put a few words that tables contain at random places."""
    text = data.decode()
    for _ in range(int(rng.integers(1, 5))):
        at, kept = int(rng.integers(len(text) + 1)), int(rng.integers(0, 4))
        text = text[:at] + WORDS[int(rng.integers(len(WORDS)))] + text[at + kept :]
    return text.encode("utf-16" if rng.random() < 0.05 else "utf-8")


def other_digit(data: bytes, rng: np.random.Generator) -> bytes:
    changed = bytearray(data)
    digits = [i for i, byte in enumerate(data) if chr(byte).isdigit()]
    for at in rng.choice(digits, 2):
        changed[at] = 48 + int(rng.integers(10))
    return bytes(changed)


def test_damaged_tape_tables(case, tmp_path, rng):
    # 4 cases x 200
    path = tmp_path / "tape.csv"
    whole = case.tape.read_bytes()
    read = refused = 0
    for i in range(200):
        mutate = (typed_over, other_digit, bit_flips, cut, typed_over)[i % 5]
        path.write_bytes(mutate(whole, rng))
        try:
            rows = read_tape(path)
        except TapeError as error:
            assert str(error).startswith("tape.csv")
            assert error.do
            refused += 1
        else:
            heights = [row.height_mm for row in rows]
            assert heights == sorted(set(heights))
            assert all(50 <= row.girth_mm <= 1500 for row in rows)
            told = {height: (float(rng.uniform(50, 1500)), 4.0) for height in heights[::2]}
            for predicted in (None, told):
                assert all(remark.text for remark in explain_tape(rows, predicted))
            read += 1
    assert refused > 40
    assert read > 40
