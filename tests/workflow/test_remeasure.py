import json
from datetime import UTC, datetime, timedelta

import pytest
from conftest import CASES
from lying_accuracy import measured_sample

from digitise.output.model.file import read_model
from digitise.output.model.files import model_text
from digitise.record.check import read_model_files
from digitise.record.store import Store
from digitise.record.values import ModelFiles, NewVisit
from digitise.samples import sample_visits
from digitise.shape.limb import volume
from digitise.tape.table import read_tape
from digitise.workflow import remeasure as again
from digitise.workflow.many.batch import measure_job, run_batch
from digitise.workflow.many.batch_table import MeasureJob, ResultRow

WEEKS = ("pair-calf-week0", "pair-calf-week3")


def visit_of(name, folder, when, low=150.0):
    home = CASES[name] / name
    photos = tuple(home / f"photo-{n}.jpg" for n in (1, 2))
    job = MeasureJob(
        name, tuple(map(str, photos)), str(home / "field.json"), str(home / "tape.csv"), "leg", "left",
        low, 450.0, str(folder / name), same_visit=True,
    )  # fmt: skip
    assert measure_job(job).status == "measured"
    return NewVisit(
        "K-017", "leg", "left", when, read_tape(home / "tape.csv"), photos,
        (home / "field.json").read_text(), model=read_model_files(folder / name), note="after rest",
    )  # fmt: skip


@pytest.mark.slow
def test_visits_are_measured_again_and_kept_only_when_accepted(tmp_path):
    start = datetime(2026, 3, 2, 9, tzinfo=UTC)
    with Store(tmp_path / "records.sqlite") as store:
        for n, name in enumerate(WEEKS):
            store.add_visit(visit_of(name, tmp_path, start + timedelta(weeks=3 * n), 150.0 + 50.0 * n))
        states = [store.load_visit(line.id).state for line in store.list_visits()]
        found = again.remeasure(store, tmp_path / "new", client="K-017")
        # same program, same photographs, same heights: same volumes
        for each in found:
            assert each.after_ml == pytest.approx(each.before_ml, rel=1e-5)
        assert found[0].change_after_ml is None
        assert found[1].change_after_ml == pytest.approx(found[1].change_before_ml, rel=1e-3)
        # the first was measured from 150 mm, the second from 200 mm: what both have is compared
        first, second = (volume(read_model(tmp_path / name).limb, 200.0, 450.0).mean for name in WEEKS)
        assert found[1].change_before_ml == pytest.approx(second - first, abs=0.1)
        assert [store.load_visit(line.id).state for line in store.list_visits()] == states
        # what is done is not done again
        monkey = []
        again.remeasure(store, tmp_path / "new", told=monkey.append)
        assert monkey == []
        assert again.accept(store, tmp_path / "new", found) == 2
        kept = [store.load_visit(line.id) for line in store.list_visits()]
        assert [visit.note for visit in kept] == ["after rest"] * 2
        assert [visit.taken for visit in kept] == [start, start + timedelta(weeks=3)]
        for visit in kept:
            model = read_model_files(tmp_path / "new" / f"visit-{visit.id}")
            assert store.model(visit.id).json == model.json


def test_a_visit_that_cannot_be_measured_is_a_row_and_stays(tmp_path, monkeypatch):
    home = CASES["walk-light"] / "walk-light"
    when = datetime(2026, 3, 2, 9, tzinfo=UTC)
    monkeypatch.setattr(
        again,
        "run_batch",
        lambda jobs, *_, **__: tuple(ResultRow(j.name, "refused", reason="dark") for j in jobs),
    )
    with Store(tmp_path / "records.sqlite") as store:
        store.add_visit(
            NewVisit(
                "K-1", "leg", "left", when, (), (home / "photo-1.jpg",), (home / "field.json").read_text()
            )
        )
        store.add_visit(NewVisit("K-2", "leg", "left", when, read_tape(home / "tape.csv")))
        (each,) = again.remeasure(store, tmp_path / "new")
        assert (each.client, each.after_ml, each.difference_percent) == ("K-1", None, None)
        assert again.accept(store, tmp_path / "new", [each]) == 0
    assert again.difference_rows([each])[0]["reason"] == "dark"


def test_records_without_photographs_leave_nothing_to_do(tmp_path):
    with Store(tmp_path / "records.sqlite") as store:
        assert again.remeasure(store, tmp_path / "new") == ()
    assert run_batch((), tmp_path / "new") == ()


@pytest.mark.slow
def test_a_limb_that_lay_is_measured_again_as_it_lay(tmp_path):
    visit = sample_visits("arm")[0]
    model = model_text(measured_sample(visit))
    with Store(tmp_path / "records.sqlite") as store:
        store.add_visit(
            NewVisit(
                "K-017", "arm", "left", datetime(2026, 3, 2, 9, tzinfo=UTC), read_tape(visit.tape),
                visit.photos, visit.field.read_text(), model=ModelFiles(model.json, model.limb),
            )
        )  # fmt: skip
        (found,) = again.remeasure(store, tmp_path / "new", client="K-017")
    assert found.result.status == "measured", found.result.reason
    # same photographs, same heights; the landmark is kept to a tenth of a pixel
    assert found.after_ml == pytest.approx(found.before_ml, rel=1e-3)


@pytest.mark.slow
def test_a_typed_axis_is_kept(tmp_path):
    """The leg measured along an axis 4 mm beside the mat's, as somebody typed it."""
    name, home = WEEKS[0], CASES[WEEKS[0]] / WEEKS[0]
    axis = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, -4.0, 2.0, -10.0)
    photos = tuple(home / f"photo-{n}.jpg" for n in (1, 2))
    job = MeasureJob(
        name, tuple(map(str, photos)), str(home / "field.json"), str(home / "tape.csv"), "leg", "left",
        150.0, 450.0, str(tmp_path / name), axis=axis,
    )  # fmt: skip
    assert measure_job(job).status == "measured"
    before = json.loads(read_model_files(tmp_path / name).json)["axis_from_world"]
    assert before["translation_mm"] == [-4.0, 2.0, -10.0]
    with Store(tmp_path / "records.sqlite") as store:
        store.add_visit(
            NewVisit(
                "K-017", "leg", "left", datetime(2026, 3, 2, 9, tzinfo=UTC), read_tape(home / "tape.csv"),
                photos, (home / "field.json").read_text(), model=read_model_files(tmp_path / name),
            )
        )  # fmt: skip
        (found,) = again.remeasure(store, tmp_path / "new")
        assert found.after_ml == pytest.approx(found.before_ml, rel=1e-5)
        after = json.loads(read_model_files(tmp_path / "new" / f"visit-{found.visit}").json)
    assert after["axis_from_world"] == before
