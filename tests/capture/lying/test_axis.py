"""The axis of a lying limb from exact silhouettes of solids whose axis is known."""

import numpy as np
import pytest
from lying_limbs import cameras_above, lying_axis, silhouette
from synthetic import HarmonicSolid

from digitise.capture.lying.axis import find_axis
from digitise.errors import OutlineError
from digitise.geometry.rigid import rotation_angle

# fingertips, knuckles, wrist, widest forearm, elbow, upper arm: mean radii, mm, wrist at 0
ARM_Z = np.array([-180.0, -150.0, -80.0, -40.0, 0.0, 60.0, 150.0, 240.0, 270.0, 350.0, 450.0])
ARM_R = np.array([15.0, 30.0, 38.0, 38.0, 27.0, 33.0, 45.0, 44.0, 44.0, 48.0, 53.0])
BEYOND_THE_MAT = (0.0, -400.0, 110.0)


def arm(bend_deg: float = 0.0) -> HarmonicSolid:
    """A round arm with its hand, its middle turned off the z axis above the elbow."""
    sections = np.zeros((len(ARM_Z), 3))
    sections[:, 0] = ARM_R
    sections[:, 1] = np.tan(np.radians(bend_deg)) * np.maximum(ARM_Z - 260.0, 0.0)
    return HarmonicSolid.through(ARM_Z, sections)


def seen(solid, axis, elevations=(50.0, 90.0, 130.0)):
    middle = axis.inverse().apply(np.array([0.0, 0.0, 130.0]))
    return [
        silhouette(solid, axis, -170.0, 430.0, camera, f"photo-{n}.jpg")
        for n, camera in enumerate(cameras_above(elevations, middle), start=1)
    ]


@pytest.mark.parametrize("elevations", [(50.0, 90.0, 130.0), (45.0, 135.0), (30.0, 95.0)])
@pytest.mark.parametrize(("turn", "pitch"), [(0.0, 0.0), (10.0, 2.0), (-7.0, -3.0)])
def test_axis_is_that_of_the_arm(elevations, turn, pitch):
    """Rays that halve a cone of 1 in 10 meet its axis to within 0.1 degrees; the bar is 1.5 and 4 mm."""
    true = lying_axis(turn, pitch, start=(20.0, -400.0, 110.0))
    found = find_axis(seen(arm(), true, elevations), "arm")
    assert np.degrees(rotation_angle(found.rotation @ true.rotation.T)) < 0.5
    # the wrist lies on it, 60 mm from where it begins, but for the 15 mm of smoothing and 5 mm of the grid
    x, y, z = found.apply(true.inverse().apply(np.array([0.0, 0.0, 0.0])))
    assert np.hypot(x, y) < 1.0
    assert abs(z - 60.0) < 20.0


def test_it_runs_from_the_hand_to_the_trunk_whichever_way_the_arm_lies():
    for turn in (0.0, 180.0):
        true = lying_axis(turn, 1.0, start=(0.0, -400.0 if turn == 0.0 else 400.0, 110.0))
        found = find_axis(seen(arm(), true), "arm")
        assert found.rotation[2] @ true.rotation[2] > 0.999


def test_the_knee_is_no_ankle_where_the_foot_lies_beyond_the_sheet():
    """A leg seen from its ankle on, the calf 15 % wider than the knee: it is not begun at the knee."""
    z = np.array([-60.0, 0.0, 60.0, 150.0, 240.0, 330.0, 390.0, 480.0, 600.0, 800.0])
    sections = np.zeros((len(z), 3))
    sections[:, 0] = [36.0, 36.0, 40.0, 52.0, 62.0, 57.0, 54.0, 60.0, 70.0, 82.0]
    leg, true = HarmonicSolid.through(z, sections), lying_axis(0.0, 1.0, start=BEYOND_THE_MAT)
    middle = true.inverse().apply(np.array([0.0, 0.0, 350.0]))
    cameras = cameras_above((50.0, 90.0, 130.0), middle)
    views = [
        silhouette(leg, true, -20.0, 750.0, camera, f"photo-{n}.jpg") for n, camera in enumerate(cameras)
    ]
    found = find_axis(views, "leg")
    # it begins 60 mm beyond what is seen
    assert found.apply(true.inverse().apply(np.array([0.0, 0.0, 0.0])))[2] == pytest.approx(80.0, abs=10.0)


def test_a_support_beside_some_levels_does_not_turn_it():
    true = lying_axis(5.0, 1.0, start=BEYOND_THE_MAT)
    views = seen(arm(), true)
    for view, wider in zip(views, (0.03, 0.0, 0.03), strict=True):
        z = np.arange(-170.0, 430.0, 4.0)
        beside = ((z > 20) & (z < 70)) | ((z > 330) & (z < 390))
        away = np.cross(view.second, view.first)[beside]
        view.second[beside] -= wider * np.cross(view.second[beside], away / np.linalg.norm(away))
    found = find_axis(views, "arm")
    assert np.degrees(rotation_angle(found.rotation @ true.rotation.T)) < 1.0


def test_photographs_from_one_side_are_refused():
    with pytest.raises(OutlineError, match="nearly the same direction"):
        find_axis(seen(arm(), lying_axis(start=BEYOND_THE_MAT), (50.0, 65.0)), "arm")


def test_a_bent_arm_is_refused():
    with pytest.raises(OutlineError, match="bent"):
        find_axis(seen(arm(bend_deg=50.0), lying_axis(start=BEYOND_THE_MAT)), "arm")


def test_a_mat_beside_the_middle_does_not_tell_hand_from_trunk():
    with pytest.raises(OutlineError, match="which end of the limb is hand or foot"):
        find_axis(seen(arm(), lying_axis(start=(200.0, 130.0, 110.0))), "arm")


def test_no_common_stretch_is_refused():
    camera, other = cameras_above((50.0, 130.0), (0.0, -530.0, 110.0))
    short = [
        silhouette(arm(), lying_axis(start=BEYOND_THE_MAT), -170.0, 80.0, camera, "photo-1.jpg"),
        silhouette(arm(), lying_axis(start=BEYOND_THE_MAT), 60.0, 430.0, other, "photo-2.jpg"),
    ]
    with pytest.raises(OutlineError, match="same stretch"):
        find_axis(short, "arm")
