"""The options for a limb that lies: what excludes and what needs what, and a record of how it lay."""

import json

import pytest
from commands import run
from conftest import ROOT

from digitise.output.model.file import read_model

ARM = ROOT / "sample-images/arm-week0"
FILES = (
    "model",
    *(str(ARM / f"photo-{n}.jpg") for n in (1, 2, 3)),
    *("--field", str(ARM / "field.json"), "--tape", str(ARM / "tape.csv"), "--side", "left"),
)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--limb", "arm", "--landmark", "1,20,30"), "--lying"),
        (("--limb", "arm", "--lying", "palm-down"), "such as 1,2210,1480"),
        (("--limb", "arm", "--lying", "palm-down", "--landmark", "wrist"), "such as 1,2210,1480"),
        (
            ("--limb", "arm", "--lying", "palm-down", "--landmark", "1,20,30", "--axis", "0,0,0:0,1,0"),
            "not both",
        ),
        (("--limb", "arm", "--lying", "sideways"), "palm-down"),
        (("--limb", "arm", "--counted-from", "elbow-tip"), "--lying"),
        (("--limb", "arm", "--lying", "palm-down", "--counted-from", "knuckle"), "wrist-crease"),
    ],
)
def test_options_that_do_not_go_together_are_wrong_use(options, said, tmp_path, capsys):
    code, _, error = run(capsys, *FILES, *options, "--out", str(tmp_path / "arm"))
    assert code == 2
    assert said in " ".join(error.replace("│", " ").split())


def test_a_posture_of_another_limb_is_refused(tmp_path, capsys):
    options = ("--limb", "leg", "--lying", "palm-down", "--landmark", "2,880,790")
    code, _, error = run(capsys, *FILES, *options, "--out", str(tmp_path / "leg"))
    assert code == 3
    assert "No leg lies palm-down" in error


def test_a_place_of_another_limb_is_refused(tmp_path, capsys):
    options = (
        "--limb",
        "arm",
        "--lying",
        "palm-down",
        "--landmark",
        "2,880,790",
        "--counted-from",
        "kneecap",
    )
    code, _, error = run(capsys, *FILES, *options, "--out", str(tmp_path / "arm"))
    assert code == 3
    assert "cannot count from kneecap" in error


@pytest.mark.slow
def test_how_the_limb_lay_is_kept(tmp_path, capsys):
    options = ("--limb", "arm", "--lying", "palm-down", "--landmark", "2,887.6,797.6", "--json")
    options += ("--counted-from", "wrist-crease")
    code, out, error = run(capsys, *FILES, *options, "--out", str(tmp_path / "arm"))
    assert code == 0, error
    said = json.loads(out)
    place = {"photo": 2, "x_px": 887.6, "y_px": 797.6, "place": "wrist-crease"}
    assert (said["lying"], said["landmark"]) == ("palm-down", place)
    assert read_model(tmp_path / "arm").limb.counted_from == "wrist-crease"


CHECK = ("check", *FILES[1:4], "--field", str(ARM / "field.json"))


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (("--lying", "sideways"), 2, "palm-down"),
        (("--limb", "leg", "--lying", "palm-down"), 3, "No leg lies palm-down"),
    ],
)
def test_the_check_takes_the_same_words(options, code, said, capsys):
    got, _, error = run(capsys, *CHECK, *options)
    assert got == code
    assert said in " ".join(error.replace("│", " ").split())


@pytest.mark.slow
def test_the_check_of_an_arm_that_lies(capsys):
    code, out, error = run(capsys, *CHECK, "--lying", "palm-down", "--json")
    assert code == 0, error
    assert json.loads(out)["usable"]
