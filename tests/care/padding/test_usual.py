"""What legs usually are is no finding; what is added to one is, once, where it is."""

from types import SimpleNamespace

import numpy as np
import pytest
from solid_limbs import limb
from usual_limbs import added, judged

from digitise.care.padding.advice import ADVICE_BY_FEEL, FEEL, effect
from digitise.care.padding.places import MOST_LISTED, short_lists
from digitise.care.padding.regions import ADVICE, find_regions
from digitise.care.padding.usual import PlacedShape, fit_usual, usual_leg
from digitise.care.surface.chart import limb_chart

LOW, HIGH = 100.0, 700.0
ANKLE_MM, SHANK_MM = 72.0, 445.0


def leg(*more):
    """A leg in the middle of the range, a standard deviation along its first mode, and what is added."""
    shape = usual_leg()
    theta, z = 2 * np.pi * np.arange(73) / 72, np.arange(LOW - 20, HIGH + 21, 4.0)
    on = PlacedShape(shape, theta, z, ANKLE_MM, SHANK_MM)
    h = on.mean + (on.modes[:, 0] * shape.mode_sd[0]).reshape(len(z), len(theta))

    def support(at_theta, at_z):
        t, q = np.broadcast_arrays(np.mod(at_theta, 2 * np.pi), at_z)
        row, column = (q - z[0]) / 4.0, t / (2 * np.pi) * 72
        i, j = np.minimum(row.astype(int), len(z) - 2), np.minimum(column.astype(int), 71)
        a, b = row - i, column - j
        lower = h[i, j] * (1 - b) + h[i, j + 1] * b
        upper = h[i + 1, j] * (1 - b) + h[i + 1, j + 1] * b
        return lower * (1 - a) + upper * a

    return lambda t, at: support(t, at) + sum(one(t, at) for one in more)


def test_a_usual_leg_has_no_places():
    usual = limb(leg(), low=LOW, high=HIGH)
    assert find_regions(usual) == ()
    found = fit_usual(usual, limb_chart(usual))
    assert found is not None
    # joints are told from form alone, to a centimetre or two
    assert found.ankle_mm == pytest.approx(ANKLE_MM, abs=15)
    assert found.knee_mm == pytest.approx(ANKLE_MM + SHANK_MM, abs=25)


@pytest.mark.parametrize(
    ("sort", "peak", "theta", "z", "kind"),
    [
        ("bulge", 10.0, -1.2, 360.0, "bulge"),
        ("dent", 10.0, 0.9, 300.0, "hollow"),
        ("fold", 10.0, -1.6, 420.0, "crease"),
    ],
)
def test_one_place_added_is_found_once_and_placed(sort, peak, theta, z, kind):
    spot = (sort, peak, theta, z, 0.6, 12.0 if sort == "fold" else 32.0)
    found = find_regions(limb(leg(added(*spot)), low=LOW, high=HIGH))
    hit, away, times, others = judged(spot, found, leg())
    assert (hit, times, others) == (True, 1, 0)
    assert away <= 10.0
    assert found[0].kind == kind
    assert found[0].peak_mm == pytest.approx(peak, abs=3.0)
    assert found[0].certainty > 1.0


def test_what_a_bandage_would_do_goes_by_the_place():
    (dent,) = find_regions(limb(leg(added("dent", 12.0, 0.9, 300.0, 0.6, 25.0)), low=LOW, high=HIGH))
    assert dent.bridge_mm is not None
    # a taut sheet lies on the rims: nearly the whole dip where the leg is straight
    assert 4.0 < dent.bridge_mm <= 13.0
    assert (
        effect(dent) == f"A bandage would bridge a dip of {dent.bridge_mm:.0f} mm here and press on its rims."
    )


def test_an_arm_is_held_against_its_own_taper():
    arm = limb(leg(), kind="arm", low=LOW, high=HIGH)
    assert fit_usual(arm, limb_chart(arm)) is None


def test_every_kind_has_what_to_feel_and_what_to_do():
    assert set(FEEL) == set(ADVICE_BY_FEEL) == set(ADVICE)


def test_three_are_listed_unless_all_are_asked_for():
    limb, foot = (
        [SimpleNamespace(certainty=sure) for sure in all_of] for all_of in ((3.0, 2.0, 1.2), (2.5, 1.1))
    )
    assert MOST_LISTED == 3
    assert short_lists(limb, foot) == ((limb[0], limb[1]), (foot[0],))
    assert short_lists(limb, ()) == (tuple(limb), ())
    assert short_lists(limb, foot, 9) == (tuple(limb), tuple(foot))
