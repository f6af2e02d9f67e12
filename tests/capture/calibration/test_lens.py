"""What is known of a lens beforehand, and lens profiles as files."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitise.capture.calibration.lens import (
    LensProfile,
    focal_from_35mm,
    generic_prior,
    lens_from_vector,
    profile_prior,
    read_lens,
    vector_from_lens,
    write_lens,
)
from digitise.errors import DigitiseError, LensError

SIZE = (3024, 4032)


def profile(**changes) -> LensProfile:
    prior = generic_prior(SIZE, 26.0)
    values = {"size": SIZE, "lens_key": "a", "mean": prior.mean, "covariance": prior.covariance}
    return LensProfile(**(values | {"photos": 9, "rms_px": 0.25} | changes))


def test_focal_length_by_the_diagonal():
    # a 36 x 24 mm picture of 3600 x 2400 px has 100 px a millimetre, whatever the focal length
    assert focal_from_35mm(26.0, (3600, 2400)) == pytest.approx(2600.0, rel=1e-12)
    # 4:3 pictures: diagonal 5040 px on 43.2666 mm
    assert focal_from_35mm(26.0, SIZE) == pytest.approx(26 * 5040 / np.sqrt(36**2 + 24**2), rel=1e-12)


def test_prior_without_focal_length_is_wider():
    known, unknown = generic_prior(SIZE, 26.0), generic_prior(SIZE, None)
    assert known.mean[0] == unknown.mean[0]
    assert np.sqrt(known.covariance[0, 0]) == pytest.approx(0.03 * known.mean[0])
    assert np.sqrt(unknown.covariance[0, 0]) == pytest.approx(0.15 * known.mean[0])
    assert np.allclose(known.mean[1:3], [1511.5, 2015.5])  # pixel centres on integers


def test_whitening_gives_unit_normal_numbers(rng):
    root = rng.normal(size=(5, 5))
    prior = profile_prior(profile(covariance=root @ root.T), SIZE, "a")
    assert np.allclose(prior.whiten @ prior.covariance @ prior.whiten.T, np.eye(5), atol=1e-8)


def test_vector_and_lens_are_inverse():
    vector = np.array([3000.0, 1500, 2000, 0.1, -0.2])
    assert np.array_equal(vector_from_lens(lens_from_vector(vector)), vector)


def test_profile_of_a_phone_turned_on_its_side_keeps_focal_and_distortion():
    mean = np.array([3111.0, 1490, 2030, 0.04, -0.05])
    prior = profile_prior(profile(mean=mean), SIZE[::-1], "other size, other key")
    assert np.allclose(prior.mean, [3111.0, 2015.5, 1511.5, 0.04, -0.05])
    assert np.all(np.linalg.eigvalsh(prior.covariance) > 0)


@pytest.mark.parametrize(
    ("size", "key", "message"), [((3000, 4000), "a", "3024 x 4032"), (SIZE, "b", "another phone")]
)
def test_profile_of_another_camera_is_refused(size, key, message):
    with pytest.raises(LensError, match=message):
        profile_prior(profile(), size, key)


def test_photograph_without_key_may_use_any_profile_of_its_size():
    assert np.array_equal(profile_prior(profile(), SIZE, None).mean, profile().mean)


def test_file_round_trip(tmp_path):
    path = tmp_path / "lens.json"
    root = np.diag([10.0, 2, 2, 0.01, 0.02]) + 0.001
    original = profile(covariance=root @ root.T)
    write_lens(original, path)
    back = read_lens(path)
    assert (back.size, back.lens_key, back.photos, back.rms_px) == (SIZE, "a", 9, 0.25)
    assert np.array_equal(back.mean, original.mean)
    assert np.array_equal(back.covariance, original.covariance)


DAMAGE = {
    "format": lambda d: d | {"format": "lens-profile/2"},
    "missing": lambda d: {k: v for k, v in d.items() if k != "mean"},
    "extra": lambda d: d | {"owner": "x"},
    "text": lambda d: d | {"mean": ["a"] * 5},
    "short": lambda d: d | {"mean": d["mean"][:4]},
    "ragged": lambda d: d | {"covariance": [row[:n] for n, row in enumerate(d["covariance"])]},
    "negative": lambda d: d | {"covariance": (-np.array(d["covariance"])).tolist()},
    "indefinite": lambda d: d | {"covariance": np.ones((5, 5)).tolist()},
    "asymmetric": lambda d: d | {"covariance": np.triu(np.ones((5, 5)) + np.eye(5)).tolist()},
    "focal zero": lambda d: d | {"mean": [0.0, *d["mean"][1:]]},
    "focal negative": lambda d: d | {"mean": [-3000.0, *d["mean"][1:]]},
    "order": lambda d: d | {"parameters": d["parameters"][::-1]},
    "size": lambda d: d | {"size": [0, 0]},
    "list": lambda d: [d],
}


@pytest.mark.parametrize("name", DAMAGE)
def test_damaged_files_are_refused(name, tmp_path):
    path = tmp_path / "lens.json"
    write_lens(profile(), path)
    path.write_text(json.dumps(DAMAGE[name](json.loads(path.read_text()))))
    with pytest.raises(LensError) as caught:
        read_lens(path)
    assert caught.value.where == "lens.json"


@pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe\x00", b"null", b'{"mean": NaN}', b"[" * 2000])
def test_files_that_are_no_profile_are_refused(content, tmp_path):
    path = tmp_path / "lens.json"
    path.write_bytes(content)
    with pytest.raises(LensError):
        read_lens(path)


def test_missing_file_and_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.json", tmp_path):
        with pytest.raises(LensError, match="cannot be read"):
            read_lens(path)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 10**6), st.binary(min_size=1, max_size=4))
def test_overwritten_bytes_never_give_a_traceback(tmp_path_factory, where, new):
    path = tmp_path_factory.mktemp("lens") / "lens.json"
    write_lens(profile(), path)
    data = bytearray(path.read_bytes())
    at = where % len(data)
    data[at : at + len(new)] = new
    path.write_bytes(bytes(data))
    try:
        read = read_lens(path)
    except DigitiseError:
        return
    assert np.all(np.isfinite(read.mean))
