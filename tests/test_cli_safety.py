"""What commands withhold, by a file of answers and by the records alike, and what they say on top."""

import json
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from commands import run
from model_folders import model_folder
from record_models import tape_of
from situations import SITUATIONS, TODAY, answers, check, given_today
from solid_limbs import cone_with, limb

from digitise.care.safety.answers_file import answers_to_toml
from digitise.care.safety.release import UNKNOWN
from digitise.care.safety.signs import STEP_WORDS
from digitise.record.check import read_model_files
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
WHY = "the vascular surgeon agreed"
_LATER = datetime.now().astimezone().date() - TODAY


def of_today(given):
    """Answers as many days before today as before the day of the situations."""
    asked = given.conditions_asked
    checks = tuple(replace(one, when=one.when + _LATER) for one in given.arterial)
    return replace(given, conditions_asked=asked and asked + _LATER, arterial=checks)


@pytest.fixture(scope="module")
def models(tmp_path_factory):
    """Folders of models: two visits of a left leg, an arm."""
    place = tmp_path_factory.mktemp("models")
    for name, peak, kind in (("leg", 14.0, "leg"), ("later", 6.0, "leg"), ("arm", 14.0, "arm")):
        one = limb(cone_with((peak, -np.pi / 2, 300.0)), kind=kind)
        model_folder(place / name, one, datetime(2026, 3, 2, 9, tzinfo=UTC))
    return place


@pytest.fixture
def places_unlooked_for(monkeypatch):
    """What is made of places is tested elsewhere."""
    monkeypatch.setattr("digitise.workflow.care.places_of", lambda *_: ((), None))
    monkeypatch.setattr("digitise.workflow.report.find_regions", lambda *_: ())


@pytest.fixture
def stored(models, tmp_path, monkeypatch):
    """Return a function that keeps answers with a client's visit of today; returns its number."""
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "records.sqlite"))

    def keep(given, kind="leg", client="K-017", name="", days_ago=0):
        model = read_model_files(models / (name or kind))
        when = datetime.now(UTC) - timedelta(days=days_ago, minutes=1)
        clearance = Clearance(
            given.clearance, "AB", None if given.clearance == "not-asked" else when, given.signs
        )
        with Store() as store:
            number = store.add_visit(
                NewVisit(client, kind, "left", when, tape_of(model), model=model, clearance=clearance)
            )
            store.save_safety(client, given)
        return number

    return keep


def result(answer):
    code, out, err = answer
    assert (code, err) == (0, "")
    return json.loads(out)


def words_of(pdf):
    read = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, text=True, check=True)
    return " ".join(read.stdout.split())


def calls(model, out, *more):
    """Every command that makes something to press on a limb."""
    return {
        "pad": ("pad", model, "--out", out / "pad", *more),
        "wrap": ("wrap", model, "--out", out / "wrap", *more),
        "garment": ("wrap", model, "--garment", "--out", out / "garment", *more),
        "report": ("report", model, "--places", "--garment", "--out", out / "report.pdf", *more),
    }


@pytest.mark.parametrize("name", given_today())
def test_situation(capsys, models, stored, places_unlooked_for, tmp_path, name):
    given, kind, step, withheld, codes, take_off = SITUATIONS[name]
    given = of_today(given)
    file = tmp_path / "answers.toml"
    file.write_text(answers_to_toml(given))
    stored(given, kind)
    for source in (("--answers", file), ("--client", "k-017")):
        for output, call in calls(models / kind, tmp_path, *source).items():
            if withheld:
                code, _, err = run(capsys, *call)
                said = " ".join(err.split())
                assert (code, STEP_WORDS[step] in said, "withheld" in said) == (3, True, True), output
                if take_off and step != "emergency":
                    assert "take it off now" in said
                assert not (tmp_path / output).exists()
                assert not (tmp_path / "report.pdf").exists()
            elif output == "wrap":
                found = result(run(capsys, *call, "--json"))
                assert len(found["safety"]) == len(codes)
    (one,) = result(run(capsys, "record", "safety", "K-017", "--json"))["limbs"]
    assert (one["step"], one["withheld"], one["take_off"]) == (step, withheld, take_off)
    assert len(one["lines"]) == len(codes) + (step != "none")


@needs_poppler
@pytest.mark.parametrize("name", ["calf pain", "old check", "allergic to foam"])
def test_what_is_made_says_first_what_is_open(capsys, models, stored, places_unlooked_for, tmp_path, name):
    given, _, _, withheld, _, _ = SITUATIONS[name]
    stored(of_today(given))
    despite = ("--despite", WHY) if withheld else ()
    lines = result(run(capsys, "record", "safety", "K-017", "--json"))["limbs"][0]["lines"]
    for output, call in calls(models / "leg", tmp_path, "--client", "K-017", *despite).items():
        found = result(run(capsys, *call, "--json"))
        assert found["safety"][-len(lines) :] == lines
        assert (WHY in found["safety"][0]) == withheld
        if output == "report":
            written = words_of(tmp_path / "report.pdf")
        else:
            written = " ".join((tmp_path / output / "caution.txt").read_text().split())
        assert all(line in written for line in found["safety"])


@needs_poppler
def test_reports_from_the_records_withhold_and_say_why(capsys, models, stored, places_unlooked_for, tmp_path):
    stored(of_today(answers(arterial=(check(value=0.5),))))
    stored(of_today(answers()), client="B-2", name="later")
    out = tmp_path / "r"
    words = ("report", "--wrap", "--out", out)
    found = result(run(capsys, *words, "--all", "--json"))
    assert found["reports"] == ["B-2-left-leg.pdf"]
    assert "index 0.5" in found["left_out"][0]["reason"]
    code, text, err = run(capsys, *words, "--client", "K-017")
    assert (code, "index 0.5" in text, "No report was written" in err) == (3, True, True)
    assert result(run(capsys, *words, "--client", "K-017", "--despite", WHY, "--json"))["reports"]
    assert f"Made despite what is open here (wrap). Reason given: {WHY}" in words_of(
        out / "K-017-left-leg.pdf"
    )
    # what was measured is reported, with what is open on top
    run(capsys, "report", "--out", out, "--client", "K-017")
    written = words_of(out / "K-017-left-leg.pdf")
    assert "Made despite" not in written
    assert written.index("index 0.5") < written.index("Volume")
    for more in (("--despite", WHY), ("--answers", "a.toml")):
        code, _, _ = run(capsys, *words, "--all", *more)
        assert code in (2, 3)


def test_answers_of_today_count_more_than_stored_ones(capsys, models, stored, places_unlooked_for, tmp_path):
    stored(of_today(answers("infection")))
    file = tmp_path / "answers.toml"
    file.write_text("[signs]\ninfection = false\n")
    call = ("wrap", models / "leg", "--out", tmp_path / "w", "--client", "K-017")
    assert run(capsys, *call)[0] == 3
    assert result(run(capsys, *call, "--answers", file, "--json"))["safety"] == []
    # what the file does not ask for stays as it is stored
    stored(of_today(answers("infection", "clot")), name="later")
    assert run(capsys, *call, "--answers", file)[0] == 3


def test_a_sign_of_an_earlier_visit_stands_on_top_of_later_ones(capsys, stored):
    stored(of_today(answers("lump")), days_ago=7)
    later = stored(replace(of_today(answers()), signs=(("clot", False),)), name="later")
    for words in (
        ("course", "--client", "K-017"),
        ("record", "show", later),
        ("record", "list", "--client", "K-017"),
        ("record", "safety", "K-017"),
    ):
        code, out, _ = run(capsys, *words)
        assert code == 0
        assert "Ask first" in " ".join(out.split()[:40]), words
    assert "A new lump" in result(run(capsys, "course", "--client", "K-017", "--json"))["safety"][1]


def test_without_answers_it_is_said_that_nobody_asked(capsys, models, tmp_path):
    call = ("wrap", models / "leg", "--out", tmp_path / "w")
    code, out, _ = run(capsys, *call)
    assert code == 0
    assert UNKNOWN in " ".join(out.split())


def test_a_code_that_the_records_do_not_hold_releases_nothing(capsys, models, stored, tmp_path):
    """A slip in typing the code of a client with a red flag must not make the wrap."""
    stored(answers())
    call = ("wrap", models / "leg", "--out", tmp_path / "w", "--client", "N-9")
    code, _, err = run(capsys, *call)
    assert (code, "not in the records" in err) == (3, True)
    assert not (tmp_path / "w").exists()
    # a report of figures alone may bear any code
    report = ("report", models / "leg", "--out", tmp_path / "r.pdf", "--client", "N-9")
    assert run(capsys, *report)[0] == 0
    assert run(capsys, *report, "--wrap")[0] == 3


def test_records_that_are_named_must_know_the_client(capsys, models, stored, tmp_path):
    stored(answers())
    call = ("wrap", models / "leg", "--out", tmp_path / "w")
    other = ("--records", tmp_path / "records.sqlite")
    assert run(capsys, *call, *other)[0] == 2
    code, _, err = run(capsys, *call, "--client", "N-9", *other)
    assert (code, "not in the records" in err) == (3, True)
    code, _, err = run(capsys, *call, "--client", "K-017", "--records", tmp_path / "none.sqlite")
    assert (code, "no records here" in err) == (3, True)
    (tmp_path / "records.sqlite").write_bytes(b"x" * 4096)
    code, _, err = run(capsys, *call, "--client", "K-017")
    assert (code, "damaged" in err) == (3, True)
    assert not (tmp_path / "w").exists()
