"""Heights that were asked for and are not seen: named and left out, never guessed."""

import dataclasses

import numpy as np
import pytest
from output_support import measure

from digitise.capture.checks.inspection import Inspection
from digitise.capture.outline.result import Hidden
from digitise.errors import ShapeError
from digitise.shape.levels import OutOfSightError
from digitise.shape.limb import volume
from digitise.workflow.measure import Outlined, fit_outlines
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
