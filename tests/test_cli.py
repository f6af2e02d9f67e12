"""The command line from outside: exit codes, one JSON object, errors for people, no traceback."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from commands import run

from digitise import __version__

SAMPLES = Path(__file__).parents[1] / "sample-images"
FIELD = SAMPLES / "pair-calf-week0/field.json"
PHOTO = SAMPLES / "pair-calf-week0/photo-1.jpg"


def test_version(capsys):
    assert run(capsys, "--version") == (0, f"digitise {__version__}\n", "")


def test_help_lists_the_commands(capsys):
    code, out, _ = run(capsys, "--help")
    assert code == 0
    assert "sheets" in out


def test_module_runs_too():
    done = subprocess.run(
        [sys.executable, "-m", "digitise", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout == f"digitise {__version__}\n"


def test_sheets_for_people(capsys, tmp_path):
    code, out, err = run(capsys, "sheets", "--out", tmp_path / "s")
    assert (code, err) == (0, "")
    assert "sheets-a4.pdf" in out
    assert "100 mm" in out


def test_sheets_as_json(capsys, tmp_path):
    code, out, err = run(capsys, "sheets", "--out", tmp_path / "s", "--print-scale", "99/100", "--json")
    assert (code, err) == (0, "")
    result = json.loads(out)
    assert result["print_scale"] == 0.99
    assert Path(result["field"]).is_file()
    assert all(Path(pdf).is_file() for pdf in result["pdfs"])


def test_check_tells_that_photographs_can_be_used(capsys, case):
    code, out, err = run(capsys, "check", *case.photos, "--field", case.field, "--json")
    assert (code, err) == (0, "")
    result = json.loads(out)
    assert result["usable"] is True
    assert [photo["file"] for photo in result["photos"]] == ["photo-1.jpg", "photo-2.jpg"]
    assert all(photo["markers"]["mat"] >= 4 for photo in result["photos"])


def test_check_tells_between_which_heights_the_limb_is_seen(capsys, case):
    _, out, _ = run(capsys, "check", *case.photos, "--field", case.field, "--side", "left", "--json")
    findings = {finding["code"]: finding for finding in json.loads(out)["findings"]}
    assert "can be measured from" in findings["span"]["text"]
    # without a girth the scale of the print may outweigh all that more photographs tell
    more = findings.get("after-turn")
    assert more is None or "before any girth" in more["text"]


def test_check_for_people_draws_a_table(capsys):
    code, out, _ = run(capsys, "check", PHOTO, "--field", FIELD)
    assert code == 0
    assert "photo-1.jpg" in out
    assert "One photograph" in out  # the warning that a second view is missing


def test_check_refuses_photographs_whose_cameras_disagree(capsys, tmp_path):
    field = json.loads(FIELD.read_text())
    for number, marker in enumerate(field["boards"][0]["markers"]):
        # sheets of another size and order than those in the picture
        left, top = -190.0 + 20.0 * (number % 7), 240.0 - 200.0 * (number // 7)
        marker["corners"] = [[left, top], [left + 10, top], [left + 10, top - 10], [left, top - 10]]
    other = tmp_path / "field.json"
    other.write_text(json.dumps(field))
    code, out, err = run(capsys, "check", PHOTO, "--field", other, "--json")
    assert code == 3
    assert json.loads(out)["error"]["do"]
    assert "cannot be used" in err or "photo-1.jpg" in err


WRONG_USE = {
    "no command": [],
    "unknown command": ["measure"],
    "unknown option": ["sheets", "--colour", "red"],
    "missing option": ["sheets"],
    "unknown paper": ["sheets", "--out", "x", "--paper", "a5"],
    "no photographs": ["lens", "--field", str(FIELD), "--out", "x"],
    "axis of one point": [
        *("model", str(PHOTO), str(PHOTO), "--field", str(FIELD), "--tape", str(FIELD.with_name("tape.csv"))),
        *("--limb", "arm", "--side", "left", "--out", "x", "--axis", "0,0,9:0,0,9"),
    ],
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use_is_2(capsys, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    code, _, _ = run(capsys, *WRONG_USE[name])
    assert code == 2
    assert not list(tmp_path.iterdir())


def test_wrong_use_with_json_still_is_one_object(capsys):
    code, out, err = run(capsys, "sheets", "--json")
    assert code == 2
    assert json.loads(out)["error"]["do"]
    assert "--out" in err


UNUSABLE = {
    "print scale": (["sheets", "--out", "s", "--print-scale", "985/100"], "985/100"),
    "folder": (["sheets", "--out", "taken"], "taken"),
    "field missing": (["lens", str(PHOTO), "--field", "none.json", "--out", "x"], "none.json"),
    "field damaged": (["lens", str(PHOTO), "--field", "taken", "--out", "x"], "taken"),
    "photograph missing": (["lens", "none.jpg", "--field", str(FIELD), "--out", "x"], "none.jpg"),
    "photograph damaged": (["lens", "taken", "--field", str(FIELD), "--out", "x"], "taken"),
    "same photograph twice": (["check", str(PHOTO), str(PHOTO), "--field", str(FIELD)], "photo-1.jpg"),
    "lens missing": (["check", str(PHOTO), "--field", str(FIELD), "--lens", "none.json"], "none.json"),
    "too few photographs": (["lens", str(PHOTO), "--field", str(FIELD), "--out", "x"], "8"),
}


@pytest.mark.parametrize("as_json", [False, True])
@pytest.mark.parametrize("name", UNUSABLE)
def test_unusable_input_is_3_and_says_what_to_do(capsys, tmp_path, monkeypatch, name, as_json):
    words, piece = UNUSABLE[name]
    monkeypatch.chdir(tmp_path)
    Path("taken").write_text("neither a folder nor JSON nor a picture")
    code, out, err = run(capsys, *words, *(["--json"] if as_json else []))
    assert code == 3
    assert piece in err
    assert [item.name for item in tmp_path.iterdir()] == ["taken"]
    if as_json:
        problem = json.loads(out)["error"]
        assert set(problem) == {"where", "what", "do"}
        assert problem["what"]
        assert problem["do"]
    else:
        assert out == ""


def test_file_names_of_any_bytes_are_printed(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "digitise", "lens", b"\xff[red].jpg", "--field", str(FIELD), "--out", "x"],
        cwd=tmp_path,
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
        check=False,
    )
    assert done.returncode == 3
    assert b"Traceback" not in done.stderr
    assert b"[red].jpg" in done.stderr


def interrupted(*_):
    raise KeyboardInterrupt


MARKERS = "digitise.capture.calibration.markers.find_markers"


@pytest.mark.parametrize("moment", [MARKERS, "digitise.cli.app.run"])
def test_ctrl_c_ends_quietly(capsys, tmp_path, monkeypatch, moment):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(moment, interrupted)
    code, out, _ = run(capsys, "lens", PHOTO, "--field", FIELD, "--out", "x")
    assert code in (1, 130)  # some versions of the command-line library say 1
    assert out == ""
    assert not list(tmp_path.iterdir())
