"""Photographs along the limb: told from side views by where the camera stands, on any axis."""

import dataclasses

import numpy as np
import pytest
import synthetic
from output_support import measure

from digitise.capture.sheets.field import MarkerField
from digitise.errors import OutlineError
from digitise.geometry.rigid import Pose
from digitise.workflow.drawn import outline_or_reason
from digitise.workflow.seen.left_out import useful_outlines

# The limb's axis along the world's y, as of a leg that lies: x stays, y becomes z.
LYING = Pose(np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]), np.zeros(3))


@pytest.fixture(scope="module")
def measured():
    return measure()


def reason(measured, place, axis=None):
    """Why a photograph from this place has no outline: its picture is plain, so there always is a reason."""
    camera = synthetic.walking_cameras()[0]
    there = dataclasses.replace(camera, camera_from_world=synthetic.look_at(np.array(place), np.zeros(3)))
    calibration = dataclasses.replace(measured.calibration, cameras=(there, there))
    photo = dataclasses.replace(measured.photos[0], pixels=np.full((4032, 3024, 3), 128, np.uint8))
    field = MarkerField("DICT_APRILTAG_36h11", ())
    found = outline_or_reason(photo, 0, calibration, field, axis or Pose.identity(), None)
    assert isinstance(found, OutlineError)
    assert found.where == photo.name
    return found.what


# 10 to 20 degrees from the vertical is how a person photographs their foot at arm's length
@pytest.mark.parametrize("degrees", [0.5, 10, 20, 34])
@pytest.mark.parametrize("around", [0.0, 2.0, 4.0])
def test_a_view_from_above_is_none_of_the_sides(measured, degrees, around):
    tilt = np.radians(degrees)
    place = 900 * np.array([np.sin(tilt) * np.cos(around), np.sin(tilt) * np.sin(around), np.cos(tilt)])
    assert "along the limb" in reason(measured, place)


# from 0.8 m away, the nearest that is not warned of, up to 1.1 m high; and a usual stand
@pytest.mark.parametrize("place", [(0.0, 800.0, 1100.0), (1500.0, 0.0, 500.0), (0.0, -1600.0, 1700.0)])
def test_side_views_are_looked_at(measured, place):
    assert "along the limb" not in reason(measured, place)


def test_above_a_lying_limb_is_a_side_view(measured):
    assert "along the limb" not in reason(measured, (50.0, 100.0, 1500.0), LYING)
    assert "along the limb" in reason(measured, (50.0, -1500.0, 100.0), LYING)


def test_it_is_left_out_with_words_where_two_others_do(measured):
    above = OutlineError("it looks along the limb.", where="c.jpg", do="Take it from the side.")
    useful, told = useful_outlines([*measured.outlines, above], ["a.jpg", "b.jpg", "c.jpg"])
    assert list(useful) == [0, 1]
    assert [(one.code, one.text) for one in told] == [
        ("left-out", "Photograph 3 was left out: it looks along the limb.")
    ]
    with pytest.raises(OutlineError, match="along the limb"):
        useful_outlines([measured.outlines[0], above], ["a.jpg", "c.jpg"])


def with_sure(outline, share):
    """The outline with that share of its points sure, the lowest ones."""
    edges = tuple(
        dataclasses.replace(edge, sure=np.arange(len(edge.sure)) < share * len(edge.sure))
        for edge in outline.edges
    )
    return dataclasses.replace(outline, edges=edges)


def test_an_outline_without_sure_points_is_left_out_where_enough_others_are(measured):
    names = ["a.jpg", "b.jpg", "c.jpg"]
    lost = with_sure(measured.outlines[0], 0.01)
    useful, told = useful_outlines([measured.outlines[0], lost, measured.outlines[1]], names)
    assert list(useful) == [0, 2]
    assert [one.text for one in told] == [
        "Photograph 2 was left out: hardly any point of the limb's edges is sure in it."
    ]
    # two alone are kept, whatever they tell, and so are three of a limb that needs them
    assert list(useful_outlines([measured.outlines[0], lost], names[:2])[0]) == [0, 1]
    kept, nothing = useful_outlines([measured.outlines[0], lost, measured.outlines[1]], names, least=3)
    assert (list(kept), nothing) == ([0, 1, 2], ())


def test_an_outline_with_some_sure_points_is_kept(measured):
    some = with_sure(measured.outlines[0], 0.2)
    useful, told = useful_outlines([*measured.outlines, some], ["a.jpg", "b.jpg", "c.jpg"])
    assert (list(useful), told) == ([0, 1, 2], ())
