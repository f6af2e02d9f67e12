"""The plan of a wrap: what goes on, from where to where; as a value, and as plan.toml.

A plan.toml has a few lines for the whole and one ``[[layers]]`` table per bandage, from the skin outward:

    roll_length_mm = 5000

    [[layers]]
    name = "first bandage"
    width_mm = 80
    from_mm = 100
    to_mm = 340
    overlap = 0.5
    stretch = 0.3
    tension_n = 5
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Annotated, Literal, Self

import tomli_w
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from digitise.errors import PlanError

_LARGEST_BYTES = 100_000
# the reader of TOML takes a time that grows with the square of the parts of a name; ours have one or two
_DEEP_KEY = re.compile(rb"""(?<![\w-])(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){20}""")
Name = Annotated[str, Field(max_length=60)]

LayerKind = Literal["bandage", "padding"]


class Layer(BaseModel):
    """One bandage or padding roll, wound from its lower to its upper end.

    Attributes
    ----------
    name
        Free words; no brand is suggested.
    width_mm
        Of the bandage.
    from_mm, to_mm
        Segment of the limb that it covers, as heights; on a standing leg 0 is from behind the
        toes; on a hand the heights of its arm go on beyond the wrist, below zero.
    overlap
        Share of the width that the next turn covers.
    stretch
        Extension when put on: 0.3 is 30 % longer than at rest.
    tension_n
        Pull over the whole width, N; 0 for padding.  It belongs to the extension through the bandage's own
        force-extension curve, which is not known here.
    thickness_mm
        Of one layer.
    style, factor
        ``spiral``, or ``herringbone`` (figure of eight), which takes ``factor`` times the length.  No
        published factor was found, so a herringbone needs the user's own.
    kind
        ``bandage``, or ``padding``, which is not counted as a layer that presses.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    name: Name = ""
    width_mm: float = Field(ge=20, le=300)
    from_mm: float = Field(ge=-500, le=3000)
    to_mm: float = Field(ge=-500, le=3000)
    overlap: float = Field(default=0.5, ge=0, le=0.9)
    stretch: float = Field(default=0.3, ge=0, le=2)
    tension_n: float = Field(default=5.0, ge=0, le=100)
    thickness_mm: float = Field(default=1.0, ge=0, le=50)
    style: Literal["spiral", "herringbone"] = "spiral"
    factor: float | None = Field(default=None, ge=1, le=5)
    kind: LayerKind = "bandage"

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if not self.to_mm > self.from_mm:
            raise ValueError("to_mm must be above from_mm")
        if self.style == "herringbone" and self.factor is None:
            raise ValueError("a herringbone needs factor, how many times the length of a spiral it takes")
        return self

    @property
    def advance_mm(self) -> float:
        """How far one turn moves along the limb, width (1 - overlap)."""
        return self.width_mm * (1 - self.overlap)

    @property
    def layers(self) -> float:
        """Mean number of layers that it lays down: area of bandage over area of skin.

        Of a spiral 1 / (1 - overlap); a herringbone lays its longer bandage over the same skin.
        """
        return self.length_factor / (1 - self.overlap)

    @property
    def length_factor(self) -> float:
        """How many times the length of a spiral it takes."""
        return 1.0 if self.factor is None else self.factor


class Plan(BaseModel):
    """A whole wrap.

    Attributes
    ----------
    layers
        From the skin outward.
    roll_length_mm
        Of one roll.
    roll_measured
        Whether that length is of the ``stretched`` roll or at ``rest``.
    anchor_turns
        Whole turns at each end of each layer that fix it.
    padding_roll_length_mm
        Of one roll of padding, at rest; such rolls are shorter than bandages (from memory).
    end_wrapped
        Foot or hand is wrapped too, from the toes or fingers on, by no layer of this plan.
    least_layers
        Fewer pressing layers than this are warned of.
    note
        Free words.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    layers: tuple[Layer, ...] = Field(min_length=1, max_length=40)
    roll_length_mm: float = Field(default=5000.0, ge=200, le=50000)
    roll_measured: Literal["stretched", "rest"] = "stretched"
    padding_roll_length_mm: float = Field(default=3000.0, ge=200, le=50000)
    end_wrapped: bool = False
    anchor_turns: float = Field(default=1.0, ge=0, le=5)
    least_layers: float = Field(default=2.0, ge=0, le=20)
    note: Annotated[str, Field(max_length=500)] = ""


def read_plan(path: str | Path) -> Plan:
    """Read a plan.toml.

    Raises
    ------
    PlanError
        When the file is missing, no TOML, or a number in it is missing, unknown or out of range.
    """
    path = Path(path)
    try:
        with path.open("rb") as stream:
            data = stream.read(_LARGEST_BYTES + 1)
    except OSError as error:
        raise PlanError(
            f"The plan cannot be read: {error.strerror or error}.", where=path.name, do="Check its name."
        ) from error
    if len(data) > _LARGEST_BYTES:
        raise PlanError("The plan is too large for a plan.", where=path.name, do="Give a plan.toml.")
    return plan_from_toml(data, path.name)


def plan_from_toml(data: bytes, where: str = "plan.toml") -> Plan:
    """Read the content of a plan.toml; see :func:`read_plan`."""
    if _DEEP_KEY.search(data):
        raise PlanError(
            "A name in the plan has far too many dots.",
            where=where,
            do="Write each number on a line of its own.",
        )
    try:
        content = tomllib.loads(data.decode("utf-8-sig"))
    # a ValueError is also a number of thousands of digits; deep nesting runs out of stack before it is found
    # wrong
    except (ValueError, RecursionError) as error:
        raise PlanError(
            f"The plan is not readable as TOML: {error}.", where=where, do="Correct that line."
        ) from error
    try:
        return Plan.model_validate(content)
    except ValidationError as error:
        raise PlanError(_sentence(error), where=where, do="Correct it in the plan.") from error


def _sentence(error: ValidationError) -> str:
    """Say the first fault with its place: layers are counted from 1."""
    first = error.errors()[0]
    place = first["loc"]
    # within a layer its number says it all
    inner = place[1:] if len(place) > 1 else place
    names = [f"layer {part + 1}" if isinstance(part, int) else str(part) for part in inner]
    what = str(first["msg"]).removeprefix("Value error, ")
    return f"{', '.join(names) or 'the plan'}: {what[0].lower()}{what[1:]}."


def plan_to_toml(plan: Plan) -> str:
    """Return the plan as an editable plan.toml, every number written out."""
    content = plan.model_dump(exclude_none=True)
    layers = content.pop("layers")
    head = "# A wrap, layer by layer from the skin outward. Every number may be changed.\n\n"
    return head + tomli_w.dumps({**content, "layers": layers})
