"""The care commands from outside: results, refusals, exit codes; and the sample weeks from photographs."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from commands import run
from conftest import CASES, Case
from model_folders import model_folder
from output_support import changed, measure
from PIL import Image
from record_models import tape_of
from solid_limbs import cone_with, limb

from digitise.cli import main
from digitise.output.cautions import caution
from digitise.output.figures.render import Window, camera_view
from digitise.output.model.file import read_model
from digitise.output.model.form import camera_from_form
from digitise.record.check import read_model_files
from digitise.record.store import Store
from digitise.record.values import NewVisit
from digitise.shape.mesh import limb_mesh

FIRST = limb(cone_with((14.0, -np.pi / 2, 300.0)))
SECOND = limb(cone_with((6.0, -np.pi / 2, 300.0)))
WHEN = ("--when", "2026-03-02T09:00+00:00", "--when", "2026-03-09T09:00+00:00")


def result(answer):
    """The one JSON object of a command that went well."""
    code, out, err = answer
    assert (code, err) == (0, "")
    assert out.count("\n") == 1
    return json.loads(out)


@pytest.fixture(scope="module")
def models(tmp_path_factory):
    """Folders of models: two visits of a left leg, the right leg, an arm, a short one."""
    place = tmp_path_factory.mktemp("models")
    limbs = {
        "first": FIRST,
        "second": SECOND,
        "right": limb(cone_with(), side="right"),
        "arm": limb(cone_with(), kind="arm"),
        "low": limb(cone_with(), low=60.0, high=130.0),
    }
    for name, one in limbs.items():
        model_folder(place / name, one, datetime(2026, 3, 2, 9, tzinfo=UTC))
    shutil.copytree(place / "first", place / "copy")
    shutil.copytree(place / "first", place / "future")
    later = (place / "future/model.json").read_text().replace("limb-model/1", "limb-model/2")
    (place / "future/model.json").write_text(later)
    (place / "empty").mkdir()
    return place


# ---- each command once ---------------------------------------------------------------------------


def test_compare(capsys, models, tmp_path):
    found = result(
        run(capsys, "compare", models / "first", models / "second", "--out", tmp_path / "c", "--json")
    )
    assert found == json.loads((tmp_path / "c/change.json").read_text())
    assert found["whole"]["verdict"] == "smaller"
    code, out, _ = run(capsys, "compare", models / "first", models / "second", "--out", tmp_path / "c")
    assert code == 0
    assert "the left leg lost" in out
    assert "not a diagnosis" in out
    for number, overlay in enumerate(found["overlays"], start=1):
        assert overlay == {
            "file": f"overlay-camera-{number}.png",
            "model": "first",
            "photo": f"photo-{number}.jpg",
        }
        with Image.open(tmp_path / "c" / overlay["file"]) as picture:
            # upright, and its words can be read at the width of a phone
            assert picture.height > picture.width > 700
    assert len(found["overlays"]) == 2


@pytest.mark.parametrize(
    ("work", "words"),
    [
        ("digitise.care.change.compare.compare", ("compare", "first", "second")),
        ("digitise.care.padding.regions.find_regions", ("pad", "first")),
        ("digitise.workflow.measure.measure_limb", ("model", "a.jpg", "b.jpg")),
    ],
    ids=["compare", "pad", "model"],
)
def test_a_taken_folder_is_refused_before_the_work(capsys, models, tmp_path, monkeypatch, work, words):
    (tmp_path / "notes.txt").write_text("mine")

    def never(*_args, **_options):
        raise AssertionError

    monkeypatch.setattr(work, never)
    monkeypatch.chdir(models)
    if words[0] == "model":
        case = Case("pair-calf-week0", CASES["pair-calf-week0"] / "pair-calf-week0")
        words += ("--field", case.field, "--tape", case.tape, "--limb", "leg", "--side", "left")
    code, out, err = run(capsys, *words, "--out", tmp_path)
    assert (code, out) == (3, "")
    assert "notes.txt" in err
    assert [item.name for item in tmp_path.iterdir()] == ["notes.txt"]


def test_compare_models_of_an_earlier_version(capsys, models, tmp_path):
    for name in ("first", "second"):
        shutil.copytree(models / name, tmp_path / name)
        facts = json.loads((tmp_path / name / "model.json").read_text())
        for photo in facts["photos"]:
            del photo["camera"], photo["drawn"]
        del facts["seal"]
        (tmp_path / name / "model.json").write_text(json.dumps(facts))
    words = ("compare", tmp_path / "first", tmp_path / "second", "--out", tmp_path / "c")
    code, out, err = run(capsys, *words)
    assert (code, err) == (0, "")
    sentence = (
        "Pictures from where the photographs of the models were taken are left out, as an earlier version "
        "did not keep the cameras: measure again to have them."
    )
    assert sentence in " ".join(out.split())
    assert not list((tmp_path / "c").glob("overlay*"))


def test_compare_the_two_sides(capsys, models, tmp_path):
    words = ("compare", models / "first", models / "right", "--mirror", "--out", tmp_path / "c", "--json")
    found = result(run(capsys, *words))
    assert found["excess"]["excess_ml"]["value"] > 0
    assert found["excess"]["percent"]["value"] > 0
    hidden = result(run(capsys, *words, "--bilateral"))
    assert hidden["excess"]["percent"] is None


def test_pad(capsys, models, tmp_path):
    words = ("pad", models / "first", "--out", tmp_path / "p", "--client", "k-017", "--paper", "letter")
    found = result(run(capsys, *words, "--json"))
    assert found["places"][0]["kind"] == "bulge"
    assert "K-017" in (tmp_path / "p/foam-1.svg").read_text()
    code, out, _ = run(capsys, *words, "--place", 1)
    assert code == 0
    assert "Foam 1" in out
    assert [item.name for item in tmp_path.glob("p/*.svg")] == ["foam-1.svg"]


@pytest.mark.parametrize(("other", "words"), [("right", "the other leg"), ("second", "the other visit")])
def test_pad_against(capsys, models, tmp_path, other, words):
    out = tmp_path / "p"
    found = result(run(capsys, "pad", models / "first", "--against", models / other, "--out", out, "--json"))
    assert found["against"]["words"] == words
    listed = [place for place in found["places"] if words in place["why"]]
    assert listed
    assert "back" in listed[0]["peak_place"]
    assert abs(listed[0]["height_mm"] - 300) < 20


def test_wrap_and_its_plan_round_trip(capsys, models, tmp_path):
    first = result(run(capsys, "wrap", models / "first", "--out", tmp_path / "w", "--json"))
    assert first["suggested"] is True
    plan = tmp_path / "w/plan.toml"
    again = result(run(capsys, "wrap", models / "first", "--plan", plan, "--out", tmp_path / "v", "--json"))
    assert again["suggested"] is False
    assert (again["plan"], again["needs"]) == (first["plan"], first["needs"])
    code, out, _ = run(capsys, "wrap", models / "first", "--out", tmp_path / "w")
    assert code == 0
    assert "Do not read them as a prescription" in " ".join(out.split())


def test_garment_needs_a_limb_that_stands_still(capsys, models, tmp_path):
    words = ("wrap", models / "second", "--out", tmp_path / "w", "--garment", "--point", "B=150", "--json")
    found = result(run(capsys, *words))
    assert found["garment"]["points"][0]["letter"] == "B"
    made = tmp_path / "c"
    result(run(capsys, "course", models / "first", models / "second", *WHEN, "--out", made, "--json"))
    facts = json.loads((made / "course.json").read_text())
    course = tmp_path / "course.json"

    def says(verdict, **fields):
        plateau = {**facts["plateau"], "verdict": verdict}
        course.write_text(json.dumps({**facts, **fields, "plateau": plateau}))
        return run(capsys, *words, "--course", course)

    code, _, err = says("still shrinking")
    assert (code, "still changes" in err) == (3, True)
    notes = result(run(capsys, *words, "--course", course, "--anyway"))["garment"]["notes"]
    assert "too large" in " ".join(notes)
    notes = result(says("levelled off (rule of this project)"))["garment"]["notes"]
    assert not any("not known whether" in note for note in notes)
    # the limb that levelled off is that of the last visit: girths of an earlier one would be too large
    code, _, err = run(capsys, words[0], models / "first", *words[2:], "--course", course)
    assert (code, "ends with another measurement" in err) == (3, True)
    code, _, err = says("growing", side="right")
    assert (code, "of a right leg" in err) == (3, True)
    code, _, err = says("growing", format="limb-course/2")
    assert (code, "no course of this version" in err) == (3, True)


def test_course_of_folders(capsys, models, tmp_path):
    out = tmp_path / "c"
    words = ("course", models / "first", models / "second", *WHEN)
    found = result(run(capsys, *words, "--out", out, "--json"))
    assert sorted(item.name for item in out.iterdir()) == [
        "caution.txt",
        "course.csv",
        "course.json",
        "course.png",
    ]
    assert found == json.loads((out / "course.json").read_text())
    assert found["plateau"]["verdict"] == "not enough visits"
    assert found["caution"] == list(caution("leg"))
    with_other = result(run(capsys, *words, "--reference", models / "right", "--reference", "none", "--json"))
    assert with_other["visits"][0]["excess_percent"] is not None
    assert with_other["visits"][1]["excess_ml"] is None
    assert (
        result(
            run(
                capsys,
                *words,
                "--reference",
                models / "right",
                "--reference",
                "none",
                "--bilateral",
                "--json",
            )
        )["visits"][0]["excess_percent"]
        is None
    )
    code, text, _ = run(capsys, *words, "--sem", 0.5)
    assert code == 0
    assert "repeat error of 0.5 %" in " ".join(text.split())


def test_study_of_repeats(capsys, models, tmp_path):
    when = ("--when", "2026-03-02T09:00+00:00", "--when", "2026-03-02T09:20+00:00")
    words = ("course", models / "first", models / "second", *when, "--repeat", "--out", tmp_path / "r")
    found = result(run(capsys, *words, "--json"))
    assert found["mdc95_percent"] == pytest.approx(
        1.96 * np.sqrt(2) * found["sem_percent"]["value"], abs=2e-3
    )
    assert (tmp_path / "r/repeat.csv").is_file()
    assert "--sem" in run(capsys, *words)[1]


def test_course_of_a_client(capsys, models, tmp_path, monkeypatch):
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "records.sqlite"))
    with Store() as store:
        for name, side, day in (("first", "left", 2), ("second", "left", 9), ("right", "right", 2)):
            time = datetime(2026, 3, day, 9, 15, tzinfo=UTC)
            model = read_model_files(models / name)
            store.add_visit(NewVisit("K-017", "leg", side, time, tape_of(model), model=model))
    found = result(run(capsys, "course", "--client", "k-017", "--side", "left", "--json"))
    assert len(found["visits"]) == 2
    assert found["visits"][0]["excess_ml"]["value"] > 0
    assert found["visits"][1]["excess_ml"] is None
    code, _, err = run(capsys, "course", "--client", "k-017")
    assert (code, "--side" in err) == (3, True)


# ---- what cannot be used -------------------------------------------------------------------------

WRONG_USE = {
    "bilateral without mirror": ("compare", "first", "second", "--out", "x", "--bilateral"),
    "one folder": ("compare", "first", "--out", "x"),
    "no out": ("pad", "first"),
    "paper": ("pad", "first", "--out", "x", "--paper", "a5"),
    "point without garment": ("wrap", "first", "--out", "x", "--point", "B=150"),
    "point": ("wrap", "first", "--out", "x", "--garment", "--point", "B"),
    "nothing to follow": ("course",),
    "folders and client": ("course", "first", "--client", "K-017"),
    "when with client": ("course", "--client", "K-017", "--when", "2026-03-02"),
    "too few times": ("course", "first", "second", "--when", "2026-03-02"),
    "no time": ("course", "first", "--when", "monday"),
    "a time to come": ("report", "first", "--when", "2126-03-02", "--out", "x.pdf"),
    "a fraction for a percentage": ("course", "first", "--sem", "0.014"),
    "side of folders": ("course", "first", "--side", "left"),
    "repeat without times": ("course", "first", "second", "--repeat"),
}
UNUSABLE = {
    "no such folder": (("compare", "first", "nowhere", "--out", "x"), "nowhere"),
    "not a model": (("compare", "empty", "second", "--out", "x"), "no model.json"),
    "other format": (("compare", "first", "future", "--out", "x"), "limb-model/2"),
    "same folder": (("compare", "first", "first", "--out", "x"), "same model"),
    "same model copied": (("compare", "first", "copy", "--out", "x"), "same model"),
    "other side": (("compare", "first", "right", "--out", "x"), "mirrored comparison"),
    "mirrored same side": (("compare", "first", "second", "--mirror", "--out", "x"), "other side"),
    "other limb": (("compare", "first", "arm", "--out", "x"), "left arm"),
    "too little overlap": (("compare", "first", "low", "--out", "x"), "share less than 50 mm"),
    "compare onto a model": (("compare", "first", "second", "--out", "second"), "other files"),
    "pad onto a model": (("pad", "first", "--out", "first"), "other files"),
    "pad against itself": (("pad", "first", "--against", "copy", "--out", "x"), "same model"),
    "no such place": (("pad", "first", "--out", "x", "--place", "77"), "no place 77"),
    "margin": (("pad", "first", "--out", "x", "--margin", "900"), "margin"),
    "a name": (("pad", "first", "--out", "x", "--client", "Maria Huber"), "looks like a name"),
    "no plan": (("wrap", "first", "--plan", "none.toml", "--out", "x"), "none.toml"),
    "damaged plan": (("wrap", "first", "--plan", "empty.toml", "--out", "x"), "empty.toml"),
    "girth point": (("wrap", "first", "--out", "x", "--garment", "--point", "Q=150"), "'Q'"),
    "no course": (("wrap", "first", "--out", "x", "--garment", "--course", "none.json"), "none.json"),
    "course of two limbs": (("course", "first", "right"), "right leg"),
    "course of one model twice": (("course", "first", "copy"), "given twice"),
    "reference of the same side": (("course", "first", "--reference", "second"), "not the other side"),
    "course without overlap": (("course", "first", "low"), "share less than 50 mm"),
    "no repeats": (("course", "first", "second", *WHEN, "--repeat"), "twice on one day"),
    "no records": (("course", "--client", "K-017"), "no records here yet"),
}


@pytest.fixture
def place(models, tmp_path, monkeypatch):
    """A working folder with the models in it; what it holds must not change."""
    copy = tmp_path / "work"
    shutil.copytree(models, copy)
    (copy / "empty.toml").write_text("")
    monkeypatch.chdir(copy)
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "none.sqlite"))
    return copy


def content(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use_is_2(capsys, place, name):
    before = content(place)
    code, out, _ = run(capsys, *WRONG_USE[name], "--json")
    assert code == 2
    assert json.loads(out)["error"]["do"]
    assert content(place) == before


@pytest.mark.parametrize("name", UNUSABLE)
def test_unusable_input_is_3_and_changes_nothing(capsys, place, name):
    words, piece = UNUSABLE[name]
    before = content(place)
    code, out, err = run(capsys, *words, "--json")
    assert code == 3
    assert piece in " ".join(err.split())
    problem = json.loads(out)["error"]
    assert problem["what"]
    assert problem["do"]
    assert content(place) == before
    assert not Path("x").exists()


# ---- the demo ------------------------------------------------------------------------------------


def test_demo_does_the_whole_path(capsys, tmp_path, monkeypatch):
    limbs = iter((FIRST, SECOND))
    base = measure(from_mm=100.0, to_mm=400.0)

    def measured(*_words, **_options):
        one = next(limbs)
        return changed(base, **{name: getattr(one, name) for name in one.__dataclass_fields__})

    monkeypatch.setattr("digitise.workflow.measure.measure_limb", measured)
    found = result(run(capsys, "demo", "--out", tmp_path / "demo", "--json"))
    names = ["change", "pad", "pair-calf-week0", "pair-calf-week3", "wrap"]
    assert sorted(found) == names
    assert sorted(item.name for item in (tmp_path / "demo").iterdir()) == names
    assert found["change"]["format"] == "limb-change/1"
    assert (tmp_path / "demo/wrap/plan.toml").is_file()


# ---- names of files ------------------------------------------------------------------------------


@pytest.mark.parametrize("as_json", [False, True])
def test_names_of_photographs_are_told_to_the_user_only(capsys, tmp_path, monkeypatch, as_json):
    monkeypatch.setattr("digitise.workflow.measure.measure_limb", lambda *_words, **_options: measure())
    sample = CASES["pair-calf-week0"] / "pair-calf-week0"
    words = (
        "model",
        "front.jpg",
        "side.jpg",
        "--field",
        sample / "field.json",
        "--tape",
        sample / "tape.csv",
    )
    more = ("--limb", "leg", "--side", "left", "--out", tmp_path / "m", *(["--json"] if as_json else []))
    code, out, err = run(capsys, *words, *more)
    assert (code, err) == (0, "In the results front.jpg is photo-1.jpg, side.jpg is photo-2.jpg.\n")
    assert "photo-2.jpg: The picture is dark." in out
    for text in (out, *(item.read_bytes().decode("latin-1") for item in (tmp_path / "m").iterdir())):
        assert "side.jpg" not in text
        assert "front.jpg" not in text


# ---- the sample weeks, from photographs ----------------------------------------------------------

WEEKS = ("pair-calf-week0", "pair-calf-week3")


@pytest.fixture(scope="session")
def weeks(tmp_path_factory):
    """Model folders of both weeks, made by the command, and the truths of both."""
    place = tmp_path_factory.mktemp("weeks")
    cases = [Case(name, CASES[name] / name) for name in WEEKS]
    for case in cases:
        words = ("model", *case.photos, "--field", case.field, "--tape", case.tape)
        more = ("--limb", "leg", "--side", "left", "--out", place / case.name)
        with pytest.raises(SystemExit) as end:
            main([str(word) for word in (*words, *more)])
        assert not end.value.code
    return place, [case.truth for case in cases]


@pytest.fixture(scope="session")
def week_change(weeks, tmp_path_factory):
    """What compare finds between the weeks, and the truths."""
    place, truths = weeks
    out = tmp_path_factory.mktemp("change") / "c"
    with pytest.raises(SystemExit) as end:
        main(["compare", *(str(place / name) for name in WEEKS), "--out", str(out)])
    assert not end.value.code
    return json.loads((out / "change.json").read_text()), truths


def areas(truths, low, high):
    """True heights (N,) between two, and areas (2, N) of both weeks."""
    tables = [{row["height"]: row["area"] for row in truth["sections"]} for truth in truths]
    z = np.array([height for height in tables[0] if low <= height <= high])
    return z, np.array([[table[height] for height in z] for table in tables])


@pytest.mark.slow
def test_weeks_change_of_volume(week_change):
    found, truths = week_change
    # all that both photographs surely show; asked for 100 to 820 mm, which is more, the error was 0.77 %
    assert (found["from_mm"], found["to_mm"]) == (100.0, 810.0)
    z, both = areas(truths, 100.0, 810.0)
    before, after = np.trapezoid(both, z, axis=1) / 1000
    assert found["whole"]["verdict"] == "smaller"
    # the bar for a pair of visits: 0.7 % of the limb's volume
    assert abs(found["whole"]["change_ml"] - (after - before)) <= 0.007 * before
    low, high = found["whole"]["change_ml_95"]
    assert low < after - before < high


@pytest.mark.slow
def test_weeks_place_of_the_greatest_change(week_change):
    found, truths = week_change
    z, (first, second) = areas(truths, found["from_mm"], found["to_mm"])
    most = min(found["levels"], key=lambda level: level["area_change_mm2"])
    # the bar: the place of the greatest change within 20 mm
    assert abs(most["height_mm"] - z[np.argmin(second - first)]) <= 20
    assert most["verdict"] == "smaller"


@pytest.mark.slow
@pytest.mark.parametrize("number", [1, 2])
def test_weeks_are_drawn_where_the_photograph_shows_the_limb(weeks, number):
    """The limb through the camera that model.json keeps, beside the true mask of that photograph."""
    place, _ = weeks
    stored = read_model(place / WEEKS[0])
    camera = camera_from_form(stored.summary.photos[number - 1].camera)
    mesh = limb_mesh(stored.limb)
    mask = Case(WEEKS[0], CASES[WEEKS[0]] / WEEKS[0]).mask(number)
    # between two heights that both show
    top, bottom = (int(camera.project(np.array([0.0, 0.0, z]))[1]) for z in (700.0, 200.0))
    sides = camera.project(mesh.vertices)[:, 0]
    left, right = int(sides.min()) - 50, int(sides.max()) + 50
    window = Window(np.array([left, top]) - 0.5, (right - left, bottom - top), 1.0)
    drawn = camera_view(mesh, np.ones_like(mesh.vertices), camera, window).pixels[..., 3] >= 0.5
    true = mask[top:bottom, left:right]
    # the bar for outlines: 0.6 px on the mean, on both sides
    assert np.mean(np.abs(drawn.argmax(axis=1) - true.argmax(axis=1))) < 0.6
    assert np.mean(np.abs(drawn[:, ::-1].argmax(axis=1) - true[:, ::-1].argmax(axis=1))) < 0.6


@pytest.mark.slow
def test_weeks_pad_and_wrap(capsys, weeks, tmp_path):
    place, _ = weeks
    pad = result(run(capsys, "pad", place / WEEKS[0], "--out", tmp_path / "p", "--json"))
    assert any("calf" in one["place"] for one in pad["places"])
    wrap = result(run(capsys, "wrap", place / WEEKS[0], "--garment", "--out", tmp_path / "w", "--json"))
    assert {point["letter"] for point in wrap["garment"]["points"]} >= {"B", "C"}


MODEL = ("model", "a.jpg", "b.jpg", "--field", "f", "--limb", "leg", "--side", "left")
TWICE = ("--point", "B=150", "--point", "B=160")
WRONG = {
    "no number from": (*MODEL, "--from", "nan"),
    "endless to": (*MODEL, "--to", "inf"),
    "repeat error of a giant": ("course", "first", "second", "--sem", "1e9"),
    "repeat error below nothing": ("course", "first", "second", "--sem", "-1"),
    "repeat error of nothing": ("course", "first", "second", "--sem", "0"),
    "repeat error that is none": ("course", "first", "second", "--sem", "nan"),
    "repeat error in a report": ("report", "first", "--out", "a.pdf", "--sem", "1e9"),
    "two files of one name": ("report", "first", "--out", "a.pdf", "--fhir", "./a.pdf"),
    "a file and a folder of one name": ("report", "first", "--out", "a.pdf", "--figures", "a.pdf"),
    "a point given twice": ("wrap", "first", "--garment", *TWICE, "--out", "w"),
    "a point nowhere": ("wrap", "first", "--garment", "--point", "B=nan", "--out", "w"),
    "foam without end": ("pad", "first", "--margin", "nan", "--out", "p"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_makes_no_sense_is_wrong_use(capsys, models, monkeypatch, tmp_path, name):
    monkeypatch.chdir(models)
    words = WRONG[name]
    out = ("--out", str(tmp_path / "out")) if words[0] == "model" else ()
    code, _, _ = run(capsys, *words, *out)
    assert code == 2
    assert not (models / "a.pdf").exists()
    assert not (models / "w").exists()


@pytest.mark.parametrize("option", ["--out", "--fhir"])
def test_a_report_replaces_an_earlier_one_and_no_other_file(capsys, models, tmp_path, monkeypatch, option):
    monkeypatch.chdir(tmp_path)
    other = ("--fhir", "f.json") if option == "--out" else ("--out", "r.pdf")
    tape = Path("tape.csv")
    tape.write_text("height_mm,girth_mm\n100,220\n")
    code, _, err = run(capsys, "report", models / "first", option, tape, *other)
    assert code == 3
    assert "left as it is" in err
    assert tape.read_text() == "height_mm,girth_mm\n100,220\n"
    assert [path.name for path in tmp_path.iterdir()] == ["tape.csv"]
    for _ in range(2):
        code, _, _ = run(capsys, "report", models / "first", option, "made", *other)
        assert code == 0
    assert Path("made").stat().st_size > 1000


@pytest.mark.parametrize("option", ["--out", "--fhir"])
@pytest.mark.parametrize("place", ["/", ".", "n" * 300, "nowhere/r.pdf"])
def test_a_report_into_no_file(capsys, models, tmp_path, monkeypatch, option, place):
    monkeypatch.chdir(tmp_path)
    other = ("--fhir", "f.json") if option == "--out" else ("--out", "r.pdf")
    code, _, err = run(capsys, "report", models / "first", option, place, *other)
    assert code == 3
    assert "name" in err.lower() or "place" in err
