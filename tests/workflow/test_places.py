"""Girths taped on foot or hand: refused before any work, and checked where photographs show the foot."""

import json
from pathlib import Path

import pytest

from digitise.capture.sheets.field import read_field
from digitise.errors import TapeError
from digitise.output.model.files import write_model_file
from digitise.tape.rows import PlaceGirth
from digitise.tape.table import read_tape
from digitise.workflow.many.batch import measure_job
from digitise.workflow.many.batch_table import MeasureJob
from digitise.workflow.measure import measure_limb

DATA = Path(__file__).parents[1] / "data/foot"


def test_a_place_of_the_other_limb_is_refused_before_any_photograph_is_read(tmp_path):
    field = read_field(DATA / "swollen-back/field.json")
    with pytest.raises(TapeError, match=r"line 4.*palm is no place on a foot"):
        measure_limb([tmp_path / "1.jpg"] * 2, field, (), places=(PlaceGirth("palm", 200.0, 4),))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["swollen-back", "dark-pages"])
def test_the_true_girths_agree_with_the_photographs_and_others_do_not(name, tmp_path):
    folder = DATA / name
    truth = json.loads((folder / "truth.json").read_text())
    ball, instep = truth["ball_girth_mm"], truth["heel_instep_girth_mm"]
    taped = (
        PlaceGirth("ball-of-foot", ball),
        PlaceGirth("heel-instep", instep),
        PlaceGirth("mid-foot", 250.0),
        PlaceGirth("foot-length", truth["length_mm"]),
    )
    found = measure_limb(
        sorted(folder.glob("photo-*.jpg")), read_field(folder / "field.json"), read_tape(folder / "tape.csv"),
        side=truth["side"], from_mm=110.0, to_mm=600.0, places=taped,
    )  # fmt: skip
    said = write_model_file(tmp_path, found)
    assert [row.verdict for row in said.place_girths] == ["agrees", "agrees", "not seen", "agrees"]
    (foot,) = said.segments
    assert said.place_girths[0].photo_mm_95 == foot.ball_girth_mm_95
    assert said.place_girths[1].photo_mm == foot.heel_instep_girth_mm
    end = said.taped_end
    low, high = end.volume_ml_95
    true_ml = truth["volumes_below_ml"][f"{end.below_mm:.0f}"]
    assert low < true_ml < high
    # a foot by photographs is known to 5 % at worst, a twentieth of its intervals may miss it
    assert end.photographs_ml == pytest.approx(true_ml, rel=0.05)


@pytest.mark.slow
def test_a_table_of_visits_hands_them_on(tmp_path):
    home = DATA / "swollen-back"
    lines = (home / "tape.csv").read_text().split()
    rows = [f"{lines[0]},place", *(f"{line}," for line in lines[1:]), ",520,figure-of-eight"]
    (tmp_path / "tape.csv").write_text("\n".join(rows))
    photos = tuple(str(home / f"photo-{n}.jpg") for n in (1, 2))
    job = MeasureJob(
        "a", photos, str(home / "field.json"), str(tmp_path / "tape.csv"), "leg", "right", 110.0, 600.0,
        str(tmp_path / "a"), same_visit=True,
    )  # fmt: skip
    assert measure_job(job).status == "measured"
    (row,) = json.loads((tmp_path / "a/model.json").read_text())["place_girths"]
    assert (row["place"], row["girth_mm"], row["verdict"]) == ("figure-of-eight", 520.0, "not seen")
