"""Visits from folders and records come into one course: heights, sides, times, repeats."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from model_folders import model_folder
from record_models import tape_of
from solid_limbs import cone_with, limb

from digitise.errors import CourseError, RecordError
from digitise.output.course.volumes import stored_girths, stored_volume
from digitise.output.model.form import LandmarkForm
from digitise.record.check import read_model_files
from digitise.record.store import Store
from digitise.record.values import NewVisit
from digitise.shape.limb import volume
from digitise.tape.rows import TapeRow
from digitise.workflow.course import follow, study
from digitise.workflow.visits.measured import CREATED, NO_TIMES, OTHERWISE_PLACED, LimbSeries
from digitise.workflow.visits.sources import from_folders, from_records, one_limb, with_others

START = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)
SIZES = (9.0, 6.0, 4.0, 3.5, 3.2)
TALL = limb(cone_with((9.0, 0.5, 300.0)))
SHORT = limb(cone_with((6.0, 0.5, 300.0)), low=120.0, high=460.0)


def weeks(count, step=7):
    return [START + timedelta(days=step * n) for n in range(count)]


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Left legs that shrink, and right legs that do not; the second left one covers less."""
    place = tmp_path_factory.mktemp("models")
    found = {}
    for n, size in enumerate(SIZES):
        left = SHORT if n == 1 else limb(cone_with((size, 0.5, 300.0)))
        found["left", n] = model_folder(place / f"left-{n}", left, weeks(5)[n])
        right = limb(cone_with((0.1 * (n + 1), 0.5, 300.0)), side="right")
        found["right", n] = model_folder(place / f"right-{n}", right, weeks(5)[n])
    return found


@pytest.fixture(scope="module")
def left(folders):
    return from_folders([folders["left", n] for n in range(5)], weeks(5))


@pytest.fixture(scope="module")
def right(folders):
    return from_folders([folders["right", n] for n in range(5)], weeks(5))


def test_stored_figures_give_the_limbs_own_volumes(left):
    whole = left[0].model
    for low, high in ((100.0, 500.0), (120.0, 460.0), (133.0, 207.5)):
        own = volume(TALL, low, high)
        found = stored_volume(whole, low, high)
        # a cubic through areas every 10 mm: far below the 0.1 mL that anyone reads
        assert found.mean == pytest.approx(float(own.mean), rel=1e-5)
        assert found.sd == pytest.approx(float(own.sd), rel=0.5)
    # stretches go together as the limb says, what lies within one is taken as one error
    for low, high in ((100.0, 300.0), (200.0, 500.0)):
        assert stored_volume(whole, low, high).sd == pytest.approx(
            float(volume(TALL, low, high).sd), rel=1e-3
        )
    own = float(volume(TALL, 130.0, 455.0).sd)
    assert 0.9 * own < stored_volume(whole, 130.0, 455.0).sd < 1.1 * own
    assert stored_volume(whole, 100.0, 500.0).sd == pytest.approx(float(volume(TALL, 100, 500).sd), rel=1e-3)
    girths = stored_girths(whole, 120.0, 460.0)
    assert list(girths) == [120.0, 160.0, 200.0, 240.0, 280.0, 320.0, 360.0, 400.0, 440.0]


def test_all_volumes_are_between_the_heights_that_all_share(left):
    found = follow(with_others(left, ()))
    assert {(point.visit.from_mm, point.visit.to_mm) for point in found.points} == {(120.0, 460.0)}
    assert found.points[0].visit.volume.mean == pytest.approx(float(volume(TALL, 120, 460).mean), rel=1e-5)
    assert "heights" in {reminder.code for reminder in found.reminders}
    assert found.plateau.rate.ml_per_week.mean < 0


def test_references_give_excess_and_both_reductions(left, right):
    found = follow(with_others(left, right))
    last = found.points[-1]
    assert last.excess.excess_ml.mean == pytest.approx(
        last.visit.volume.mean - last.visit.reference.mean, abs=1e-6
    )
    assert follow(with_others(left, right), bilateral=True).points[-1].excess.percent is None
    partly = with_others(left, (right[0], None, None, None, right[4]))
    assert [point.excess is None for point in follow(partly).points] == [False, True, True, True, False]


def test_a_measured_repeat_error_is_used(left):
    found = follow(with_others(left, ()), sem_percent=0.4)
    assert (found.error.sem_percent, found.error.measured) == (0.4, True)


def test_times_of_making_are_told_and_hours_apart_give_no_rate(folders, left):
    names = [folders["left", n] for n in range(3)]
    spread = with_others(from_folders(names), ())
    assert spread.remarks == (CREATED,)
    assert follow(spread).plateau.rate is not None
    assert all(point.visit.local_hour is None for point in follow(spread).points)
    close = tuple(replace(v, when=START + timedelta(minutes=n), timed=False) for n, v in enumerate(left[:3]))
    hours = with_others(close, ())
    assert hours.remarks == (NO_TIMES,)
    assert follow(hours).plateau.rate is None
    assert with_others(left, ()).remarks == ()


def test_refusals(folders, left, right):
    with pytest.raises(CourseError, match="first is a left leg"):
        with_others((left[0], right[1]), ())
    with pytest.raises(CourseError, match="not the other side"):
        with_others(left[:1], (left[1],))
    with pytest.raises(CourseError, match="given twice"):
        from_folders([folders["left", 0], folders["left", 0]])
    short = replace(left[1], model=left[1].model.model_copy(update={"from_mm": 100.0, "to_mm": 140.0}))
    with pytest.raises(CourseError, match="share less than 50 mm"):
        follow(LimbSeries((left[0], short), (None, None)))
    with pytest.raises(CourseError, match="One limb is followed at a time"):
        one_limb([*left, *right], None, None)
    with pytest.raises(CourseError, match="none of that limb"):
        one_limb(left, "arm", None)


def test_repeats_of_one_day_are_groups(left):
    day = [replace(v, when=START + timedelta(minutes=20 * n)) for n, v in enumerate(left[:2])]
    later = [replace(v, when=START + timedelta(days=7, minutes=20 * n)) for n, v in enumerate(left[2:4])]
    groups, found = study([*later, *day, left[4]])
    assert [len(group.volumes_ml) for group in groups] == [2, 2]
    assert (groups[0].from_mm, groups[0].to_mm) == (120.0, 460.0)
    pairs = np.array([group.volumes_ml for group in groups])
    # of pairs: root of the mean square difference over two
    assert found.sem.value == pytest.approx(np.sqrt(np.mean(np.diff(pairs) ** 2) / 2))
    with pytest.raises(CourseError, match="measured twice"):
        study(left)


@pytest.fixture(scope="module")
def store(folders, tmp_path_factory):
    place = tmp_path_factory.mktemp("records") / "records.sqlite"
    with Store(place) as opened:
        for (side, n), folder in folders.items():
            opened.add_visit(
                NewVisit(
                    "K-017",
                    "leg",
                    side,
                    weeks(5)[n] + timedelta(minutes=10 * (side == "right")),
                    tape_of(read_model_files(folder)),
                    model=read_model_files(folder),
                    measured_by="AB" if n else "CD",
                    posture="standing",
                )
            )
        opened.add_visit(NewVisit("K-018", "leg", "left", START, (TapeRow(120.0, 300.0, 2),)))
        yield opened


def test_the_records_give_the_same_course_as_the_folders(store, left, right):
    visits = from_records(store, "k-017")
    followed = one_limb(visits, None, "left")
    assert [visit.model.limb_sha256 for visit in followed.visits] == [v.model.limb_sha256 for v in left]
    assert all(other is not None for other in followed.others)
    found, own = follow(followed), follow(with_others(left, right))
    assert [point.visit.volume for point in found.points] == [point.visit.volume for point in own.points]
    assert "measurer" in {reminder.code for reminder in found.reminders}
    assert followed.remarks == ()


def lying(visit, how="on-back"):
    return replace(visit, model=visit.model.model_copy(update={"lying": how}))


def test_a_limb_that_lies_is_not_followed_with_one_that_stood(left, right):
    """Heights of the one count from a landmark, of the other from the mat."""
    with pytest.raises(CourseError, match="at another visit it stood"):
        follow(with_others((*left[:2], lying(left[2])), ()))
    with pytest.raises(CourseError, match="at another visit it stood"):
        follow(with_others(left[:1], (lying(right[0]),)))
    assert len(follow(with_others([lying(one) for one in left], ())).points) == 5
    turned = follow(with_others([lying(left[0], "palm-up"), lying(left[1], "palm-down")], ()))
    assert "posture" in {reminder.code for reminder in turned.reminders}
    # of records those are followed that were placed as at the last visit
    found = one_limb([lying(left[0]), *left[1:], *right], None, "left")
    assert found.visits == left[1:]
    assert found.remarks == (OTHERWISE_PLACED.format(left[0].place),)


def counted(visit, place):
    """Return a visit at which the limb lay, its heights counted from a place, or nobody said which."""
    landmark = LandmarkForm(photo=1, x_px=10.0, y_px=10.0, place=place)
    return replace(visit, model=lying(visit).model.model_copy(update={"landmark": landmark}))


def test_heights_from_two_places_are_not_put_side_by_side(left):
    """The ankle bone and the kneecap are 400 mm apart; what was not said may be either."""
    ankle, knee = counted(left[0], "ankle-bone"), counted(left[1], "kneecap")
    with pytest.raises(CourseError, match="count from the ankle bone, at another visit from the kneecap"):
        follow(with_others((ankle, knee), ()))
    with pytest.raises(CourseError, match="count from the ankle bone"):
        follow(with_others((ankle, counted(left[2], None), knee), ()))
    assert len(follow(with_others((ankle, counted(left[1], None)), ())).points) == 2
    found = one_limb([ankle, knee, counted(left[2], "kneecap")], None, None)
    assert [visit.model.counted_from for visit in found.visits] == ["kneecap", "kneecap"]
    assert found.remarks == (OTHERWISE_PLACED.format(ankle.place),)


def test_a_copy_is_no_visit_and_no_repeat(left):
    """The same photographs at another time would read as a limb that no longer changes."""
    copies = [replace(left[1], when=left[1].when + timedelta(days=n), place=f"copy {n}") for n in (1, 2, 3)]
    found = one_limb([*left[:2], *copies], None, None)
    assert found.visits == left[:2]
    assert [remark.split(":")[0] for remark in found.remarks] == ["copy 1", "copy 2", "copy 3"]
    again = replace(left[1], when=left[1].when + timedelta(minutes=20))
    with pytest.raises(CourseError, match="photographs of its own"):
        study([left[1], again])


def test_a_client_without_models_is_refused(store):
    with pytest.raises(RecordError, match="not in the records"):
        from_records(store, "K-018")
    with pytest.raises(RecordError, match="not in the records"):
        from_records(store, "K-019")
