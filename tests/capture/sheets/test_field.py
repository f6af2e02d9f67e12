"""field.json: what is read, what is refused, and that nothing else ever happens."""

import copy
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitise.capture.sheets.field import field_from_json, field_to_json, read_field, write_field
from digitise.errors import FieldError, OutputError

SAMPLE = Path(__file__).parents[3] / "sample-images/pair-calf-week0/field.json"
TEXT = SAMPLE.read_text()
DATA = json.loads(TEXT)


def changed(*path_and_value) -> str:
    """Return the sample's JSON with the value at a path replaced."""
    *path, last, value = path_and_value
    data = copy.deepcopy(DATA)
    item = data
    for key in path:
        item = item[key]
    item[last] = value
    return json.dumps(data)


def without(*path) -> str:
    data = copy.deepcopy(DATA)
    item = data
    for key in path[:-1]:
        item = item[key]
    del item[path[-1]]
    return json.dumps(data)


def square(left, top, side=84.0):
    return [[left, top], [left + side, top], [left + side, top - side], [left, top - side]]


def test_reads_boards_ids_and_corners():
    field = read_field(SAMPLE)
    assert field.dictionary == "DICT_APRILTAG_36h11"
    assert [(b.name, b.role, len(b.ids)) for b in field.boards] == [
        ("mat", "mat", 14),
        ("backdrop-a", "backdrop", 25),
        ("backdrop-b", "backdrop", 25),
    ]
    assert field.mat is field.boards[0]
    assert field.mat.corners.shape == (14, 4, 2)
    assert field.mat.corners[0].tolist() == DATA["boards"][0]["markers"][0]["corners"]


def test_values_cannot_be_changed_by_accident():
    mat = read_field(SAMPLE).mat
    with pytest.raises(ValueError, match="read-only"):
        mat.corners[0] = 0.0


def test_what_is_written_is_read_back(tmp_path):
    field = read_field(SAMPLE)
    write_field(field, tmp_path / "field.json")
    again = read_field(tmp_path / "field.json")
    assert again.dictionary == field.dictionary
    for ours, theirs in zip(again.boards, field.boards, strict=True):
        assert (ours.name, ours.role, ours.ids) == (theirs.name, theirs.role, theirs.ids)
        # written to 0.1 µm
        np.testing.assert_allclose(ours.corners, theirs.corners, atol=5e-5)
        np.testing.assert_allclose(ours.size, theirs.size, atol=5e-5)


def test_byte_order_mark_and_unknown_keys_are_accepted():
    assert field_from_json(b"\xef\xbb\xbf" + changed("note", "printed on Monday").encode(), "f").boards


CORNERS = ("boards", 1, "markers", 2, "corners")
REFUSED = {
    "empty": ("", ["not JSON"]),
    "cut off": (TEXT[:1000], ["not JSON"]),
    "no utf-8": (b"\xff\xfe" + TEXT.encode(), ["not JSON"]),
    "deeply nested": ("[" * 100_000, ["not JSON"]),
    "too large": (" " * 2_000_001, ["too large"]),
    "a list": ("[1, 2]", ["The content"]),
    "another format": (changed("format", "marker-field/2"), ['"format"', "marker-field/1"]),
    "no format": (without("format"), ['"format" is missing']),
    "inches": (changed("units", "inch"), ['"units"']),
    "dictionary": (changed("dictionary", "DICT_UNKNOWN"), ["DICT_UNKNOWN", "DICT_APRILTAG_36h11"]),
    "not a dictionary": (changed("dictionary", "detectMarkers"), ["detectMarkers"]),
    "no boards": (changed("boards", []), ['"boards"']),
    "no mat": (changed("boards", 0, "role", "backdrop"), ["role mat"]),
    "unknown role": (changed("boards", 1, "role", "wall"), ["board backdrop-a", '"role"']),
    "same name twice": (changed("boards", 1, "name", "mat"), ["board mat", "Two boards"]),
    "name of blanks": (changed("boards", 1, "name", "  "), ["board number 2"]),
    "escape code in a name": (changed("boards", 1, "name", "a\x1b[31m"), ["board number 2"]),
    "no name": (without("boards", 2, "name"), ["board number 3", '"name" is missing']),
    "no markers": (changed("boards", 2, "markers", []), ["board backdrop-b", '"markers"']),
    "size of nothing": (changed("boards", 2, "size", [900, 0]), ["board backdrop-b", '"size"']),
    "size as text": (changed("boards", 2, "size", ["900", 1200]), ["board backdrop-b", '"size"']),
    "id as text": (changed("boards", 1, "markers", 2, "id", "16"), ["board backdrop-a", '"id"']),
    "id as yes": (changed("boards", 1, "markers", 2, "id", True), ["board backdrop-a", '"id"']),
    "id below zero": (changed("boards", 1, "markers", 2, "id", -1), ["marker -1"]),
    "id beyond the dictionary": (changed("boards", 1, "markers", 2, "id", 587), ["marker 587", "0 to 586"]),
    "endless id": (
        json.dumps(DATA).replace('"id": 3,', f'"id": {"9" * 6000},'),
        ["not JSON"],
    ),
    "huge id": (changed("boards", 0, "markers", 3, "id", 10**30), ["board mat", "marker number 4"]),
    "id twice": (changed("boards", 1, "markers", 2, "id", 0), ["marker 0", "board mat", "anew"]),
    "three corners": (changed(*CORNERS, [[0, 0], [1, 0], [1, 1]]), ["marker 102", '"corners"']),
    "not a number": (changed(*CORNERS, 0, 0, float("nan")), ["marker 102", '"corners"']),
    "infinite": (TEXT.replace("-192.0", "-1e999", 1), ["marker 0", '"corners"']),
    "anticlockwise": (changed(*CORNERS, square(0, 0)[::-1]), ["marker 102", "anticlockwise"]),
    "y down": (changed(*CORNERS, [[0, 0], [84, 0], [84, 84], [0, 84]]), ["marker 102", "anticlockwise"]),
    "crossed": (changed(*CORNERS, [[0, 0], [84, -84], [84, 0], [0, -84]]), ["do not enclose"]),
    "a point": (changed(*CORNERS, [[5, 5]] * 4), ["do not enclose"]),
    "tiny": (changed(*CORNERS, square(0, 0, 4.0)), ["5 to 500 mm"]),
    "huge": (changed(*CORNERS, square(-300, 300, 600.0)), ["5 to 500 mm"]),
    "oblong": (changed(*CORNERS, [[0, 0], [84, 0], [84, -60], [0, -60]]), ["not a square"]),
    "leaning": (changed(*CORNERS, [[20, 0], [104, 0], [84, -84], [0, -84]]), ["not a square"]),
    "beside the sheet": (changed(*CORNERS, square(400, 0)), ["outside its sheet"]),
    "one on another": (changed(*CORNERS, square(-434, 584)), ["marker 100", "lies on marker 102"]),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refuses_with_file_place_and_advice(name):
    text, pieces = REFUSED[name]
    with pytest.raises(FieldError) as caught:
        field_from_json(text, "my-field.json")
    message = str(caught.value)
    assert message.startswith("my-field.json")
    assert caught.value.do
    assert message.isprintable()
    assert len(message) < 400
    for piece in pieces:
        assert piece in message


@pytest.mark.parametrize("path", ["missing.json", ".", "no\0name"])
def test_refuses_a_file_that_cannot_be_opened(path, tmp_path):
    with pytest.raises(FieldError):
        read_field(tmp_path / path)


def test_refuses_to_write_where_there_is_no_folder(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        write_field(read_field(SAMPLE), tmp_path / "missing" / "field.json")


JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["mat", "backdrop", "DICT_4X4_50", 1e300, -1e-300, 10**400]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=5,
)


@st.composite
def damaged_values(draw):
    """Return the sample with one to three values anywhere in the tree replaced, dropped or repeated."""
    data = copy.deepcopy(DATA)
    data["boards"] = [dict(board, markers=board["markers"][:3]) for board in data["boards"]]
    for _ in range(draw(st.integers(1, 3))):
        item = data
        while item:
            keys = list(item) if isinstance(item, dict) else range(len(item))
            key = draw(st.sampled_from(keys))
            if not isinstance(item[key], dict | list) or not item[key] or draw(st.integers(0, 4)) == 0:
                break
            item = item[key]
        if not item:
            continue
        action = draw(st.sampled_from(["replace", "drop", "repeat"]))
        if action == "replace":
            item[key] = draw(JUNK)
        elif action == "drop":
            del item[key]
        elif isinstance(item, list):
            item.append(copy.deepcopy(item[key]))
    return json.dumps(data)


@settings(max_examples=300, deadline=None)
@given(damaged_values())
def test_damaged_values_raise_field_errors_only(text):
    try:
        field = field_from_json(text, "f.json")
    except FieldError as error:
        assert error.where.startswith("f.json")
        assert error.do
        assert str(error).isprintable()
    else:
        assert field_from_json(field_to_json(field), "again").mat.name == field.mat.name


@settings(max_examples=300, deadline=None)
@given(
    st.integers(0, len(TEXT)),
    st.integers(0, 40),
    st.binary(max_size=6) | st.sampled_from([b"NaN", b"1e999", b"-", b'"', b"}", b"\x00", b"\xff"]),
)
def test_damaged_bytes_raise_field_errors_only(start, length, junk):
    content = TEXT.encode()
    try:
        field_from_json(content[:start] + junk + content[start + length :], "f.json")
    except FieldError as error:
        assert error.where.startswith("f.json")
