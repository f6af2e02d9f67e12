"""The order of the steps: whose words name a photograph how."""

import dataclasses

import numpy as np
import pytest
from output_support import measure

from digitise.capture.checks.inspection import Inspection
from digitise.errors import ShapeError
from digitise.workflow.measure import Outlined, fit_outlines


@pytest.fixture(scope="module")
def outlined():
    measured = measure()
    inspection = Inspection(measured.facts, measured.findings, measured.calibration)
    return Outlined(
        measured.photos, measured.outlines, inspection, measured.calibration, measured.axis_from_world
    )


def test_warnings_name_photographs_as_they_are_passed_on(outlined):
    fitted = fit_outlines(outlined, ())
    texts = [warning.text for warning in fitted.fit.warnings if warning.code == "edge-unsure"]
    assert texts
    assert all(text.startswith(("photo-1.jpg: ", "photo-2.jpg: ")) for text in texts)
    assert [photo.name for photo in fitted.photos] == ["front.jpg", "side.jpg"]


def test_errors_name_photographs_as_they_were_given(outlined):
    (left, right), (below, beside) = outlined.outlines[1].edges, outlined.outlines[1].heights
    last = np.arange(3) - 3
    cut = dataclasses.replace(
        outlined.outlines[1], edges=(left.pick(last), right), heights=(below[last], beside)
    )
    with pytest.raises(ShapeError, match="too few usable points") as caught:
        fit_outlines(dataclasses.replace(outlined, outlines=(outlined.outlines[0], cut)), ())
    assert caught.value.where == "side.jpg"


def test_errors_of_all_photographs_name_them_all(outlined):
    doubtful = tuple(
        dataclasses.replace(
            outline, edges=tuple(dataclasses.replace(e, sure=~(e.sure | True)) for e in outline.edges)
        )
        for outline in outlined.outlines
    )
    with pytest.raises(ShapeError) as caught:
        fit_outlines(dataclasses.replace(outlined, outlines=doubtful), ())
    assert caught.value.where == "front.jpg, side.jpg"
