"""Tape tables as people and spreadsheets write them, and the refusals with their line."""

import pytest

from digitise.errors import TapeError
from digitise.tape.rows import TapeRow
from digitise.tape.table import read_tape, tape_from_csv

WANTED = [(100.0, 220.0), (140.5, 241.5)]


@pytest.mark.parametrize(
    "text",
    [
        "height_mm,girth_mm\n100,220\n140.5,241.5\n",
        "height_mm,girth_mm\n100,220\n140.5,241.5",
        "height_mm,girth_mm\r\n100,220\r\n140.5,241.5\r\n",
        "height_mm,girth_mm\r100,220\r140.5,241.5\r",
        "\ufeffheight_mm,girth_mm\n100,220\n140.5,241.5\n",
        "# visit 1\n\nheight_mm,girth_mm\n# ankle\n100,220\n\n140.5,241.5  # calf; sore\n\n",
        " height_mm , girth_mm \n 100 , 220 \n 140.5 , 241.5 \n",
        "HEIGHT_MM,Girth_mm\n100,220\n140.5,241.5\n",
        "girth_mm,height_mm\n220,100\n241.5,140.5\n",
        "height_cm,girth_cm\n10,22\n14.05,24.15\n",
        "height_mm,girth_cm\n100,22\n140.5,24.15\n",
        "height_mm;girth_mm\n100;220\n140,5;241,5\n",
        "height_mm;girth_mm\n100;220\n140.5;241.5\n",
        "height_mm\tgirth_mm\n100\t220\n140,5\t241,5\n",
        "height_mm,girth_mm\n140.5,241.5\n100,220\n",
        "height_mm,girth_mm,,\n100,220,,\n140.5,241.5,,\n,,,\n",
        'height_mm,girth_mm\n"100","220"\n"140.5","241.5"\n',
        "height_mm,girth_mm\n+100,220.\n140.50,241.500\n",
        "height_mm,girth_mm,point\n100,220,\n140.5,241.5\n",
    ],
)
def test_accepted_spellings(text):
    assert [(row.height_mm, row.girth_mm) for row in tape_from_csv(text)] == WANTED


def test_rows_know_their_line_and_letter():
    rows = tape_from_csv("# sorted by the reader\npoint,height_mm,girth_mm\nc,300,360\n\nB,100,220\n")
    assert rows == (TapeRow(100.0, 220.0, 5, "B"), TapeRow(300.0, 360.0, 3, "C"))


def test_centimetres_are_exact():
    # 32.3 * 10 is 322.99999999999994 in binary
    assert tape_from_csv("height_cm,girth_cm\n10,32.3")[0].girth_mm == 323.0


HEAD = "height_mm,girth_mm\n"


@pytest.mark.parametrize(
    ("text", "where", "reason"),
    [
        ("", "tape", "empty"),
        ("\n# nothing\n,,\n", "tape", "empty"),
        (HEAD, "tape", "has 0 rows; 1 or more"),
        ("100,220\n", "line 1", "column name '100' is unknown"),
        ("height,girth\n1,2", "line 1", "unknown"),
        ("height_in,girth_in\n1,2", "line 1", "unknown"),
        ("height_mm,girth_mm,note\n1,2,3", "line 1", "'note' is unknown"),
        ("height_mm\n100", "line 1", "no girth column"),
        ("girth_mm\n100", "line 1", "no height column"),
        ("height_mm,height_cm,girth_mm\n1,2,3", "line 1", "more than one height"),
        (HEAD + "abc,220", "line 2", "height 'abc' is not a plain number"),
        (HEAD + "100,220 mm", "line 2", "girth '220 mm' is not a plain number"),
        (HEAD + "100,nan", "line 2", "not a plain number"),
        (HEAD + "inf,220", "line 2", "not a plain number"),
        (HEAD + "1e2,220", "line 2", "not a plain number"),
        (HEAD + "1_00,220", "line 2", "not a plain number"),
        (HEAD + "١٠٠,220", "line 2", "not a plain number"),
        (HEAD + "10000000,220", "line 2", "not a plain number"),
        (HEAD + '"1,234",220', "line 2", "not a plain number"),
        ("height_mm;girth_mm\n1.234,5;220", "line 2", "not a plain number"),
        (HEAD + "100", "line 2", "girth is missing"),
        (HEAD + ",220", "line 2", "height is missing"),
        (HEAD + "0,220", "line 2", "height 0 is not above zero"),
        (HEAD + "-100,220", "line 2", "not above zero"),
        (HEAD + "100,-220", "line 2", "girth -220 is not above zero"),
        (HEAD + "100,0.0", "line 2", "not above zero"),
        (HEAD + "100,49.9", "line 2", "outside 50 to 1500 mm"),
        (HEAD + "100,1500.1", "line 2", "outside 50 to 1500 mm"),
        (HEAD + "100,31.9", "line 2", "31.9 fits as cm or as inches: check the unit"),
        (HEAD + "100,12.5", "line 2", "12.5 fits as cm or as inches: check"),
        ("height_cm,girth_cm\n10,319", "line 2", "319 fits as mm: check"),
        (HEAD + "140,5,241,5", "line 2", "decimal commas, write points"),
        ("height_mm;girth_mm\n1;2;3", "line 2", "3 entries for 2 columns"),
        (HEAD + '"100,220', "line 2", "quotation mark"),
        (HEAD + "100,220\n\n100,230", "line 4", "already on line 2"),
        (HEAD + "100,220\n100.0,230", "line 3", "already on line 2"),
        ("height_mm,girth_mm,point\n1,220,Q", "line 2", "'Q' is unknown"),
        ("height_mm,girth_mm,point\n10,220,B\n20,230,b", "line 3", "point B is already on line 2"),
        (HEAD + "\n".join(f"{i},220" for i in range(1, 1003)), "line 1002", "more than 1000 rows"),
    ],
)
def test_refused_with_line_and_reason(text, where, reason):
    with pytest.raises(TapeError, match=reason) as caught:
        tape_from_csv(text, "tape.csv")
    assert str(caught.value).startswith("tape.csv")
    assert where in str(caught.value)
    assert caught.value.do
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("girth", ["50", "1500"])
def test_limits_are_inside(girth):
    assert tape_from_csv(f"{HEAD}100,{girth}")[0].girth_mm == float(girth)


def test_caller_may_ask_for_more_rows():
    with pytest.raises(TapeError, match=r"t\.csv: The table has 1 row; 3 or more are needed"):
        tape_from_csv(HEAD + "100,220", "t.csv", at_least=3)


# ---- files ----------------------------------------------------------------------------------------


def test_samples(case):
    rows = read_tape(case.tape)
    assert len(rows) == 5
    assert [row.line for row in rows] == [2, 3, 4, 5, 6]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings_of_spreadsheets(tmp_path, encoding):
    path = tmp_path / "tape.csv"
    path.write_bytes("# Knöchel\r\nheight_mm\tgirth_mm\r\n100\t220\r\n".encode(encoding))
    assert read_tape(path) == (TapeRow(100.0, 220.0, 3),)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "empty"),
        (b"\xff\xd8\xff\xe0", "not plain text"),
        ("# Knöchel\nheight_mm,girth_mm\n100,220".encode("cp1252"), "UTF-8"),
        (b"\xff\xfeh", "not plain text"),
        (b"height_mm,girth_mm\n1\0,220", "line 2"),
        (b"#" * (2**20 + 1), "too large"),
    ],
)
def test_unreadable_files(tmp_path, data, reason):
    path = tmp_path / "tape.csv"
    path.write_bytes(data)
    with pytest.raises(TapeError, match=reason) as caught:
        read_tape(path)
    assert "tape.csv" in str(caught.value)


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "tape.csv", tmp_path, "tape\0.csv"):
        with pytest.raises(TapeError, match="cannot be opened"):
            read_tape(path)
