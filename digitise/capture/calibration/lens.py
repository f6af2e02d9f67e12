"""What is known of a lens before the markers speak: EXIF, a stored profile, or a guess."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from digitise.errors import LensError, place_in_file
from digitise.geometry.camera import Lens
from digitise.geometry.rigid import Array

FULL_FRAME_DIAGONAL_MM = float(np.hypot(36.0, 24.0))
GUESSED_FOCAL_35MM = 26.0  # the usual main camera of phones; common practice
FOCAL_SD_EXIF = 0.03  # EXIF rounds to whole millimetres, and makers to nominal values
FOCAL_SD_GUESSED = 0.15
CENTRE_SD_DIAGONAL = 0.005  # stabilised phone lenses sit 10-20 px off in 12 megapixels
K1_SD = 0.1
K2_SD = 0.15
PARAMETERS = ("focal_px", "centre_x_px", "centre_y_px", "k1", "k2")
_AGAIN = "Make the profile again from photographs of a sheet."


@dataclass(frozen=True)
class LensPrior:
    """A Gaussian belief about a lens.

    Attributes
    ----------
    mean
        (5,) in the order of ``PARAMETERS``.
    covariance
        (5, 5), positive definite.
    """

    mean: Array
    covariance: Array

    @property
    def whiten(self) -> Array:
        """Matrix (5, 5) that turns a difference from the mean into unit normal numbers."""
        return np.asarray(np.linalg.inv(np.linalg.cholesky(self.covariance)))


@dataclass(frozen=True)
class LensProfile:
    """A lens measured once, to be used again with the same phone at the same focal setting.

    Attributes
    ----------
    size
        (width, height) px of the pictures it was measured on.
    lens_key
        The key those photographs share, None when their files do not say.
    mean, covariance
        (5,) and (5, 5) in the order of ``PARAMETERS``.
    photos
        How many photographs it rests on.
    rms_px
        Their rms reprojection error, px.
    """

    size: tuple[int, int]
    lens_key: str | None
    mean: Array
    covariance: Array
    photos: int
    rms_px: float


def lens_from_vector(vector: Array) -> Lens:
    """Make a lens from (5,) values in the order of ``PARAMETERS``."""
    return Lens(float(vector[0]), np.array(vector[1:3]), float(vector[3]), float(vector[4]))


def vector_from_lens(lens: Lens) -> Array:
    """Return (5,) values in the order of ``PARAMETERS``."""
    return np.array([lens.focal_px, *lens.centre_px, lens.k1, lens.k2])


def focal_from_35mm(focal_35mm: float, size: tuple[int, int]) -> float:
    """Return the focal length in pixels from its 35-mm equivalent by the diagonal (CIPA DCG-001)."""
    return focal_35mm / FULL_FRAME_DIAGONAL_MM * float(np.hypot(*size))


def generic_prior(size: tuple[int, int], focal_35mm: float | None) -> LensPrior:
    """Return the belief about a lens of which only the photograph's own data are known.

    Distortion has mean zero and a width typical of phone lenses, so it is as free as the photographs
    determine it.
    """
    focal = focal_from_35mm(focal_35mm or GUESSED_FOCAL_35MM, size)
    focal_sd = focal * (FOCAL_SD_EXIF if focal_35mm else FOCAL_SD_GUESSED)
    centre_sd = CENTRE_SD_DIAGONAL * float(np.hypot(*size))
    mean = np.array([focal, (size[0] - 1) / 2, (size[1] - 1) / 2, 0.0, 0.0])
    return LensPrior(mean, np.diag(np.square([focal_sd, centre_sd, centre_sd, K1_SD, K2_SD])))


def profile_prior(profile: LensProfile, size: tuple[int, int], lens_key: str | None) -> LensPrior:
    """Return the belief that a stored profile gives about photographs of this size.

    A phone turned on its side keeps focal length and distortion; its optical centre is then taken as unknown.

    Raises
    ------
    LensError
        When the profile is of another phone, focal setting or picture size.
    """
    if lens_key and profile.lens_key and lens_key != profile.lens_key and size == profile.size:
        raise LensError(
            "The lens profile is of another phone or another zoom setting.",
            do="Make a profile with this phone, or leave the profile out.",
        )
    if size == profile.size:
        return LensPrior(profile.mean, profile.covariance)
    if size != profile.size[::-1]:
        raise LensError(
            f"The lens profile is for pictures of {profile.size[0]} x {profile.size[1]} pixels, "
            f"but this one has {size[0]} x {size[1]}.",
            do="Use the same picture size as for the profile, or leave the profile out.",
        )
    turned = generic_prior(size, None)
    mean, covariance = profile.mean.copy(), turned.covariance.copy()
    mean[1:3] = turned.mean[1:3]
    kept = np.ix_([0, 3, 4], [0, 3, 4])
    covariance[kept] = profile.covariance[kept]
    return LensPrior(mean, covariance)


_Side = Annotated[int, Field(ge=1, le=100_000)]


class ProfileForm(BaseModel):
    """The lens profile as a file."""

    model_config = ConfigDict(defer_build=True, extra="forbid", allow_inf_nan=False)

    format: Literal["lens-profile/1"]
    size: tuple[_Side, _Side] = Field(description="width and height, px")
    lens_key: str | None = Field(max_length=500)
    parameters: tuple[str, ...]
    mean: list[float] = Field(min_length=5, max_length=5)
    covariance: list[list[float]] = Field(min_length=5, max_length=5)
    photos: int = Field(ge=1)
    rms_px: float = Field(ge=0)


def read_lens(path: Path) -> LensProfile:
    """Read a lens profile.

    Raises
    ------
    LensError
        When the file cannot be read, is of another format, or its numbers cannot be a lens.
    """
    try:
        return lens_from_json(path.read_bytes(), path.name)
    except OSError as error:
        raise LensError("The lens profile cannot be read.", where=path.name, do=_AGAIN) from error


def lens_from_json(text: str | bytes, where: str) -> LensProfile:
    """Read a lens profile from the content of its file; ``where`` is the file's name, for messages.

    Raises
    ------
    LensError
        When it is of another format, or its numbers cannot be a lens.
    """
    try:
        stored = ProfileForm.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        at = place_in_file(first["loc"])
        what = f"The lens profile is damaged{f' at {at}' if at else ''}: {first['msg']}."
        raise LensError(what, where=where, do=_AGAIN) from error
    mean, covariance = np.array(stored.mean), _square(stored.covariance)
    if stored.parameters != PARAMETERS or covariance is None or not _plausible(mean, covariance, stored.size):
        raise LensError("The lens profile's numbers cannot be a lens.", where=where, do=_AGAIN)
    return LensProfile(stored.size, stored.lens_key, mean, covariance, stored.photos, stored.rms_px)


def write_lens(profile: LensProfile, path: Path) -> None:
    """Write a lens profile as JSON."""
    stored = ProfileForm(
        format="lens-profile/1",
        size=profile.size,
        lens_key=profile.lens_key,
        parameters=PARAMETERS,
        mean=profile.mean.tolist(),
        covariance=profile.covariance.tolist(),
        photos=profile.photos,
        rms_px=profile.rms_px,
    )
    path.write_text(stored.model_dump_json(indent=1) + "\n", encoding="utf-8")


def _square(rows: Sequence[Sequence[float]]) -> Array | None:
    return np.array(rows) if all(len(row) == len(rows) for row in rows) else None


def _plausible(mean: Array, covariance: Array, size: tuple[int, int]) -> bool:
    """Tell whether the numbers are a lens: focal 0.2 to 20 diagonals, a proper covariance."""
    if not np.allclose(covariance, covariance.T, rtol=1e-6, atol=0):
        return False
    spread = np.sqrt(np.abs(np.diag(covariance)))
    if np.any(np.diag(covariance) <= 0):
        return False
    correlation = covariance / np.outer(spread, spread)
    diagonal = float(np.hypot(*size))
    return bool(np.linalg.eigvalsh(correlation)[0] > 0) and 0.2 < mean[0] / diagonal < 20.0
