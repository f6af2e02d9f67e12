"""Girths on foot or hand in tape.csv: read beside the others, which stay as they were."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitise.errors import TapeError
from digitise.tape.places import check_places, known_places, place_limits, place_words, places_of
from digitise.tape.rows import PlaceGirth, TapeRow, TapeTable
from digitise.tape.table import read_tape_table, tape_from_csv, tape_table_from_csv

HEAD = "height_mm,girth_mm,place\n"


def test_rows_with_a_place_stand_apart():
    text = HEAD + "100,220\n,241.5,ball-of-foot\n60,330, Heel Instep\n140,230,\n"
    assert tape_table_from_csv(text) == TapeTable(
        (TapeRow(100.0, 220.0, 2), TapeRow(140.0, 230.0, 5)),
        (PlaceGirth("ball-of-foot", 241.5, 3), PlaceGirth("heel-instep", 330.0, 4, 60.0)),
    )


def test_centimetres_and_decimal_commas():
    found = tape_table_from_csv("place;height_cm;girth_cm\npalm;;19,5\n;12;20,5\n")
    assert found == TapeTable((TapeRow(120.0, 205.0, 3),), (PlaceGirth("palm", 195.0, 2),))


def test_a_visit_may_hold_places_alone(tmp_path):
    path = tmp_path / "tape.csv"
    path.write_text(HEAD + ",240,ball-of-foot\n")
    assert read_tape_table(path, at_least=0) == TapeTable((), (PlaceGirth("ball-of-foot", 240.0, 2),))
    with pytest.raises(TapeError, match="has 0 rows along the limb; 1 or more"):
        read_tape_table(path)


@pytest.mark.parametrize(
    ("text", "where", "reason"),
    [
        (HEAD + "100,220\n,240,sole", "line 3", "place 'sole' is unknown"),
        (HEAD + ",240,palm\n100,220\n,241,Palm", "line 4", "place palm is already on line 2"),
        (HEAD + "100,220\n,240,", "line 3", "height is missing.*or name the place"),
        (HEAD + ",,palm", "line 2", "girth is missing"),
        (HEAD + "x,240,palm", "line 2", "height 'x' is not a plain number"),
        (HEAD + "-1,240,palm", "line 2", "not above zero"),
        (
            HEAD + ",24,palm",
            "line 2",
            "24 mm of palm is outside.*24 fits as cm: check the unit",
        ),
        (HEAD + ",240,figure-of-eight", "line 2", "outside 250 to 1200 mm"),
        ("height_mm,girth_mm,place,place\n1,220,,", "line 1", "more than one place column"),
        ("height_mm,girth_mm,point,place\n,240,B,palm", "line 2", "a point and a place"),
        (HEAD, "tape", "has 0 rows; 1 or more"),
    ],
)
def test_refused_with_line_and_reason(text, where, reason):
    with pytest.raises(TapeError, match=reason) as caught:
        tape_table_from_csv(text, "tape.csv", at_least=0)
    assert where in str(caught.value)
    assert caught.value.do


@pytest.mark.parametrize(
    ("limb", "rows", "reason"),
    [
        ("leg", [PlaceGirth("palm", 200.0, 3)], "line 3.*palm is no place on a foot, and the limb is a leg"),
        ("arm", [PlaceGirth("heel-instep", 330.0)], "no place on a hand"),
        ("leg", [PlaceGirth("figure-of-eight", 260.0)], "outside 300 to 1200"),
        ("arm", [PlaceGirth("figure-of-eight", 1100.0)], "outside 250 to 1000"),
        ("arm", [PlaceGirth("palm", 200.0), PlaceGirth("palm", 201.0)], "given twice"),
    ],
)
def test_refused_on_the_limb(limb, rows, reason):
    with pytest.raises(TapeError, match=reason):
        check_places(rows, limb)


@pytest.mark.parametrize("limb", ["leg", "arm"])
def test_every_place_of_the_table_can_be_read(limb):
    middle = {place.name: (place.low + place.high) / 2 for place in places_of(limb)}
    lines = "".join(f",{girth:g},{name}\n" for name, girth in middle.items())
    found = tape_table_from_csv(HEAD + lines, at_least=0).places
    check_places(found, limb)
    assert {row.place: row.girth_mm for row in found} == middle
    assert all(place_limits(name)[0] < girth < place_limits(name)[1] for name, girth in middle.items())


def test_places_in_words():
    assert place_words("ball-of-foot") == "ball of the foot"
    assert place_words("figure-of-eight") == "figure of eight"  # of either limb
    assert place_words("tip-of-nose") == "tip of nose"


# ---- whatever is in the file --------------------------------------------------------------------------

_heights = st.lists(st.integers(1, 2000), min_size=1, max_size=12, unique=True)
_girth = st.integers(50, 1500)


@given(st.data(), _heights)
def test_without_a_place_all_is_read_as_before(data, heights):
    rows = [(height, data.draw(_girth)) for height in heights]
    plain = "".join(f"{height},{girth}\n" for height, girth in rows)
    before = tape_from_csv("height_mm,girth_mm\n" + plain)
    assert [(row.height_mm, row.girth_mm) for row in before] == sorted(rows)
    assert tape_table_from_csv(HEAD + plain.replace("\n", ",\n")) == TapeTable(before)
    some = data.draw(st.lists(st.sampled_from(known_places()), unique=True))
    placed = [PlaceGirth(name, sum(place_limits(name)) / 2, len(rows) + 2 + n) for n, name in enumerate(some)]
    lines = "".join(f",{row.girth_mm:g},{row.place}\n" for row in placed)
    assert tape_table_from_csv(HEAD + plain + lines) == TapeTable(before, tuple(placed))


_GOOD = HEAD + "100,220,\n140,230,\n,241.5,ball-of-foot\n60,330,heel-instep\n,500,figure-of-eight\n"


@given(st.integers(0, len(_GOOD)), st.integers(0, 12), st.text(max_size=12))
def test_damaged_text_is_read_or_refused(at, gone, instead):
    _read_or_refuse(_GOOD[:at] + instead + _GOOD[at + gone :])


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["", "0", "-3", "100", "1e3", "nan", "1,5"]),
            st.sampled_from(["", "24", "240", "9999999", "x"]),
            st.sampled_from(["", "palm", "PALM ", "ball of foot", "sole", "'"]),
        ),
        max_size=6,
    )
)
def test_odd_cells_are_read_or_refused(cells):
    _read_or_refuse(HEAD + "".join(",".join(row) + "\n" for row in cells))


def _read_or_refuse(text):
    try:
        found = tape_table_from_csv(text, at_least=0)
    except TapeError as error:
        assert error.do
        return
    assert all(50 <= row.girth_mm <= 1500 and row.height_mm > 0 for row in found.rows)
    assert all(
        place_limits(row.place)[0] <= row.girth_mm <= place_limits(row.place)[1] for row in found.places
    )
    names = [row.place for row in found.places]
    assert len(set(names)) == len(names)
