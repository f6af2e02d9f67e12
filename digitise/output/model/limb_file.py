"""limb.npz: a limb's parameters, bit by bit, as NumPy arrays without pickled objects."""

from __future__ import annotations

import io
import zipfile

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import LimbKind, Side
from digitise.errors import ModelError, ShapeError
from digitise.geometry.rigid import Array, Pose
from digitise.output.model.end_file import END_ARRAYS, end_from_arrays, end_to_arrays
from digitise.shape.basis import Basis
from digitise.shape.end import EndPart
from digitise.shape.limb import SHARED_ERRORS, Limb, SharedErrors

LARGEST_FILE = 128 * 2**20
"""Bytes; a leg of 800 mm takes 4 MB."""
_MOST_PARAMETERS = 2500
_LARGEST_MM = 5000.0
_LARGEST_NUMBER = 1e15
_AGAIN = "Measure the visit again from its photographs, or restore the folder from a backup."

Arrays = dict[str, NDArray[np.float64]]


def limb_to_bytes(limb: Limb, end: EndPart | None = None) -> bytes:
    """Return the content of a limb.npz, with the foot or hand where there is one.

    Kind, side and how the limb lies are in model.json.
    """
    basis, axis, shared = limb.basis, limb.axis_from_world, limb.shared
    errors = (
        {}
        if shared is None
        else dict(zip(_SHARED, (shared.mean, shared.covariance, shared.with_shape), strict=True))
    )
    stream = io.BytesIO()
    np.savez(
        stream,
        allow_pickle=False,
        mean=limb.mean,
        covariance=limb.covariance,
        prior_mean=limb.prior_mean,
        prior_precision=limb.prior_precision,
        knots=basis.knots,
        order=np.array(basis.order, dtype=np.float64),
        harmonics=np.array(basis.harmonics, dtype=np.float64),
        axis_rotation=axis.rotation,
        axis_translation=axis.translation,
        levels=np.array([limb.from_mm, limb.to_mm]),
        **errors,
        **({} if limb.considered is None else {_CONSIDERED: limb.considered}),
        **({} if limb.print_scale is None else {_PRINT: limb.print_scale}),
        **end_to_arrays(end),
    )
    return stream.getvalue()


def limb_from_bytes(data: bytes, kind: LimbKind, side: Side, where: str, lying: str = "") -> Limb:
    """Restore a limb, the same to the last bit.

    Parameters
    ----------
    data
        Content of a limb.npz.
    kind, side
        As in the limb.
    where
        The file's name, for messages.
    lying
        As in the limb.

    Raises
    ------
    ModelError
        When the content is damaged or is not that of a limb.
    """
    arrays = _arrays(data, where)
    basis = _basis(arrays, where)
    axis = _axis(arrays, where)
    low, high = (float(level) for level in arrays["levels"])
    if not basis.low <= low < high <= basis.high:
        raise _damaged("The limb's levels lie outside its splines.", where)
    _check_belief(arrays, basis, where)
    return Limb(
        kind,
        side,
        axis,
        low,
        high,
        basis,
        arrays["mean"],
        arrays["covariance"],
        arrays["prior_mean"],
        arrays["prior_precision"],
        _shared(arrays, basis, where),
        _considered(arrays, basis, where),
        lying,
        _print_scale(arrays, basis, where),
    )


def end_from_bytes(data: bytes, limb: Limb, where: str) -> EndPart | None:
    """Restore the foot or hand below a limb from the content of its limb.npz; None where it holds none.

    Raises
    ------
    ModelError
        When the content is damaged or is not that of a foot or hand.
    """
    arrays = _arrays(data, where)
    for name, ndim in END_ARRAYS.items():
        if name in arrays:
            _check_array(name, arrays[name], ndim, where)
            if ndim == 2 and not _is_covariance(arrays[name]):
                raise _damaged(f'The array "{name}" is not one of a foot or hand.', where)
    try:
        return end_from_arrays(arrays, limb)
    except ShapeError as error:
        raise _damaged(f"Foot or hand cannot be restored: {error.what}.", where) from error


def _damaged(what: str, where: str) -> ModelError:
    return ModelError(what, where=where, do=_AGAIN)


# a limb written before they were kept goes without
_SHARED = ("shared_mean", "shared_covariance", "shared_with_shape")
_CONSIDERED = "sway"  # its first name
_PRINT = "print_scale"
_MOST_WAYS = 100
_NDIM = {
    "mean": 1,
    "covariance": 2,
    "prior_mean": 1,
    "prior_precision": 2,
    "knots": 1,
    "order": 0,
    "harmonics": 0,
    "axis_rotation": 2,
    "axis_translation": 1,
    "levels": 1,
}
_FIXED_SHAPES = {"axis_rotation": (3, 3), "axis_translation": (3,), "levels": (2,)}


def _arrays(data: bytes, where: str) -> Arrays:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            # a packed file could unpack to any size; ours are stored as they are
            if sum(item.file_size for item in archive.infolist()) > LARGEST_FILE:
                raise ValueError("too large")
        with np.load(io.BytesIO(data), allow_pickle=False) as stored:
            wanted = (*_NDIM, *_SHARED, _CONSIDERED, _PRINT, *END_ARRAYS)
            arrays = {name: np.asarray(stored[name]) for name in wanted if name in stored.files}
    except Exception as error:  # readers of damaged archives raise almost anything
        raise _damaged(f"The file is not a limb's data ({_short(error)}).", where) from error
    for name, ndim in _NDIM.items():
        if name not in arrays:
            raise _damaged(f'The array "{name}" is missing.', where)
        _check_array(name, arrays[name], ndim, where)
    return arrays


def _short(error: Exception) -> str:
    return "".join(c for c in str(error) if c.isprintable())[:120] or type(error).__name__


def _check_array(name: str, array: NDArray[np.generic], ndim: int, where: str) -> None:
    wanted = _FIXED_SHAPES.get(name, array.shape)
    if array.dtype != np.float64 or array.ndim != ndim or array.shape != wanted:
        raise _damaged(f'The array "{name}" has the wrong type or shape.', where)
    # compared so that a NaN is not within the bounds either
    if not np.all(np.abs(array) <= _LARGEST_NUMBER):
        raise _damaged(f'The array "{name}" holds numbers that are none or far too large.', where)


def _basis(arrays: Arrays, where: str) -> Basis:
    order, harmonics, knots = float(arrays["order"]), float(arrays["harmonics"]), arrays["knots"]
    if order not in range(2, 7) or harmonics not in range(2, 21) or len(knots) < 2 * order:
        raise _damaged("The splines of the limb cannot be.", where)
    basis = Basis(int(order), knots, int(harmonics))
    inner = knots[basis.order - 1 : len(knots) - basis.order + 1]
    clamped = np.all(knots[: basis.order] == knots[0]) and np.all(knots[-basis.order :] == knots[-1])
    if not clamped or np.any(np.diff(inner) <= 0) or np.any(np.abs(knots) > _LARGEST_MM):
        raise _damaged("The splines' knots do not rise from end to end.", where)
    if basis.size > _MOST_PARAMETERS:
        raise _damaged("The limb has far more parameters than a limb needs.", where)
    return basis


def _axis(arrays: Arrays, where: str) -> Pose:
    rotation, translation = arrays["axis_rotation"], arrays["axis_translation"]
    proper = np.all(np.abs(rotation) <= 1.001) and np.allclose(rotation @ rotation.T, np.eye(3), atol=1e-6)
    if not proper or np.linalg.det(rotation) < 0 or np.any(np.abs(translation) > 10 * _LARGEST_MM):
        raise _damaged("The limb's axis is not a frame.", where)
    return Pose(rotation, translation)


def _shared(arrays: Arrays, basis: Basis, where: str) -> SharedErrors | None:
    """Return the errors that another limb may share, checked; None where the file holds none of them."""
    if not any(name in arrays for name in _SHARED):
        return None
    count = len(SHARED_ERRORS)
    shapes = ((count,), (count, count), (basis.size, count))
    for name, shape in zip(_SHARED, shapes, strict=True):
        if name not in arrays:
            raise _damaged(f'The array "{name}" is missing.', where)
        _check_array(name, arrays[name], len(shape), where)
        if arrays[name].shape != shape:
            raise _damaged(f'The array "{name}" does not belong to a limb of {basis.size} parameters.', where)
    mean, covariance, beside = (arrays[name] for name in _SHARED)
    if not _is_covariance(np.block([[arrays["covariance"], beside], [beside.T, covariance]])):
        raise _damaged("The shared errors are not ones of this limb.", where)
    return SharedErrors(mean, covariance, beside)


def _considered(arrays: Arrays, basis: Basis, where: str) -> Array | None:
    """Return the response to errors nothing is learnt of, checked; None where the file holds none."""
    if _CONSIDERED not in arrays:
        return None
    _check_array(_CONSIDERED, arrays[_CONSIDERED], 2, where)
    response = arrays[_CONSIDERED]
    rows, ways = response.shape
    if rows != basis.size or ways > _MOST_WAYS:
        raise _damaged(
            f'The array "{_CONSIDERED}" does not belong to a limb of {basis.size} parameters.', where
        )
    if not _is_covariance(arrays["covariance"] - response @ response.T):
        raise _damaged('The errors of the array "sway" are not ones of this limb.', where)
    return response


def _print_scale(arrays: Arrays, basis: Basis, where: str) -> Array | None:
    """Return the response to a print of another scale, checked; None where the file holds none."""
    if _PRINT not in arrays:
        return None
    _check_array(_PRINT, arrays[_PRINT], 1, where)
    response = arrays[_PRINT]
    considered = arrays.get(_CONSIDERED, np.zeros((basis.size, 0)))
    if response.shape != (basis.size,):
        raise _damaged(f'The array "{_PRINT}" does not belong to a limb of {basis.size} parameters.', where)
    if not _is_covariance(arrays["covariance"] - np.outer(response, response) - considered @ considered.T):
        raise _damaged("The scale of the print is not one of this limb.", where)
    return response


def _check_belief(arrays: Arrays, basis: Basis, where: str) -> None:
    size = basis.size
    for name in ("mean", "prior_mean"):
        if arrays[name].shape != (size,) or np.any(np.abs(arrays[name]) > _LARGEST_MM):
            raise _damaged(f'The array "{name}" does not belong to a limb of {size} parameters.', where)
    for name in ("covariance", "prior_precision"):
        if arrays[name].shape != (size, size) or not _is_covariance(arrays[name]):
            raise _damaged(f'The array "{name}" is not one of a limb of {size} parameters.', where)
    if np.any(arrays["mean"][: basis.n_splines] <= 0):
        raise _damaged("The limb has sections without a girth.", where)


def _is_covariance(matrix: Array) -> bool:
    """Tell whether a matrix is symmetric and has no negative eigenvalue, both up to rounding."""
    if not matrix.size:
        return False
    largest = float(np.max(np.abs(matrix)))
    if not np.allclose(matrix, matrix.T, rtol=0.0, atol=1e-9 * largest):
        return False
    try:
        # succeeds without eigenvalues below the small shift, much faster than to compute them
        np.linalg.cholesky(matrix + 1e-8 * largest * np.eye(len(matrix)))
    except np.linalg.LinAlgError:
        return False
    return True
