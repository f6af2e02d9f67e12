"""The commands of the records from outside: results, refusals, exit codes."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from lens_profiles import lens_text

from digitise.care.safety.signs import CONDITIONS, SIGNS
from digitise.cli import main
from digitise.tape.table import read_tape

from .conftest import SAMPLE, limb_model


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Return a function that runs a command on records of its own: exit code, stdout, stderr."""
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "mine/records.sqlite"))
    monkeypatch.chdir(tmp_path)

    def run(*words):
        with pytest.raises(SystemExit) as end:
            main(["record", *(str(word) for word in words)])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return end.value.code or 0, out, err

    return run


ADD = ("add", "--client", "k-017", "--limb", "leg", "--side", "left", "--tape", SAMPLE / "tape.csv")


def result(answer):
    code, out, _ = answer
    assert code == 0
    return json.loads(out)


def test_the_life_of_a_client(run, picture, tmp_path):
    model = tmp_path / "model"
    model.mkdir()
    files = limb_model(photos=(picture(1), picture(2)), tape=read_tape(SAMPLE / "tape.csv"))
    lens = tmp_path / "lens.json"
    lens.write_text(lens_text())
    (model / "model.json").write_text(files.json, encoding="utf-8", newline="")
    (model / "limb.npz").write_bytes(files.limb)
    visit = result(
        run(
            *ADD,
            *("--photo", picture(1), "--photo", picture(2), "--field", SAMPLE / "field.json"),
            *("--lens", lens),
            *("--model", model, "--when", "2026-03-02T09:15-03:30", "--posture", "sitting"),
            *("--measured-by", "ab", "--clearance", "yes", "--clearance-by", "dr-1"),
            *("--red-flag", "infection=no", "--red-flag", "hot-skin=yes", "--note", "first", "--json"),
        )
    )
    assert (visit["client"], visit["taken"], visit["posture"]) == ("K-017", "2026-03-02T12:45:00Z", "sitting")
    assert (len(visit["tape"]), len(visit["photos"]), visit["field"], visit["model"]) == (5, 2, True, True)
    assert visit["lens"]
    assert (visit["clearance"]["by"], visit["measured_by"]) == ("DR-1", "AB")
    assert visit["clearance"]["red_flags"] == {"infection": False, "hot-skin": True}
    assert result(run("show", visit["id"], "--json")) == visit
    (client,) = result(run("list", "--json"))["clients"]
    assert (client["code"], client["visits"], client["first"]) == ("K-017", 1, "2026-03-02T12:45:00+00:00")
    (line,) = result(run("list", "--client", "K-017", "--json"))["visits"]
    assert (line["id"], line["photos"], line["has_model"]) == (visit["id"], 2, True)
    (folder,) = result(run("export", "--client", "K-017", "--out", "out", "--json"))["folders"]
    assert json.loads((Path(folder) / "visit.json").read_text(encoding="utf-8")) == visit
    assert result(run("backup", "--out", "b.zip", "--json"))["bytes"] == Path("b.zip").stat().st_size
    gone = result(run("forget", "--client", "k-017", "--yes", "--json"))
    assert (gone["visits"], gone["photographs"], gone["left"]) == (1, 2, 0)
    assert result(run("list", "--json")) == {"clients": []}
    rows = result(run("restore", "b.zip", "--records", "other.sqlite", "--json"))["rows"]
    assert (rows["visits"], rows["photographs"]) == (1, 2)
    assert result(run("show", visit["id"], "--records", "other.sqlite", "--json")) == visit


def test_for_people(run, picture):
    code, out, err = run(*ADD, "--photo", picture(1), "--red-flag", "fever=yes", "--note", "[red]sore[/red]")
    assert (code, err) == (0, "")
    assert "Stored visit 1 of client K-017" in out
    assert "A doctor today. Do not wrap." in out
    assert "Nobody noted whether a licensed practitioner cleared compression" in out
    for words, pieces in (
        (("list",), ("K-017",)),
        (("list", "--client", "K-017"), ("left leg: !! A doctor today", "photographs")),
        (("show", 1), ("[red]sore[/red]", "319", "sha256", "A doctor today")),
        (("export", "--client", "K-017", "--out", "out"), ("out",)),
        (("backup", "--out", "b.zip"), ("b.zip", "health data")),
        (("restore", "b.zip", "--records", "new.sqlite"), ("visits 1", "forget them again")),
        (("forget", "--client", "K-017", "--yes"), ("K-017", "nothing is left", "Backups")),
    ):
        code, out, err = run(*words)
        assert (code, err) == (0, ""), words
        assert all(piece in out for piece in pieces), out


def test_cleared_without_warning_signs_needs_no_caution(run, tmp_path):
    cleared = (*ADD, "--clearance", "yes", "--clearance-by", "dr-1", "--red-flag", "others=no")
    _, out, _ = run(*cleared)
    assert "cleared" not in out
    assert "Warning" not in out
    assert "arteries" in out
    (tmp_path / "answers.toml").write_text(answers(TODAY))
    run("safety", "K-017", "--answers", "answers.toml")
    assert run(*cleared)[1] == "Stored visit 2 of client K-017.\n"


# ---- safety ------------------------------------------------------------------------------------------

TODAY = datetime.now(UTC).date()


NONE = "\n".join(f"{one.code} = false" for one in CONDITIONS)


def answers(day, conditions=NONE, value=1.02, more=""):
    """A file of what is asked once."""
    return (
        f"{more}\nconditions_asked = {day}\n[conditions]\n{conditions}\n"
        f'[[arterial]]\nkind = "ankle-brachial"\nvalue = {value}\nwhen = {day}\nside = "left"\nby = "ab"\n'
    )


def test_safety_is_kept_shown_added_to_and_replaced(run, tmp_path):
    run(*ADD, "--clearance", "yes", "--clearance-by", "dr-1", "--red-flag", "others=no")
    before = result(run("safety", "k-017", "--json"))
    assert (before["conditions"], before["conditions_asked"], before["arterial"]) == ({}, None, [])
    assert [(one["limb"], one["side"], one["withheld"]) for one in before["limbs"]] == [("leg", "left", True)]
    earlier = TODAY - timedelta(days=20)
    (tmp_path / "a.toml").write_text(answers(earlier))
    kept = result(run("safety", "K-017", "--answers", "a.toml", "--json"))
    nothing = {sign.code: False for sign in SIGNS}
    assert (kept["client"], kept["clearance"], kept["signs"]) == ("K-017", "yes", nothing)
    none = {one.code: False for one in CONDITIONS}
    assert (kept["conditions"], kept["conditions_asked"]) == (none, str(earlier))
    first = {"kind": "ankle-brachial", "value": 1.02, "when": str(earlier), "side": "left", "by": "AB"}
    assert kept["arterial"] == [first]
    assert (kept["limbs"][0]["step"], kept["limbs"][0]["withheld"], kept["limbs"][0]["lines"]) == (
        "none",
        False,
        [],
    )
    (tmp_path / "b.toml").write_text(answers(TODAY, "allergy = true", 0.75))
    both = result(run("safety", "K-017", "--answers", "b.toml", "--json"))
    assert both["conditions"] == {**none, "allergy": True}
    assert both["conditions_asked"] == str(earlier)
    assert [check["value"] for check in both["arterial"]] == [1.02, 0.75]
    assert (both["limbs"][0]["step"], both["limbs"][0]["withheld"]) == ("ask", True)
    code, out, _ = run("safety", "K-017")
    assert code == 0
    assert all(piece in out for piece in ("Allergy", "index 0.75", "index 1.02", "withheld", "! Ask first"))
    alone = result(run("safety", "K-017", "--answers", "b.toml", "--replace", "--json"))
    assert (alone["conditions"], [check["value"] for check in alone["arterial"]]) == (
        {"allergy": True},
        [0.75],
    )
    assert result(run("safety", "K-017", "--json")) == alone


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('clearance = "yes"', "kept with a visit"),
        ('clearance_by = "AB"', "kept with a visit"),
        ("surprise = 1", "surprise"),
    ],
)
def test_what_does_not_belong_there_is_refused_and_nothing_kept(run, tmp_path, more, words):
    run(*ADD)
    (tmp_path / "a.toml").write_text(answers(TODAY, more=more))
    code, _, err = run("safety", "K-017", "--answers", "a.toml")
    assert (code, words in err) == (3, True)
    assert result(run("safety", "K-017", "--json"))["arterial"] == []


def test_how_old_answers_may_be_is_set_for_the_clinic(run, tmp_path, monkeypatch):
    run(*ADD, "--clearance", "yes", "--clearance-by", "dr-1", "--red-flag", "others=no")
    (tmp_path / "a.toml").write_text(answers(TODAY - timedelta(days=30)))
    assert result(run("safety", "K-017", "--answers", "a.toml", "--json"))["limbs"][0]["lines"] == []
    monkeypatch.setenv("DIGITISE_SAFETY_DAYS", "29")
    (one,) = result(run("safety", "K-017", "--json"))["limbs"]
    assert one["withheld"]
    assert any("over 29 days ago" in line for line in one["lines"])
    assert any("Conditions were last asked for" in line for line in one["lines"])
    for wrong in ("0", "3651", "soon", "-1", "1.5", "9" * 99):
        monkeypatch.setenv("DIGITISE_SAFETY_DAYS", wrong)
        code, _, err = run("safety", "K-017")
        assert (code, "DIGITISE_SAFETY_DAYS" in err) == (3, True)


WRONG_USE = {
    "forget without yes": ("forget", "--client", "K-017"),
    "no client": ("add", "--limb", "leg", "--side", "left"),
    "other side": (*ADD, "--side", "middle"),
    "other answer": (*ADD, "--clearance", "maybe"),
    "visit is no number": ("show", "K-017"),
    "no command": (),
    "replace with nothing": ("safety", "K-017", "--replace"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use_is_2(run, tmp_path, name):
    code, _, _ = run(*WRONG_USE[name])
    assert code == 2
    assert not list(tmp_path.iterdir())


UNUSABLE = {
    "name": (("add", "--client", "Maria Huber", *ADD[3:]), "looks like a name"),
    "time": ((*ADD, "--when", "yesterday"), "This is no time"),
    "time out of range": ((*ADD, "--when", "0001-01-01T00:00"), "--when|before 2000"),
    "flag": ((*ADD, "--red-flag", "fever"), "answer is missing"),
    "flag of no name": ((*ADD, "--red-flag", "infektion=no"), "no warning sign"),
    "others there": ((*ADD, "--red-flag", "others=yes"), "name those that are"),
    "tape": (("add", "--client", "K-1", *ADD[3:-1], "none.csv"), "none.csv"),
    "photograph": ((*ADD, "--photo", "none.jpg"), "none.jpg"),
    "model": ((*ADD, "--model", "none"), "model.json"),
    "field": ((*ADD, "--field", "none.json"), "none.json"),
    "field is no text": ((*ADD, "--field", SAMPLE / "photo-1.jpg"), "no text"),
    "no records": (("list",), "no records here yet"),
    "no records to forget in": (("forget", "--client", "K-017", "--yes"), "no records here yet"),
    "no such client": (("safety", "K-017"), "no records here yet"),
    "answers that are not there": (("safety", "K-017", "--answers", "none.toml"), "none.toml"),
    "no backup": (("restore", "none.zip"), "none.zip"),
    "long name of records": (("list", "--records", "r" * 300), "name"),
    "long name of records to make": ((*ADD, "--records", "r" * 300), "name"),
    "address with an unknown option": (
        ("list", "--records", "postgresql://u@127.0.0.1:9/x?colour=red"),
        "not understood",
    ),
    "address with a port that is none": (("list", "--records", "postgresql://u@h:port/x"), "no address"),
    "address with a number that is none": (
        ("list", "--records", "postgresql://u@127.0.0.1:9/x?connect_timeout=soon"),
        "reached|not understood",
    ),
    "zero byte in the place": (("list", "--records", "a\0b"), "cannot be used|no address|no records"),
    "other server": (("list", "--records", "mysql://localhost/x"), "no address"),
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_unusable_input_is_3_and_says_what_to_do(run, name):
    words, piece = UNUSABLE[name]
    code, out, err = run(*words, "--json")
    assert code == 3
    assert any(part in err for part in piece.split("|"))
    assert json.loads(out)["error"]["do"]
