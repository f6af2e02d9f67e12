"""Heights that were asked for and are not seen: named and left out, never guessed."""

import dataclasses

import numpy as np
import pytest
from output_support import measure

from digitise.capture.checks.inspection import Inspection
from digitise.capture.outline.hiding import CLOTH
from digitise.capture.outline.result import Hidden
from digitise.errors import ShapeError
from digitise.shape.checks.contradictions import TapeContradictionError, require_taped
from digitise.shape.levels import OutOfSightError
from digitise.shape.limb import volume
from digitise.shape.taped import TapeCheck
from digitise.tape.rows import TapeRow
from digitise.workflow.measure import Outlined, fit_outlines
from digitise.workflow.seen.asked import as_far_as_seen
from digitise.workflow.seen.left_out import cure_of, hidden_findings


@pytest.fixture(scope="module")
def outlined():
    measured = measure()
    inspection = Inspection(measured.facts, measured.findings, measured.calibration)
    return Outlined(
        measured.photos, measured.outlines, inspection, measured.calibration, measured.axis_from_world
    )


def test_what_is_seen_of_the_heights_asked_for_is_measured(outlined):
    seen = fit_outlines(outlined, ()).fit
    high = seen.levels.to_mm
    asked = fit_outlines(outlined, (), to_mm=high + 90.0)
    assert asked.fit.limb.to_mm == high
    found = [finding for finding in asked.findings if finding.code == "not-seen"]
    assert len(found) == 1
    assert f"From {high:.0f} to {high + 90.0:.0f} mm" in found[0].text
    assert found[0].severity == "warning"
    assert found[0].do
    # the volume is that of what is seen, as if that had been asked for
    same = fit_outlines(outlined, (), to_mm=high).fit.limb
    assert volume(asked.fit.limb, same.from_mm, high).mean == pytest.approx(
        volume(same, same.from_mm, high).mean
    )


def test_both_ends_are_named(outlined):
    levels = fit_outlines(outlined, ()).fit.levels
    asked = fit_outlines(outlined, (), from_mm=levels.from_mm - 200.0, to_mm=levels.to_mm + 90.0)
    assert sum(finding.code == "not-seen" for finding in asked.findings) == 2
    assert asked.fit.limb.from_mm >= levels.from_mm - 20.0


def test_heights_of_which_nothing_is_seen_are_refused(outlined):
    high = fit_outlines(outlined, ()).fit.levels.to_mm
    with pytest.raises(ShapeError, match="was asked for"):
        fit_outlines(outlined, (), from_mm=high + 20.0, to_mm=high + 200.0)
    with pytest.raises(ShapeError, match="was asked for"):
        fit_outlines(outlined, (), from_mm=high - 20.0, to_mm=high + 200.0)


def test_the_error_tells_what_can_be_measured():
    error = OutOfSightError("x", do="y", from_mm=90.0, to_mm=640.0)
    assert (error.from_mm, error.to_mm, error.do) == (90.0, 640.0, "y")


def test_hidden_stretches_are_named_with_their_cure(outlined):
    part = Hidden("right", 300.0, 520.0, "the other leg or a hand")
    outline = dataclasses.replace(outlined.outlines[0], hidden=(part,))
    (told,) = hidden_findings([outline], 350.0, 800.0)
    assert "the right edge is hidden by the other leg or a hand from 350 to 520 mm" in told.text
    assert hidden_findings([outline], 500.0, 800.0) == ()  # 20 mm are told by their neighbours
    assert "set the feet further apart" in cure_of([outline], 100.0, 800.0)
    assert "leave it out" in cure_of([outline], 100.0, 800.0)
    assert "leave it out" not in cure_of([outline], 100.0, 800.0, instead=False)
    assert np.isfinite(outline.heights[0]).all()


def test_cloth_below_what_is_measured_is_named(outlined):
    parts = tuple(Hidden(side, 60.0, 214.0, CLOTH) for side in ("left", "right"))
    outline = dataclasses.replace(outlined.outlines[0], hidden=parts)
    (told,) = hidden_findings([outline, outline], 210.0, 800.0)
    assert told.text.startswith("Below 210 mm cloth or a bandage goes round the limb")
    assert "Bare the limb" in told.do
    # asked for from further down it hides what is measured
    assert len(hidden_findings([outline], 100.0, 800.0)) == 2
    assert "bare the limb there" in cure_of([outline], 100.0, 800.0)


def contradicted(agree):
    return TapeContradictionError("x", where="front.jpg", do="Look.", agree=agree)


@pytest.mark.parametrize(
    ("agree", "asked", "words"),
    [
        ((None, 260.0), (None, 260.0), "Above 260 mm the tape and the photographs contradict"),
        ((260.0, None), (260.0, None), "Below 260 mm the tape and the photographs contradict"),
    ],
)
def test_where_the_tape_contradicts_one_end_the_rest_is_measured(outlined, agree, asked, words):
    def solve(low, high):
        if (low, high) != asked:
            raise contradicted(agree)
        return fit_outlines(outlined, (), from_mm=low, to_mm=high).fit

    fit, findings = as_far_as_seen(solve, None, None, outlined.outlines)
    [told] = findings
    assert (told.code, told.severity) == ("tape-contradicts", "warning")
    assert told.text.startswith(words)
    assert told.do
    assert asked[1] is None or fit.limb.to_mm == asked[1]
    assert asked[0] is None or fit.limb.from_mm == asked[0]


def test_heights_asked_for_are_named_where_the_tape_contradicts_both_ends(outlined):
    fit = fit_outlines(outlined, ()).fit

    def solve(low, high):
        if (low, high) != (150.0, 350.0):
            raise contradicted((150.0, 350.0))
        return fit_outlines(outlined, (), from_mm=low, to_mm=high).fit

    _, findings = as_far_as_seen(solve, 100.0, fit.limb.to_mm, outlined.outlines)
    assert [finding.text.split(" the tape")[0] for finding in findings] == [
        "From 100 to 150 mm",
        f"From 350 to {fit.limb.to_mm:.0f} mm",
    ]


def test_what_is_contradicted_everywhere_or_not_known_without_it_either_is_refused(outlined):
    def solve(low, high):
        raise contradicted(None) if low is None else ShapeError("too little is seen")

    with pytest.raises(TapeContradictionError):
        as_far_as_seen(solve, None, None, outlined.outlines)

    def known_nowhere(low, high):
        raise contradicted((150.0, 350.0)) if low is None else ShapeError("too little is seen")

    with pytest.raises(TapeContradictionError):
        as_far_as_seen(known_nowhere, None, None, outlined.outlines)


def check(height, off):
    verdict = "agrees" if abs(off) < 0.03 else "differs"
    return TapeCheck(TapeRow(height, 300.0), 300.0 * (1 - off), 2.0, 300.0 * off, 100 * off, 3.0, verdict)


@pytest.mark.parametrize(
    ("off", "agree"),
    [
        ((0.0, 0.01, -0.01, 0.2, 0.3), (None, 300.0)),
        ((0.2, 0.0, 0.01, -0.05, 0.3), (200.0, 400.0)),  # 5 % off is a fold, no other body
        ((0.3, 0.2, 0.0, 0.0, 0.0), (300.0, None)),
        ((0.0, 0.2, 0.0, 0.2, 0.0), None),  # nowhere three in a row
        ((0.0, 0.0, 0.2, 0.2, 0.2), None),
    ],
)
def test_the_rows_that_agree_are_told(off, agree):
    rows = tuple(check(100.0 * n, each) for n, each in enumerate(off, 1))
    with pytest.raises(TapeContradictionError, match="tape rows contradict the photographs") as caught:
        require_taped(rows[::-1], ("front.jpg",))
    assert caught.value.agree == agree
