"""The volumes between every 100 mm of height, and how their errors go together, as model.json states them."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated

import numpy as np
from pydantic import Field, model_validator

from digitise.geometry.rigid import Array
from digitise.output.forms import Form, Height, Millilitres, WideInterval, interval, rounded
from digitise.shape.limb import Limb, levels, print_shift, volume, volume_covariance

STRETCH_MM = 100.0
_Figure = Annotated[float, Field(ge=-1e9, le=1e9)]
_Row = Annotated[tuple[_Figure, ...], Field(max_length=1_000)]
_DECIMALS = 3


class StretchForm(Form):
    """The volume between two heights."""

    from_mm: Height
    to_mm: Height
    volume_ml: Millilitres
    volume_ml_95: WideInterval


class StretchErrorsForm(Form):
    """How the errors of the stretches' volumes go together.

    ``covariance_ml2`` has a row for each stretch; ``print_ml`` is how much more each holds where the printed
    sheets' scale is off by one sd, which is part of that covariance.
    """

    covariance_ml2: Annotated[tuple[_Row, ...], Field(max_length=1_000)]
    print_ml: _Row

    @property
    def count(self) -> int:
        """Number of stretches."""
        return len(self.print_ml)

    @model_validator(mode="after")
    def _square(self) -> StretchErrorsForm:
        matrix = self.covariance_ml2
        if any(len(row) != self.count for row in (matrix, *matrix)):
            raise ValueError("covariance_ml2 has not a row and a column for each of print_ml")
        covariance = np.array(matrix)
        if not np.array_equal(covariance, covariance.T) or np.any(np.diagonal(covariance) < 0.0):
            raise ValueError("covariance_ml2 is no covariance")
        return self


def stretch_forms(limb: Limb) -> tuple[StretchForm, ...]:
    """Return the volumes between the multiples of 100 mm, the ends included."""
    found = []
    for low, high in pairwise(levels(limb, STRETCH_MM).tolist()):
        part = volume(limb, low, high)
        found.append(
            StretchForm(
                from_mm=rounded(low),
                to_mm=rounded(high),
                volume_ml=rounded(part.mean),
                volume_ml_95=interval(part),
            )
        )
    return tuple(found)


def stretch_errors(limb: Limb) -> StretchErrorsForm:
    """Return how the errors of :func:`stretch_forms` go together."""
    heights = levels(limb, STRETCH_MM)
    prints = [print_shift(limb, low, high) for low, high in pairwise(heights.tolist())]
    return StretchErrorsForm(
        covariance_ml2=tuple(map(_rounded, volume_covariance(limb, heights))),
        print_ml=_rounded(np.array(prints)),
    )


def _rounded(values: Array) -> tuple[float, ...]:
    return tuple(np.round(values, _DECIMALS).tolist())
