"""Cameras in model.json: kept to the last bit, in OpenCV's convention, and optional."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from digitise.errors import ModelError
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model_file
from digitise.output.model.form import CameraForm, camera_form, camera_from_form

number = st.floats(-1e4, 1e4)
cameras = st.builds(
    lambda focal, centre, k, turn, shift, size: Camera(
        Lens(focal, np.array(centre), *k),
        Pose(Rotation.from_rotvec(turn).as_matrix(), np.array(shift)),
        size,
    ),
    st.floats(1.0, 1e5),
    st.tuples(number, number),
    st.tuples(st.floats(-1, 1), st.floats(-1, 1)),
    st.tuples(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3)),
    st.tuples(number, number, number),
    st.tuples(st.integers(1, 20_000), st.integers(1, 20_000)),
)


def parts(camera):
    """All of a camera as plain numbers."""
    lens, pose = camera.lens, camera.camera_from_world
    arrays = (lens.centre_px, pose.rotation, pose.translation)
    return camera.size, lens.focal_px, lens.k1, lens.k2, *(array.tolist() for array in arrays)


@pytest.fixture
def content(measured, tmp_path):
    write_model_file(tmp_path, measured)
    return json.loads((tmp_path / "model.json").read_text(encoding="utf-8"))


@given(cameras)
def test_any_camera_comes_back_to_the_last_bit(camera):
    text = camera_form(camera).model_dump_json()
    assert parts(camera_from_form(CameraForm.model_validate_json(text))) == parts(camera)


def test_the_cameras_of_a_measured_limb_come_back(measured, tmp_path):
    bent = tuple(
        replace(one, lens=replace(one.lens, k1=0.0123456789, k2=-1 / 3))
        for one in measured.calibration.cameras
    )
    calibration = replace(measured.calibration, cameras=bent)
    write_model_file(tmp_path, replace(measured, calibration=calibration))
    stored = [camera_from_form(photo.camera) for photo in read_model(tmp_path).summary.photos]
    assert [parts(camera) for camera in stored] == [parts(camera) for camera in bent]


def test_the_figures_are_opencvs(measured):
    """Another program projects with them by its own function."""
    camera = measured.calibration.cameras[1]
    bent = replace(camera, lens=replace(camera.lens, k1=0.08, k2=-0.03))
    form = camera_form(bent).model_dump()
    rng = np.random.default_rng(3)
    points = rng.uniform((-100, -100, 0), (100, 100, 500), (50, 3))
    inner = np.array([[form["fx_px"], 0, form["cx_px"]], [0, form["fy_px"], form["cy_px"]], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(np.array(form["rotation"]))
    shift, bends = np.array(form["translation_mm"]), np.array([form["k1"], form["k2"], 0, 0, 0])
    seen, _ = cv2.projectPoints(points, turn, shift, inner, bends)
    # the turn goes through an angle and back: a few roundings of thousands of pixels
    assert_allclose(bent.project(points), seen[:, 0], atol=1e-8)


def test_models_of_earlier_versions_have_none_and_open(content, tmp_path):
    for photo in content["photos"]:
        del photo["camera"], photo["drawn"], photo["kept_sha256"]
    del content["seal"], content["field_sha256"]
    (tmp_path / "model.json").write_text(json.dumps(content))
    assert [photo.camera for photo in read_model(tmp_path).summary.photos] == [None, None]


DAMAGE = {
    "mirrored": {"rotation": [[1, 0, 0], [0, 1, 0], [0, 0, -1]]},
    "stretched": {"rotation": [[1, 0, 0], [0, 0.9, 0], [0, 0, 1]]},
    "slanted": {"rotation": [[1, 0, 0], [1, 0, 0], [0, 0, 1]]},
    "huge": {"rotation": [[1e300, 0, 0], [0, 1, 0], [0, 0, 1]]},
    "no rotation": {"rotation": [[1, 0], [0, 1]]},
    "oblong pixels": {"fy_px": 3001.0},
    "no focal length": {"fx_px": 0.0, "fy_px": 0.0},
    "no size": {"size_px": [0, 4000]},
    "half a pixel": {"size_px": [3000.5, 4000]},
    "too far": {"translation_mm": [0, 0, 1e9]},
    "no number": {"cx_px": "wide"},
    "missing": {"k1": None},
}


@pytest.mark.parametrize("case", DAMAGE)
def test_damaged_cameras_are_refused(content, tmp_path, case):
    content["photos"][1]["camera"].update(DAMAGE[case])
    (tmp_path / "model.json").write_text(json.dumps(content))
    with pytest.raises(ModelError, match=r"photos, number 2, camera"):
        read_model(tmp_path)
