"""Edges that cannot be of one still limb: refused, named, or allowed for in the interval."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
import synthetic
from change_study import BOTH_BETWEEN, SWAYING, fitted
from mesh_limbs import limbs
from prior_limbs import draw_limb
from scipy.spatial.transform import Rotation

from digitise.errors import ContradictionError, ShapeError
from digitise.geometry.rigid import Pose
from digitise.shape.basis import Basis
from digitise.shape.fit import fit_limb
from digitise.shape.limb import coefficients, volume
from digitise.shape.priors import LEG
from digitise.shape.scene import LEAN_SD_DEG, SHIFT_SD_MM, sway_modes
from digitise.shape.solve import in_place
from digitise.tape.rows import TapeRow

LEVELS = (90.0, 410.0)
TAPED = np.array([100.0, 200.0, 300.0, 400.0])


def seen(solid, motions, directions=(90.0, 0.0)):
    """What cameras see of a solid that has moved before each of them."""
    views = []
    for camera, motion in zip(synthetic.walking_cameras(directions), motions, strict=True):
        moved = dataclasses.replace(camera, camera_from_world=camera.camera_from_world @ motion)
        (view,) = synthetic.exact_views(solid, (moved,), 65, 435, step=3)
        views.append(dataclasses.replace(view, name=f"view-{len(views) + 1}", camera=camera))
    return tuple(views)


def motion(rng, mm, degrees):
    """A shift to any side and a turn about any axis through the foot."""
    way, axis = rng.uniform(0, 2 * np.pi), rng.standard_normal(3)
    turn = np.radians(rng.uniform(0, degrees)) * axis / np.linalg.norm(axis)
    shift = rng.uniform(0, mm) * np.array([np.cos(way), np.sin(way), 0.0])
    return Pose(Rotation.from_rotvec(turn).as_matrix(), shift)


def leaning(degrees):
    """A lean about the line from camera to foot at 45 degrees, across the line of sight."""
    about = np.radians(degrees) * np.array([1.0, 1.0, 0.0]) / np.sqrt(2.0)
    return Pose(Rotation.from_rotvec(about).as_matrix(), np.zeros(3))


def tape(solid, rng):
    # a tape repeats to 2.5 mm
    read = solid.girth(TAPED) + 2.5 * rng.standard_normal(len(TAPED))
    return tuple(TapeRow(float(z), float(g)) for z, g in zip(TAPED, read, strict=True))


def share_covered(rng, count, mm, degrees):
    """Of swaying limbs, the share whose interval holds the truth; one that is refused counts as held."""
    held = 0
    for _ in range(count):
        solid = draw_limb(rng)
        views = seen(solid, (Pose.identity(), motion(rng, mm, degrees)))
        try:
            limb = fit_limb(views, tape(solid, rng), from_mm=LEVELS[0], to_mm=LEVELS[1]).limb
        except ShapeError:
            held += 1
            continue
        low, high = volume(limb, *LEVELS).interval_95
        held += low <= solid.volume(*LEVELS) <= high
    return held / count


def test_a_few_swaying_limbs_are_covered(rng):
    # of ten at 90 %, less than seven has a chance of one in a hundred
    assert share_covered(rng, 10, 10.0, 5.0) >= 0.7


@pytest.mark.slow
def test_legs_that_sway_before_four_cameras_are_known_as_well_as_stated():
    """Legs of body meshes that move as standing people do: errors of volumes over their stated sds."""
    scores = []
    for leg in limbs("pair")[6:24]:
        once = dataclasses.replace(leg, solids=leg.solids[:1])
        (limb,) = fitted(once, SWAYING, between=BOTH_BETWEEN)
        whole = volume(limb, leg.low, leg.high)
        scores.append((whole.mean - leg.solids[0].volume(leg.low, leg.high)) / whole.sd)
    # of 18 normal errors a sum of squares above 34.8 has a chance of one in a hundred
    assert np.sum(np.square(scores)) < 34.8


def test_larger_movements_between_four_photographs_are_told_and_widen_the_interval(rng):
    solid, directions = draw_limb(rng), (90.0, 0.0, 135.0, 45.0)
    still = seen(solid, 4 * (Pose.identity(),), directions)
    moved = seen(solid, (*3 * (Pose.identity(),), leaning(3.0)), directions)
    sds = [
        volume(synthetic.of_true_print(fit_limb(views, from_mm=LEVELS[0], to_mm=LEVELS[1]).limb), *LEVELS).sd
        for views in (still, moved)
    ]
    # it leant by ten times what a standing limb does; without that, 13 mm of depth at its middle are 0.8 % of
    # what a camera 1.6 m away sees of it, beside the 1 % that four photographs leave (sd)
    assert sds[1] > 1.05 * sds[0]


@pytest.mark.slow
def test_swaying_limbs_are_covered(rng):
    # of 200 at 95 %, less than 90 % has a chance of one in a thousand
    assert share_covered(rng, 200, 10.0, 5.0) >= 0.9


def test_what_a_limb_may_sway_widens_the_interval(rng, monkeypatch):
    solid = draw_limb(rng)
    views = seen(solid, (Pose.identity(), Pose.identity()))
    allowed = volume(fit_limb(views, from_mm=LEVELS[0], to_mm=LEVELS[1]).limb, *LEVELS)
    for name in ("SHIFT_SD_MM", "LEAN_SD_DEG", "TURN_SD_DEG"):
        monkeypatch.setattr(f"digitise.shape.scene.{name}", 0.0)
    still = volume(fit_limb(views, from_mm=LEVELS[0], to_mm=LEVELS[1]).limb, *LEVELS)
    assert allowed.sd > 1.003 * still.sd
    # nobody moved, and no tape says otherwise: the volume moves by much less than its interval
    assert allowed.mean == pytest.approx(still.mean, abs=0.2 * still.sd)


@pytest.mark.slow
def test_swaying_limbs_are_read_better_for_it(rng, monkeypatch):
    limbs = [(draw_limb(rng), motion(rng, 10.0, 5.0)) for _ in range(60)]
    scenes = [(solid, seen(solid, (Pose.identity(), moved)), tape(solid, rng)) for solid, moved in limbs]

    def rms():
        found = [
            volume(fit_limb(views, rows, from_mm=LEVELS[0], to_mm=LEVELS[1]).limb, *LEVELS).mean
            / solid.volume(*LEVELS)
            - 1
            for solid, views, rows in scenes
        ]
        return np.sqrt(np.mean(np.square(found)))

    allowed = rms()
    for name in ("SHIFT_SD_MM", "LEAN_SD_DEG", "TURN_SD_DEG"):
        monkeypatch.setattr(f"digitise.shape.scene.{name}", 0.0)
    # of 150 such limbs 0.78 % where 0.90 % was read without
    assert allowed < rms()


def test_a_flat_thing_is_no_limb():
    # an ellipse of 3:1 has 0.60 of the area of a circle of its girth
    solid = synthetic.EllipticFrustum(0, 800, (90, 30), (100, 34))
    views = synthetic.exact_views(solid, synthetic.walking_cameras(), 65, 435, step=3)
    rows = tuple(TapeRow(float(z), float(solid.girth(np.array([z]))[0])) for z in TAPED)
    try:
        fit = fit_limb(views, rows, from_mm=LEVELS[0], to_mm=LEVELS[1])
    except ContradictionError as error:
        assert "no limb has" in error.what
    else:
        assert "solid" in [warning.code for warning in fit.warnings]


def test_tape_of_another_limb_is_refused():
    solid = synthetic.EllipticFrustum(0, 800, (38, 46), (75, 70))
    views = synthetic.exact_views(solid, synthetic.walking_cameras(), 65, 435, step=3)
    rows = tuple(TapeRow(float(z), float(1.3 * solid.girth(np.array([z]))[0])) for z in TAPED)
    try:
        codes = [w.code for w in fit_limb(views, rows, from_mm=LEVELS[0], to_mm=LEVELS[1]).warnings]
    except ContradictionError:
        return
    assert "scale" in codes


ROWS_MM = (110.0, 210.0, 310.0, 410.0, 510.0)


@pytest.mark.parametrize(
    ("off_mm", "refused"),
    [
        ((0, -20, -20, 0, 0), True),  # taped bare, seen with a bandage on
        ((0, -20, 20, 0, 0), False),  # two rows swapped differ both ways
        ((0, 0, -20, 0, 0), False),  # one row misread
        ((0, -9, -9, 0, 0), False),  # 3 % of a girth of 300 mm
    ],
)
def test_two_rows_next_to_each_other_that_differ_one_way_are_no_slip(off_mm, refused):
    trunk = synthetic.EllipticFrustum(0, 700, (52.0, 46.0), (60.0, 54.0), (0, 0), (0, 0))
    views = synthetic.exact_views(trunk, synthetic.walking_cameras((90.0, 0.0)), 80, 620, step=2)
    girths = trunk.girth(np.array(ROWS_MM)) + off_mm
    rows = tuple(TapeRow(z, float(girth)) for z, girth in zip(ROWS_MM, girths, strict=True))
    if refused:
        with pytest.raises(ContradictionError, match="2 of 5 tape rows contradict the photographs: at 2"):
            fit_limb(views, rows, from_mm=100.0, to_mm=560.0)
    else:
        fit_limb(views, rows, from_mm=100.0, to_mm=560.0)


def test_a_row_beside_a_doubtful_edge_is_followed():
    solid = synthetic.EllipticFrustum(0, 800, (50, 50), (62, 62))
    views = synthetic.exact_views(solid, synthetic.walking_cameras(), 65, 435, step=3)
    edge = views[0].edges[0]
    # something behind the limb is taken for it from 170 to 230 mm, 25 mm off, and known to be in doubt
    wrong = (np.arange(65, 436, 3) > 170) & (np.arange(65, 436, 3) < 230)
    points = edge.points + np.where(wrong[:, None], 47.0 * edge.normals, 0.0)
    spoilt = dataclasses.replace(edge, points=points, sure=edge.sure & ~wrong)
    views = (dataclasses.replace(views[0], edges=(spoilt, views[0].edges[1])), views[1])
    rows = tuple(TapeRow(float(z), float(solid.girth(np.array([z]))[0])) for z in TAPED)
    fit = fit_limb(views, rows, from_mm=LEVELS[0], to_mm=LEVELS[1])
    assert "suspect" not in [check.verdict for check in fit.tape_checks]


def test_one_hidden_edge_is_bridged_and_widens_the_interval(rng):
    solid = draw_limb(rng)
    views = seen(solid, (Pose.identity(), Pose.identity()))
    edge = views[0].edges[1]
    hidden = dataclasses.replace(edge, seen=edge.seen & ~((np.arange(len(edge.seen)) // 12) % 10 >= 5))
    fewer = (dataclasses.replace(views[0], edges=(views[0].edges[0], hidden)), views[1])
    rows = tape(solid, rng)
    whole, part = (
        volume(
            synthetic.of_true_print(fit_limb(found, rows, from_mm=LEVELS[0], to_mm=LEVELS[1]).limb), *LEVELS
        )
        for found in (views, fewer)
    )
    assert part.sd > whole.sd
    assert abs(part.mean - solid.volume(*LEVELS)) < 3 * part.sd


@pytest.mark.parametrize("off_px", [20.0, -20.0])
def test_an_edge_that_is_nowhere_sure_is_no_other_scale(rng, off_px):
    """Another body's edge all along: every girth contradicts it alike, and it does not count."""
    solid = draw_limb(rng)
    views = seen(solid, (Pose.identity(), Pose.identity()))
    edge = views[1].edges[1]
    other = dataclasses.replace(
        edge,
        points=edge.points + off_px * edge.normals,
        sure=np.zeros(len(edge.sure), bool),
        sd_px=np.full(len(edge.sure), 3.0),
    )
    mistaken = (views[0], dataclasses.replace(views[1], edges=(views[1].edges[0], other)))
    limb = fit_limb(mistaken, tape(solid, rng), from_mm=LEVELS[0], to_mm=LEVELS[1]).limb
    low, high = volume(limb, *LEVELS).interval_95
    assert low < solid.volume(*LEVELS) < high


@pytest.mark.parametrize("number", range(5))
def test_a_limb_that_moved_stands_where_each_photograph_shows_it(number):
    """The second photograph, from the right, alone tells what is along y: shifted, or leant about x."""
    frustum = synthetic.EllipticFrustum(0, 800, (38, 46), (75, 70))
    cameras = synthetic.walking_cameras()
    moved = sway_modes(cameras, Pose.identity())[number]
    found = zip(synthetic.exact_views(frustum, moved, 65, 435, step=4), cameras, strict=True)
    views = tuple(dataclasses.replace(view, camera=camera) for view, camera in found)
    prior = dataclasses.replace(LEG, means=())
    limb = fit_limb(views, from_mm=LEVELS[0], to_mm=LEVELS[1], prior=prior).limb
    z = np.array([100.0, 250.0, 400.0])
    still = 0.0 * z
    along = {0: still + SHIFT_SD_MM, 1: z * np.tan(np.radians(LEAN_SD_DEG))}
    # a photograph's pixel is half a millimetre there, and the drawn edges are without error
    centres = coefficients(limb, z)[0][:, 1:3]
    np.testing.assert_allclose(centres, np.stack([still, along.get(number, still)], axis=1), atol=0.1)


def test_movements_that_were_found_are_how_the_limb_stands():
    """Half a sd of a shift by 2 mm along y and all of a lean by 1 in 100 along x, seen as movements."""
    basis = Basis.uniform(0.0, 400.0, 20.0, 3)
    theta, z = np.tile([0.1, 1.7, 3.3, 4.9], 9), np.repeat(np.linspace(20.0, 380.0, 9), 4)
    modes = np.stack([0 * z, 2.0 * np.sin(theta), 0.01 * z * np.cos(theta)], axis=1)
    edge = SimpleNamespace(samples=SimpleNamespace(theta=theta, z=z), modes=modes)
    believed = SimpleNamespace(mean=np.ones(basis.size), modes=np.array([7.0, 0.5, 1.0]))
    terms = (in_place(basis, (edge,), believed, 2) - 1.0).reshape(basis.n_terms, -1)
    at = np.array([50.0, 200.0, 350.0])
    found = basis.splines(at) @ terms.T
    np.testing.assert_allclose(found[:, 1:3], np.stack([0.01 * at, 1.0 + 0 * at], axis=1), atol=1e-9)
    np.testing.assert_allclose(np.delete(found, [1, 2], axis=1), 0.0, atol=1e-12)
    assert in_place(basis, (edge,), believed, 0) is believed.mean
