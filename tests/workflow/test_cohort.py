"""The tables of a study say what the records say, and validate against the standard."""

import csv
import json
import math
from contextlib import closing
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pandas
import polars
import pytest
from commands import run
from frictionless import Package, validate
from pyarrow import parquet
from study_records import START, TAPE, keep, scaled, visit

from digitise.care.course.visits import REPEAT_SEM_PERCENT, mdc95
from digitise.errors import CourseError, OutputError, RecordError
from digitise.output.model.file import summary_from_json
from digitise.output.study.columns import TABLES
from digitise.record.store import Store
from digitise.record.values import NewVisit
from digitise.workflow.cohort import stored_agreement, write_study

RATIOS = (1.0, 0.94, 0.9)


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """Six legs over three visits, an arm with one, a visit without a model and one with a broken model."""
    path = tmp_path_factory.mktemp("kept") / "records.sqlite"
    with closing(Store(path)) as store:
        for client in range(6):
            for week, ratio in enumerate(RATIOS):
                who = {"measured_by": "AB" if week else "XY-9", "note": "Mrs Example", "posture": "standing"}
                keep(store, visit(f"K-{client}", week, ratio - 0.01 * client * (week > 0), **who))
        keep(store, visit("K-1", 0, side="right", limb="arm"))
        keep(store, NewVisit("K-7", "leg", "left", START, TAPE))
        broken = visit("K-8", 0)
        text = broken.model.json.replace("limb-model/1", "limb-model/9")
        keep(store, visit("K-8", 0, model=type(broken.model)(text, broken.model.limb)))
    return path


@pytest.fixture(scope="module")
def folder(records, tmp_path_factory):
    out = tmp_path_factory.mktemp("study") / "csv"
    with Store(records) as store:
        found = write_study(store, out)
    assert (found.visits, found.measured, found.limbs, found.followed) == (21, 19, 9, 6)
    assert len(found.unreadable) == 1
    return out


def table(folder, name):
    with (folder / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def models(records):
    with Store(records) as store:
        for line in store.list_visits():
            if line.has_model and line.client != "K-8":
                yield line, summary_from_json(store.model(line.id).json, "")


def test_the_package_is_valid_by_the_standard(folder):
    report = validate(folder / "datapackage.json")
    assert report.valid, report.flatten(["type", "note"])
    package = Package(str(folder / "datapackage.json"))
    assert package.resource_names == [each.name for each in TABLES]
    # a cell, a key or a link that is wrong would be found
    assert {task.name for task in report.tasks} == set(package.resource_names)


def copied(folder, out, *, sealed):
    """A copy of a study, whose description names no digests unless it is sealed."""
    for each in folder.iterdir():
        (out / each.name).write_bytes(each.read_bytes())
    package = json.loads((folder / "datapackage.json").read_text())
    for resource in () if sealed else package["resources"]:
        del resource["hash"], resource["bytes"]
    (out / "datapackage.json").write_text(json.dumps(package))
    return out


def kinds_of_errors(folder):
    return {kind for (kind,) in validate(folder / "datapackage.json").flatten(["type"])}


def lying(client, week, place):
    """A visit at which the leg lay, its heights counted from a place; None where nobody said."""
    given = visit(client, week)
    landmark = {"photo": 1, "x_px": 10.0, "y_px": 20.0, "place": place}
    return replace(
        given, model=scaled(given.model, 1.0, f"{client} {week}", lying="on-back", landmark=landmark)
    )


@pytest.mark.parametrize(
    ("places", "reason"),
    [
        (("ankle-bone", "ankle-bone", None), ""),
        (("ankle-bone", "kneecap", None), "heights counted from different places"),
        (("ankle-bone", "", None), "standing at one visit, lying at another"),
    ],
)
def test_a_limb_whose_heights_do_not_count_from_one_place_has_no_changes(tmp_path, places, reason):
    with closing(Store(tmp_path / "records.sqlite")) as store:
        for week, place in enumerate(places):
            keep(store, visit("K-9", week) if place == "" else lying("K-9", week, place))
    with Store(tmp_path / "records.sqlite") as store:
        write_study(store, tmp_path / "study")
    (row,) = table(tmp_path / "study", "limbs")
    assert row["no_change"] == reason
    assert bool(table(tmp_path / "study", "changes")) == (reason == "")
    assert validate(tmp_path / "study" / "datapackage.json").valid


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "change", "kind"),
    [
        ("tape_rows", lambda text: text.replace("300.5", "wide", 1), "type-error"),
        ("visits", lambda text: text.replace("left", "middle", 1), "constraint-error"),
        ("tape_rows", lambda text: text + text.splitlines()[-1] + "\r\n", "primary-key"),
        ("tape_rows", lambda text: text + "9999,1,100.0,200.0,\r\n", "foreign-key"),
    ],
)
def test_the_description_tells_what_is_wrong(folder, tmp_path, name, change, kind):
    out = copied(folder, tmp_path, sealed=False)
    assert kinds_of_errors(out) == set()
    path = out / f"{name}.csv"
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    assert kind in kinds_of_errors(out)


def test_a_changed_file_is_told_by_its_digest(folder, tmp_path):
    out = copied(folder, tmp_path, sealed=True)
    path = out / "tape_rows.csv"
    path.write_bytes(path.read_bytes().replace(b"300.5", b"300.6", 1))
    assert kinds_of_errors(out) == {"hash-count"}


def test_every_column_says_what_it_is(folder):
    package = json.loads((folder / "datapackage.json").read_text())
    for resource in package["resources"]:
        names = [field["name"] for field in resource["schema"]["fields"]]
        # none of these visits has a foot or a hand: such tables hold their head alone
        with (folder / f"{resource['name']}.csv").open(newline="", encoding="utf-8") as file:
            assert names == next(csv.reader(file))
        for field in resource["schema"]["fields"]:
            assert field["description"].endswith(".")
            for ending in ("mm", "ml", "mm2", "percent"):
                if field["name"].rpartition("_")[2] == ending:
                    assert field["unit"].replace("%", "percent").casefold() == ending


def test_values_are_those_of_the_records(folder, records):
    visits = {int(row["visit"]): row for row in table(folder, "visits")}
    sections = table(folder, "sections")
    count = 0
    for line, model in models(records):
        row = visits[line.id]
        assert (row["client"], row["limb"], row["side"]) == (line.client, line.limb, line.side)
        assert row["taken_utc"] == f"{line.taken:%Y-%m-%dT%H:%M:%SZ}"
        # to the last digit: text of a float is read back as the same float
        assert float(row["volume_ml"]) == model.volume_ml
        assert (float(row["volume_low_ml"]), float(row["volume_high_ml"])) == model.volume_ml_95
        own = [each for each in sections if int(each["visit"]) == line.id]
        assert [float(each["girth_mm"]) for each in own] == [one.girth_mm for one in model.sections]
        assert [float(each["area_mm2"]) for each in own] == [one.area_mm2 for one in model.sections]
        assert [float(each["height_mm"]) for each in own] == [one.height_mm for one in model.sections]
        count += len(own)
    assert count == len(sections)
    assert {row["model"] for row in visits.values()} == {"measured", "none", "unreadable"}


def test_tape_rows_are_those_of_the_records(folder, records):
    with Store(records) as store:
        kept = [
            (line.id, number, row.height_mm, row.girth_mm, row.point)
            for line in store.list_visits()
            for number, row in enumerate(store.load_visit(line.id).tape, start=1)
        ]
    read = [
        (int(r["visit"]), int(r["number"]), float(r["height_mm"]), float(r["girth_mm"]), r["point"])
        for r in table(folder, "tape_rows")
    ]
    assert sorted(read) == sorted(kept)


def test_changes_are_against_the_first_visit_between_shared_heights(folder):
    rows = [row for row in table(folder, "changes") if row["client"] == "K-2"]
    # the models' areas and volumes are those of the first times a ratio
    expected = [0.0, 100 * (0.94 - 0.02 - 1), 100 * (0.9 - 0.02 - 1)]
    assert [float(row["change_percent"]) for row in rows] == pytest.approx(expected, abs=1e-9)
    assert [float(row["weeks"]) for row in rows] == [0, 1, 2]
    half = [float(row["change_high_percent"]) - float(row["change_percent"]) for row in rows]
    assert half == pytest.approx([0.0, *[mdc95(REPEAT_SEM_PERCENT["leg"])] * 2], rel=1e-12)
    reasons = {(row["client"], row["limb"]): row["no_change"] for row in table(folder, "limbs")}
    assert reasons["K-1", "arm"] == reasons["K-7", "leg"] == "fewer than two measured visits"
    assert reasons["K-1", "leg"] == ""


def test_weeks_hold_median_and_quartiles_of_the_limbs(folder):
    rows = table(folder, "weeks")
    assert [(row["limb"], row["week"], row["limbs"]) for row in rows] == [
        ("leg", str(n), "6") for n in (0, 1, 2)
    ]
    values = [100 * (0.94 - 0.01 * client - 1) for client in range(6)]
    found = [float(rows[1][f"{name}_percent"]) for name in ("lower_quartile", "median", "upper_quartile")]
    assert found == pytest.approx(list(np.quantile(values, (0.25, 0.5, 0.75))), abs=1e-9)


def test_pandas_and_polars_read_the_same_sums(folder, records):
    whole = math.fsum(model.volume_ml for _, model in models(records))
    for read in (pandas.read_csv, polars.read_csv):
        visits, sections = read(folder / "visits.csv"), read(folder / "sections.csv")
        assert float(visits["volume_ml"].sum()) == pytest.approx(whole, rel=1e-12)
        assert len(sections) == len(table(folder, "sections"))


def test_no_note_no_initials_no_picture_are_in_it(folder):
    names = {path.name for path in folder.iterdir()}
    assert names == {f"{each.name}.csv" for each in TABLES} | {
        "datapackage.json",
        "caution.txt",
        "percent-change.png",
    }
    for path in folder.iterdir():
        content = path.read_bytes()
        assert b"Example" not in content
        assert b"XY-9" not in content
    assert [row["measurer"] for row in table(folder, "visits")[:3]] == ["1", "2", "2"]


def test_parquet_holds_the_same(folder, records, tmp_path):
    with Store(records) as store:
        write_study(store, tmp_path / "p", form="parquet")
    for each in TABLES:
        text = polars.read_csv(folder / f"{each.name}.csv", infer_schema_length=None)
        stored = polars.read_parquet(tmp_path / "p" / f"{each.name}.parquet")
        assert stored.columns == text.columns
        assert len(stored) == len(text)
        for column in each.columns:
            if column.type == "number":
                numbers = text[column.name].cast(polars.Float64)
                assert stored[column.name].to_list() == numbers.to_list()
    assert pandas.read_parquet(tmp_path / "p/visits.parquet")["taken_utc"].dt.tz is not None
    girth = parquet.read_schema(tmp_path / "p/tape_rows.parquet").field("girth_mm")
    assert girth.metadata == {b"description": b"Girth that was read.", b"unit": b"mm"}


def test_a_folder_of_others_and_empty_records_are_refused_and_stay(records, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full/own.txt").write_text("mine")
    with Store(records) as store, pytest.raises(OutputError):
        write_study(store, tmp_path / "full")
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["own.txt"]
    with Store(tmp_path / "empty.sqlite") as store, pytest.raises(RecordError, match="no visit"):
        write_study(store, tmp_path / "none")
    assert not (tmp_path / "none").exists()


def test_a_limb_without_common_height_has_no_changes(tmp_path):
    with Store(tmp_path / "r.sqlite") as store:
        first, second = visit("K-1", 0), visit("K-1", 1)
        high = summary_from_json(first.model.json, "").to_mm
        moved = json.loads(second.model.json)
        # as a model of another part of the limb says it
        for each in (*moved["sections"], *moved["tape_check"]):
            each["height_mm"] += 40.0
        for each in (moved, *moved["stretches"]):
            each["from_mm"] += 40.0
            each["to_mm"] += 40.0
        keep(
            store,
            first,
            visit("K-1", 1, model=scaled(type(first.model)(json.dumps(moved), first.model.limb), 1.0, "m")),
        )
        found = write_study(store, tmp_path / "out")
    assert high == 260.0
    assert found.followed == 0
    assert table(tmp_path / "out", "limbs")[0]["no_change"] == "too little height in common"
    assert not (tmp_path / "out/percent-change.png").exists()


def test_the_command_says_what_it_wrote(capsys, records, tmp_path):
    code, out, _ = run(capsys, "study", "--records", records, "--out", tmp_path / "s", "--json")
    said = json.loads(out)
    assert code == 0
    assert sorted(said["files"]) == sorted(path.name for path in (tmp_path / "s").iterdir())
    code, out, _ = run(capsys, "study", "--records", records, "--out", tmp_path / "s")
    assert code == 0
    assert f"visit {said['unreadable'][0]}: Its model cannot be read" in out


def test_more_visits_than_are_read_at_once_are_all_there(tmp_path):
    made = [visit("K-1", week, 1.0) for week in range(7)]
    with Store(tmp_path / "r.sqlite") as store:
        for client in range(40):
            keep(store, *(replace(each, client=f"K-{client}") for each in made))
        found = write_study(store, tmp_path / "out")
    assert (found.visits, found.limbs, found.followed) == (280, 40, 40)
    rows = table(tmp_path / "out", "tape_rows")
    assert [(row["visit"], row["number"]) for row in rows] == [
        (row["visit"], str(number)) for row in table(tmp_path / "out", "visits") for number in (1, 2)
    ]


# ---- repeats -------------------------------------------------------------------------------------


def again(client, hours, ratio, **changes):
    """A visit some hours after the start."""
    return visit(client, hours / 168, ratio, **changes)


def test_agreement_from_the_records_is_that_of_the_pairs(tmp_path):
    pairs = [(1.0, 1.02), (0.9, 0.89), (1.1, 1.1), (1.05, 1.07)]
    with Store(tmp_path / "r.sqlite") as store:
        for client, (first, second) in enumerate(pairs):
            keep(
                store,
                again(f"K-{client}", 0, first),
                again(f"K-{client}", 1, second),
                again(f"K-{client}", 48, 0.8),
            )
        volume = summary_from_json(store.model(store.list_visits()[0].id).json, "").volume_ml
        found = stored_agreement(store)
    # sem of duplicates: root of the mean squared difference over two
    sem = volume * math.sqrt(np.mean([(a - b) ** 2 for a, b in pairs]) / 2)
    assert found.found.sem.value == pytest.approx(sem, rel=1e-9)
    assert [group.client for group in found.groups] == ["K-0", "K-1", "K-2", "K-3"]


def test_one_measurement_kept_twice_is_no_repeat(tmp_path):
    with Store(tmp_path / "r.sqlite") as store:
        once = again("K-1", 0, 1.0)
        keep(store, once, visit("K-1", 0, model=once.model, taken=START + timedelta(minutes=5)))
        with pytest.raises(CourseError, match="photographs of its own"):
            stored_agreement(store)
        keep(store, again("K-1", 1, 1.01))
        found = stored_agreement(store)
    assert found.found.measurements == 2
    assert found.left_out == ("visit 2: left out, as it holds photographs or the model of an earlier visit.",)


def test_legs_and_arms_are_not_one_study(capsys, tmp_path):
    records = tmp_path / "r.sqlite"
    with Store(records) as store:
        for limb in ("leg", "arm"):
            for client in ("K-1", "K-2"):
                keep(store, again(client, 0, 1.0, limb=limb), again(client, 1, 1.02, limb=limb))
    code, _, err = run(capsys, "agreement", "--records", records)
    assert (code, "--limb" in err) == (3, True)
    code, out, _ = run(
        capsys, "agreement", "--limb", "arm", "--out", tmp_path / "a", "--records", records, "--json"
    )
    assert code == 0
    assert [group["client"] for group in json.loads(out)["groups"]] == ["K-1", "K-2"]
    assert (tmp_path / "a/repeat.csv").is_file()
    code, _, _ = run(capsys, "agreement", "--client", "K-1", "--limb", "leg", "--records", records)
    assert code == 0
