"""Both legs from three photographs of a made person with both feet on the mat (`tests/data/two-legs`)."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from digitise.anatomy import Side
from digitise.capture.sheets.field import read_field
from digitise.output.model.file import read_model
from digitise.shape.limb import girth, volume
from digitise.tape.table import read_tape_table
from digitise.workflow.both.legs import measure_both_legs
from digitise.workflow.measure import measure_limb

HOME = Path(__file__).parents[1] / "data/two-legs/both-brown"
PHOTOS = sorted(HOME.glob("photo-*.jpg"))
TAPES = {side: HOME / f"tape-{side}.csv" for side in Side}
FROM_MM, TO_MM = 100.0, 600.0  # above, the thighs touch
BAR = 0.015  # of the volume, as for every ordinary picture


@pytest.fixture(scope="module")
def legs():
    return measure_both_legs(
        PHOTOS,
        read_field(HOME / "field.json"),
        {side: read_tape_table(path) for side, path in TAPES.items()},
        from_mm=FROM_MM,
        to_mm=TO_MM,
        same_visit=True,
    )


def truth(side):
    sections = json.loads((HOME / "truth.json").read_text())[side]["sections"]
    return (np.array([row[key] for row in sections]) for key in ("height", "hull_perimeter", "area"))


@pytest.mark.slow
@pytest.mark.parametrize("side", Side)
def test_each_leg_is_true(legs, side):
    measured = legs.measured[side]
    limb = measured.fit.limb
    z, true, area = truth(side)
    ml = float(CubicSpline(z, area).integrate(FROM_MM, TO_MM)) / 1000
    found = volume(limb, FROM_MM, TO_MM)
    low, high = found.interval_95
    assert (limb.side, limb.from_mm, limb.to_mm) == (side, FROM_MM, TO_MM)
    assert low < ml < high
    assert abs(found.mean / ml - 1) < BAR
    inside = (z >= FROM_MM) & (z <= TO_MM)
    low, high = girth(limb, z[inside]).interval_95
    assert np.mean((low <= true[inside]) & (true[inside] <= high)) >= 0.9


@pytest.mark.slow
def test_each_leg_is_taken_from_the_front_and_its_own_side(legs):
    names = {side: [photo.name for photo in legs.measured[side].photos] for side in Side}
    assert names == {"left": ["photo-1.jpg", "photo-2.jpg"], "right": ["photo-1.jpg", "photo-3.jpg"]}
    codes = {finding.code for side in Side for finding in legs.measured[side].findings}
    assert "mat-hidden" not in codes
    left_out = [finding for finding in legs.measured["left"].findings if finding.code == "left-out"]
    assert [(finding.severity, "Photograph 3" in finding.text) for finding in left_out] == [("note", True)]


@pytest.mark.slow
def test_a_leg_measured_along_its_own_axis_alone_is_the_same(legs):
    """So visits from the records are measured again: with the axis that their model keeps."""
    again = measure_limb(
        PHOTOS,
        read_field(HOME / "field.json"),
        read_tape_table(TAPES["right"]).rows,
        side=Side.RIGHT,
        from_mm=FROM_MM,
        to_mm=TO_MM,
        axis_from_world=legs.measured["right"].axis_from_world,
        same_visit=True,
    )
    first, second = (volume(each.fit.limb, FROM_MM, TO_MM).mean for each in (legs.measured["right"], again))
    assert second == pytest.approx(first, rel=1e-9)


@pytest.mark.slow
def test_a_leg_beside_the_mats_middle_is_measured_without_saying_so(legs):
    found = measure_limb(
        PHOTOS,
        read_field(HOME / "field.json"),
        read_tape_table(TAPES["left"]).rows,
        side=Side.LEFT,
        from_mm=FROM_MM,
        to_mm=TO_MM,
        same_visit=True,
    )
    first, second = (volume(each.fit.limb, FROM_MM, TO_MM).mean for each in (legs.measured["left"], found))
    assert second == pytest.approx(first, rel=1e-9)


@pytest.mark.slow
def test_the_command_writes_two_models_and_says_which_leg_holds_more(tmp_path):
    command = [sys.executable, "-m", "digitise", "both", *map(str, PHOTOS), "--same-visit"]
    command += ["--field", str(HOME / "field.json"), "--from", str(FROM_MM), "--to", str(TO_MM)]
    command += [
        f"--left-tape={TAPES['left']}",
        f"--right-tape={TAPES['right']}",
        "--out",
        str(tmp_path / "o"),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert [read_model(tmp_path / "o" / side).summary.side for side in Side] == list(Side)
    assert "The left leg holds" in done.stdout


@pytest.mark.slow
def test_from_two_photographs_the_leg_that_is_seen_free_is_measured(tmp_path):
    """Front and left: the right leg stands behind the left one, whose model is written all the same."""
    command = [sys.executable, "-m", "digitise", "both", *map(str, PHOTOS[:2]), "--same-visit"]
    command += ["--field", str(HOME / "field.json"), f"--left-tape={TAPES['left']}"]
    command += [f"--right-tape={TAPES['right']}", "--out", str(tmp_path / "visit")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert "The right leg: from there the other leg stands before this one" in done.stderr
    assert "from the right" in done.stderr
    assert [folder.name for folder in (tmp_path / "visit").iterdir()] == ["left"]
