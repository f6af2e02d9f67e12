"""limb.npz: every array comes back to the last bit; files of before, and damaged ones."""

import io
from dataclasses import replace

import numpy as np
import pytest
from solid_limbs import cone_with, limb

from digitise.errors import ModelError
from digitise.output.model.limb_file import limb_from_bytes, limb_to_bytes
from digitise.shape.limb import SHARED_ERRORS, SharedErrors


@pytest.fixture(scope="module")
def plain():
    return limb(cone_with())


@pytest.fixture(scope="module")
def shared(plain):
    beside = np.zeros((plain.basis.size, len(SHARED_ERRORS)))
    beside[:4, 0], beside[2:6, 1] = 0.1, -0.05
    return replace(
        plain,
        covariance=plain.covariance + beside @ beside.T,
        shared=SharedErrors(np.array([0.3, -0.7]), np.eye(len(SHARED_ERRORS)), beside),
    )


def restored(data):
    return limb_from_bytes(data, "leg", "left", "limb.npz")


def test_errors_that_may_be_shared_come_back(shared):
    found = restored(limb_to_bytes(shared)).shared
    for name in ("mean", "covariance", "with_shape"):
        np.testing.assert_array_equal(getattr(found, name), getattr(shared.shared, name))


def test_a_file_without_them_reads_as_before(plain):
    assert restored(limb_to_bytes(plain)).shared is None


@pytest.fixture(scope="module")
def printed(plain):
    step = np.zeros(plain.basis.size)
    step[:4] = 0.2
    covariance = plain.covariance + np.outer(step, step)
    return replace(plain, covariance=covariance, print_scale=step)


def test_the_scale_of_the_print_comes_back(printed, plain):
    np.testing.assert_array_equal(restored(limb_to_bytes(printed)).print_scale, printed.print_scale)
    assert restored(limb_to_bytes(plain)).print_scale is None


@pytest.mark.parametrize(
    ("array", "words"),
    [
        (np.zeros((2, 2)), "wrong type or shape"),
        (np.zeros(3), "does not belong to a limb"),
        (np.full(1, np.nan), "numbers that are none"),
        (1e3, "not one of this limb"),
    ],
)
def test_a_damaged_scale_of_the_print_is_refused(printed, array, words):
    array = np.full(printed.basis.size, array) if np.isscalar(array) else array
    with pytest.raises(ModelError, match=words):
        restored(spoilt(limb_to_bytes(printed), print_scale=array))


def spoilt(data, **arrays):
    with np.load(io.BytesIO(data)) as stored:
        kept = {name: stored[name] for name in stored.files} | arrays
    stream = io.BytesIO()
    np.savez(stream, **{name: array for name, array in kept.items() if array is not None})
    return stream.getvalue()


@pytest.mark.parametrize(
    ("arrays", "words"),
    [
        ({"shared_mean": None}, '"shared_mean" is missing'),
        ({"shared_mean": np.zeros(3)}, "does not belong to a limb"),
        ({"shared_covariance": np.array([["a", "b"], ["c", "d"]])}, "wrong type or shape"),
        ({"shared_covariance": 0.001 * np.eye(2)}, "not ones of this limb"),
    ],
)
def test_damaged_ones_are_refused(shared, arrays, words):
    with pytest.raises(ModelError, match=words):
        restored(spoilt(limb_to_bytes(shared), **arrays))
