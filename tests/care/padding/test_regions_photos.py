"""A swelling that went down between two photographed visits is found and placed."""

import numpy as np
import pytest
from conftest import CASES, Case

from digitise.capture.sheets.field import read_field
from digitise.care.change.compare import compare
from digitise.care.padding.maps import standing_out
from digitise.care.padding.regions import find_regions
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb

WEEKS = ("pair-calf-week0", "pair-calf-week3")


@pytest.mark.slow
def test_swelling_of_the_week_pair_is_found_and_placed():
    cases = [Case(name, CASES[name] / name) for name in WEEKS]
    swollen, later = (
        measure_limb(case.photos, read_field(case.field), read_tape(case.tape)).fit.limb for case in cases
    )
    # a calf that is swollen all round is no place, nor is what two photographs do not show
    alone = [one.kind for leg in (swollen, later) for one in find_regions(leg)]
    assert set(alone) <= {"inverted taper"}
    difference = standing_out(compare(swollen, later), "the visit of week 3")
    listed = [one for one in find_regions(swollen, (difference,)) if one.why.find("week 3") > 0]
    bulge = max(listed, key=lambda one: one.volume_ml)
    # radial change of the true surfaces, laid on each other where they changed alike (560 to 800 mm), is
    # greatest at 390 mm, 265 degrees, 7.5 mm; nine tenths of it from 345 to 435 mm and over 100 degrees
    assert abs(bulge.peak_height_mm - 390) < 15
    assert abs(np.degrees(np.angle(np.exp(1j * (bulge.peak_theta - np.radians(265)))))) < 50
    assert bulge.peak_mm == pytest.approx(7.5, abs=2 * bulge.peak_sd_mm)
    truths = [{row["height"]: row["hull_perimeter"] for row in case.truth["sections"]} for case in cases]
    heights = [h for h in truths[0] if h in truths[1] and swollen.from_mm + 100 < h < swollen.to_mm - 100]
    most = max(heights, key=lambda h: truths[0][h] - truths[1][h])
    assert most == 390
    assert bulge.from_mm < most < bulge.to_mm
    assert "calf, all round" in bulge.place
    assert "back" in bulge.peak_place
    # nothing stands out the other way
    back = standing_out(compare(later, swollen), "the visit of week 0")
    assert not [one for one in find_regions(later, (back,)) if one.why.find("week 0") > 0]
    assert 0 < bulge.volume_sd_ml < 0.2 * bulge.volume_ml
