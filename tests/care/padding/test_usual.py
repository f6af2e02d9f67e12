"""What legs usually are is no finding; what is added to one is, once, where it is."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from solid_limbs import limb
from usual_limbs import added, judged

from digitise.care.padding.advice import ADVICE_BY_FEEL, FEEL, effect
from digitise.care.padding.places import MOST_LISTED, short_lists
from digitise.care.padding.regions import ADVICE, find_regions
from digitise.care.padding.usual.evidence import _Seen, sightings
from digitise.care.padding.usual.fit import PlacedShape, fit_usual, usual_leg
from digitise.care.padding.usual.grid import Grid, Mark
from digitise.care.padding.usual.pursuit import LEAST_SCORE
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


def sighted(*spots):
    made = limb(leg(*(added(*spot) for spot in spots)), low=LOW, high=HIGH)
    return sightings(made, fit_usual(made, limb_chart(made)), 4.0)


def test_a_low_bump_that_the_fit_follows_is_sighted_as_high_as_it_is():
    """Of 7 mm the fit of the usual form takes a part; a score of 6 is an sd of 1.2 mm."""
    (found,) = sighted(("bulge", 7.0, -1.2, 330.0, 0.57, 32.0))
    assert found.kind == "bulge"
    assert found.height_mm == pytest.approx(7.0, abs=2.4)
    assert abs(found.z - 330.0) < 10.0
    assert abs(np.angle(np.exp(1j * (found.theta + 1.2)))) < 0.15


def test_two_places_are_two_and_leave_no_echo():
    spots = (("bulge", 10.0, -1.2, 240.0, 0.57, 32.0), ("fold", 9.0, 2.0, 420.0, 0.0, 12.0))
    found = sighted(*spots)
    assert [each.kind for each in found] == ["hollow", "bulge"]  # a fold is told far better
    assert [each.z for each in found] == [pytest.approx(420.0, abs=5.0), pytest.approx(240.0, abs=10.0)]
    assert found[0].score > found[1].score > LEAST_SCORE


def test_what_is_lower_than_asked_for_is_not_sighted():
    assert sighted(("fold", 3.0, 2.0, 420.0, 0.0, 12.0)) == ()


@pytest.mark.parametrize(("z", "tall"), [(150.0, 45.0), (250.0, 35.0)])
def test_swelling_all_round_is_no_place(z, tall):
    """Told as bumps it would be three on one height; the rise alone is none."""
    swollen = limb(leg(lambda _theta, at: 12.0 * np.exp(-0.5 * ((at - z) / tall) ** 2)), low=LOW, high=HIGH)
    assert sightings(swollen, fit_usual(swollen, limb_chart(swollen)), 4.0) == ()


def test_where_nothing_is_seen_a_limb_is_its_priors_mean():
    """A prior of sd 2 about 5, evidence of sd 1 of the first alone: 4/5 of the truth and 1/5 of the prior."""
    made = SimpleNamespace(
        mean=np.zeros(2),
        covariance=np.diag([1 / (1 / 4 + 1), 4.0]),
        prior_precision=np.eye(2) / 4,
        prior_mean=np.full(2, 5.0),
        considered=None,
        print_scale=None,
    )
    seen = _Seen.of(made)
    np.testing.assert_allclose(seen.gain, np.diag([0.8, 0.0]), atol=1e-12)
    np.testing.assert_allclose(seen.of_prior, [1.0, 5.0])
    np.testing.assert_allclose(seen.noise, np.diag([0.8**2, 0.0]), atol=1e-12)


def test_a_place_between_those_of_the_grid_is_placed_by_its_centre():
    """Without noise only the usual extent, which it is held to, draws it: by a tenth of its own."""
    (found,) = sighted(("bulge", 10.0, -1.05, 331.0, 0.46, 26.0))
    assert found.z == pytest.approx(331.0, abs=2.6)
    assert abs(np.angle(np.exp(1j * (found.theta + 1.05)))) < 0.046
    assert found.height_mm == pytest.approx(10.0, abs=1.0)


@pytest.mark.parametrize("fold", [False, True])
def test_slopes_of_a_mark_are_its_derivatives(fold):
    """Central differences of 1e-4 are right to some 1e-7 of the second unit."""
    grid = Grid(limb(leg(), low=LOW, high=HIGH))
    names = ("height_mm", "z", "theta", "tall", *(() if fold else ("wide",)))
    mark = Mark(fold, 7.0, 333.0, 0.5, 0.1, 0.0 if fold else -0.2)

    def held(name, by):
        moved = replace(mark, **{name: getattr(mark, name) + by})
        return moved.height_mm * grid.slopes(moved)[:, 0]

    slopes = grid.slopes(mark)
    assert slopes.shape[1] == len(names)
    for column, name in zip(slopes.T, names, strict=True):
        np.testing.assert_allclose(column, (held(name, 1e-4) - held(name, -1e-4)) / 2e-4, atol=1e-5)
