"""What the forms of all files share: their base, common fields, rounding, and what wrote them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from digitise import __version__
from digitise.anatomy import CountedFrom, LimbKind, Side
from digitise.shape.limb import AnyEstimate

DIGITS = 3
"""Of every figure in a file: a thousandth of a millimetre, millilitre or percent is far below its error."""


def _printable(text: object) -> object:
    """Replace what cannot be printed or encoded: file names may hold any byte."""
    return "".join(c if c.isprintable() else "?" for c in text) if isinstance(text, str) else text


def _rising(interval: tuple[float, float]) -> tuple[float, float]:
    if not interval[0] <= interval[1]:
        raise ValueError("the lower end of the interval is above the upper end")
    return interval


Text = Annotated[str, Field(max_length=10_000), BeforeValidator(_printable)]
Name = Annotated[str, Field(min_length=1, max_length=255), BeforeValidator(_printable)]
Pair = tuple[float, float]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
# a word of the file becomes the value: strict forms would take nothing but the value itself
LimbField = Annotated[LimbKind, Field(strict=False)]
SideField = Annotated[Side, Field(strict=False)]
CountedFromField = Annotated[CountedFrom, Field(strict=False)]
Height = Annotated[float, Field(ge=-2_000, le=5_000)]
Offset = Annotated[float, Field(ge=-5_000, le=5_000)]
Length = Annotated[float, Field(ge=0, le=5_000)]
Area = Annotated[float, Field(gt=0, le=2_000_000)]
Millilitres = Annotated[float, Field(gt=0, le=200_000)]
Interval = Annotated[tuple[Offset, Offset], AfterValidator(_rising)]
_Wide = Annotated[float, Field(ge=-10_000_000, le=10_000_000)]
WideInterval = Annotated[tuple[_Wide, _Wide], AfterValidator(_rising)]


class Form(BaseModel):
    """Strict and frozen, read off values with the same names; unknown fields are left aside."""

    # built when first used: a command imports more forms than it writes
    model_config = ConfigDict(
        defer_build=True, strict=True, frozen=True, allow_inf_nan=False, extra="ignore", from_attributes=True
    )


class FigureForm(Form):
    """A figure with its 95 % interval, in the unit that its field's name ends in."""

    value: float
    interval_95: Pair


class WarningForm(Form):
    """Something a person should know: a stable code and a sentence."""

    code: Name
    text: Text


class FindingForm(Form):
    """What the check of the photographs said; ``photo`` is empty when it is about all together."""

    photo: Text
    code: Name
    severity: Literal["note", "warning", "refuse"]
    text: Text
    do: Text = ""


class SoftwareForm(Form):
    """What wrote the file."""

    name: Name
    version: Name


# ---- figures -------------------------------------------------------------------------------------------


def rounded(value: object, digits: int = DIGITS) -> float:
    """Return a number to a thousandth, or to so many digits."""
    # adding zero turns -0.0 into 0.0
    return round(float(np.float64(value)), digits) + 0.0  # type: ignore[arg-type]


def interval(estimate: AnyEstimate, digits: int = DIGITS) -> tuple[float, float]:
    """Return the two ends of the 95 % interval, rounded likewise."""
    low, high = estimate.interval_95
    return rounded(low, digits), rounded(high, digits)


def now() -> datetime:
    """Return the time to the second, UTC."""
    return datetime.now(UTC).replace(microsecond=0)


def software() -> SoftwareForm:
    """Return what writes the file."""
    return SoftwareForm(name="digitise", version=__version__)
