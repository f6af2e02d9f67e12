"""Places on a foot: none on feet without swelling, and what is added is found where it is, once."""

import numpy as np
import pytest
from standing_feet import LOW, foot_below, leg_with_foot

from digitise.care.padding.foot.areas import BEHIND_INNER, BEHIND_OUTER, TOP, foot_areas
from digitise.care.padding.foot.build import _builds, from_build
from digitise.care.padding.foot.places import Against, foot_places
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.shape.foot.prior import usual_foot

LEG = {side: leg_with_foot(side)[0] for side in ("left", "right")}
# what photographs leave open of each difference: together 0.8 mm on a measured foot
SD = 0.08


def built(rng):
    """Differences of a foot without swelling, as photographs tell them, tall enough for its leg."""
    mean, covariance = _builds()
    while True:
        own = rng.multivariate_normal(mean, covariance) + rng.normal(0, SD, len(mean))
        if tall(own):
            return own


def tall(own):
    model = usual_foot("left")
    return (model.mean + np.tensordot(own, model.modes, axes=1))[:, 2].max() > LOW + 25.0


def foot_of(side, differences):
    return foot_below(LEG[side], differences, SD)


def told(side, moved):
    """Differences that move the usual foot's vertices so far outward, mm: as much of it as the modes hold.

    No more of a swelling is seen by photographs, either.
    """
    model = usual_foot(side)
    out = moved[:, None] * vertex_normals(Mesh(model.mean, model.faces))
    return np.linalg.lstsq(model.modes.reshape(len(model.modes), -1).T, out.ravel(), rcond=None)[0]


def heap(side, height_mm, rng):
    """A heap as wide as the swollen back of a foot, and the vertex under the top of what is told of it."""
    model = usual_foot(side)
    inside = np.flatnonzero(foot_areas(side).of[TOP])
    middle = model.mean[inside].mean(axis=0)
    near = inside[np.argsort(np.linalg.norm(model.mean[inside] - middle, axis=1))[: len(inside) // 3]]
    top = int(rng.choice(near))
    off = (model.mean - model.mean[top]) / np.array([45.0, 35.0, 1e9])
    upward = np.clip((vertex_normals(Mesh(model.mean, model.faces))[:, 2] + 0.1) / 0.7, 0.0, 1.0)
    more = told(side, height_mm * np.exp(-0.5 * np.sum(off**2, axis=1)) * upward)
    moved = np.einsum(
        "vc,vc->v", np.tensordot(more, model.modes, axes=1), vertex_normals(Mesh(model.mean, model.faces))
    )
    return more, int(inside[np.argmax(moved[inside])])


def filled(side, height_mm):
    """Swelling behind both ankle bones."""
    _, y, z = usual_foot(side).mean.T
    return told(
        side, height_mm * np.exp(-0.5 * ((z - 75.0) / 22.0) ** 2) * np.clip((-40.0 - y) / 40.0, 0.0, 1.0)
    )


def test_parts_lie_where_their_names_say():
    for side, outward in (("left", -1.0), ("right", 1.0)):
        parts, mean = foot_areas(side).of, usual_foot(side).mean
        outer, inner, top = (mean[parts[name]].mean(axis=0) for name in (BEHIND_OUTER, BEHIND_INNER, TOP))
        assert outward * outer[0] > 15.0 > -15.0 > outward * inner[0]
        # behind the bones, which stand 70 mm before the toes' side of the middle of the footprint
        assert max(outer[1], inner[1]) < -80.0 < 0.0 < top[1]
        assert not (parts[BEHIND_OUTER] & parts[TOP]).any()


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_usual_build_has_no_places_and_its_mirror_the_same_values(side):
    mean, _ = _builds()
    foot = foot_of(side, mean)
    assert foot_places(foot, side) == ()
    assert np.abs(from_build(foot.belief).value).max() < 1e-6


def test_feet_without_swelling_have_at_most_one_place_among_thirty():
    rng = np.random.default_rng(8)
    feet = [(side, foot_of(side, built(rng))) for side in ("left", "right") * 15]
    assert sum(len(foot_places(foot, side)) for side, foot in feet) <= 1


@pytest.mark.parametrize("against", [False, True])
def test_a_heap_on_the_back_is_found_where_it_is_once(against):
    """Heaps of 8 to 14 mm: found in 95 of 100, once, and where they are."""
    rng, good = np.random.default_rng(3), 0
    for number in range(40):
        side = ("left", "right")[number % 2]
        own = built(rng)
        more, top = heap(side, rng.uniform(8, 14), rng)
        foot = foot_of(side, own + more + rng.normal(0, SD, len(own)))
        others = (
            [Against("the other foot", foot_of("right" if side == "left" else "left", own))]
            if against
            else []
        )
        found = [place for place in foot_places(foot, side, others) if place.area == TOP]
        if len(found) == 1 and found[0].kind == "bulge" and found[0].by_difference == against:
            away = np.linalg.norm(found[0].peak - foot.vertices[top])
            # a usual foot of that build takes some of a wide heap: its top is then less sharp
            good += away < 20.0 if against else found[0].vertices[top]
    assert good >= 38


def test_height_and_volume_of_a_heap_against_the_other_foot():
    rng = np.random.default_rng(4)
    mean, _ = _builds()
    more, _ = heap("left", 12.0, rng)
    foot, other = foot_of("left", mean + more), foot_of("right", mean)
    (place,) = foot_places(foot, "left", [Against("the other foot", other)])
    normals = vertex_normals(Mesh(foot.vertices, foot.faces))
    moved = np.tensordot(more, usual_foot("left").modes, axes=1)
    height = np.einsum("vc,vc->v", moved, normals)[place.vertices].max()
    # where the two stand on the mat is fitted anew, which takes a little of the heap
    assert place.peak_mm == pytest.approx(height, abs=0.8)
    assert place.reference == "the other foot"
    assert place.confidence == "clear"
    assert place.volume_ml == pytest.approx(place.area_cm2 * place.peak_mm / 10 * 0.6, rel=0.35)


def test_what_went_down_since_the_last_visit_is_no_place():
    rng = np.random.default_rng(5)
    mean, _ = _builds()
    more, _ = heap("left", 12.0, rng)
    now, before = foot_of("left", mean), foot_of("left", mean + more)
    assert foot_places(now, "left", [Against("the other visit", before)]) == ()
    (grown,) = foot_places(before, "left", [Against("the other visit", now)])
    assert grown.by_difference


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("height", "kind"), [(15.0, "bulge"), (-10.0, "hollow")])
def test_behind_the_ankle_bones(side, height, kind):
    mean, _ = _builds()
    foot = foot_of(side, mean + filled(side, height))
    found = [place for place in foot_places(foot, side) if place.area != TOP]
    assert {(place.kind, place.place) for place in found} == {(kind, BEHIND_OUTER), (kind, BEHIND_INNER)}
    assert all(place.bridge_mm >= 0.0 for place in found)


def test_what_is_drawn_to_the_leg_is_no_place():
    """A leg twice as thick as its foot's own ankle draws the foot outward over its last 40 mm."""
    wide = leg_with_foot("left")[0]
    foot = foot_below(wide, _builds()[0], SD)
    assert foot.top_mm == LOW
    assert foot_places(foot, "left") == ()
