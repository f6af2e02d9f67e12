"""What is typed and chosen in a visit, and what two tabs typed in the same one brought together."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from digitise.anatomy import LimbKind, Side

MOST_ROWS = 60
Typed = Annotated[str, Field(max_length=20)]
Rows = tuple[tuple[str, str], ...]
PlaceRow = tuple[str, float, int, float | None]
"""Place on foot or hand, its reading in mm, line of the table it came from (0 when typed), height or None."""
Axis = tuple[float | None, float | None, float | None, float | None, float | None, float | None]


class Inputs(BaseModel):
    """What was typed and chosen; ``rows`` are heights and girths to the letter, read in ``unit``.

    ``places`` are readings on foot or hand, in mm.
    ``axis`` is x, y, z of two points on the limb's axis, mm in the mat's frame, the lower first.
    ``lies`` is how a limb lies that does not stand, or that both feet stand on the mat; ``landmark`` the
    place on a lying limb from which heights count: number of the photograph, from 0, and pixels in it.
    ``changes`` is the number of the stored visit that is being changed, ``seen`` its state when it was
    opened, ``saved`` the number it was saved as, ``cleared`` that it was set aside.
    ``same_visit`` answers for it that all photographs are of one visit.  ``day`` and ``hour`` are the visit's
    date, such as 2026-03-02, and time, such as 09:15, where they are not those of saving.
    ``names`` are the names that photographs came with, by the name of their file here.
    """

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)

    client: str = ""
    limb: LimbKind | None = None
    side: Side | None = None
    clearance: Literal["yes", "no", "not-asked"] | None = None
    clearance_by: str = ""
    flags: tuple[str, ...] | None = None
    posture: Literal["", "standing", "sitting", "lying"] = ""
    measured_by: str = ""
    note: str = ""
    sheets: Literal["a4", "letter", "roll", "own"] = "a4"
    print_scale: str = "1"
    unit: Literal["cm", "in"] = "cm"
    rows: tuple[tuple[Typed, Typed], ...] = Field(default=(), max_length=MOST_ROWS)
    places: tuple[PlaceRow, ...] = Field(default=(), max_length=MOST_ROWS)
    axis: Axis = (None,) * 6
    lies: Literal["", "both-feet", "palm-down", "palm-up", "on-back"] = ""
    landmark: tuple[int, float, float] | None = None
    changes: int | None = None
    seen: str | None = None
    saved: int | None = None
    cleared: bool = False
    names: dict[str, str] = Field(default_factory=dict)
    same_visit: bool = False
    day: str = Field(default="", max_length=10)
    hour: str = Field(default="", max_length=5)

    @model_validator(mode="before")
    @classmethod
    def _rows_as_numbers(cls, content: Any) -> Any:
        """Read the rows of a draft that an earlier version kept: numbers, in cm or mm."""
        rows = content.get("rows") if isinstance(content, dict) else None
        # anything else in their place is refused by the fields themselves
        if not isinstance(rows, list | tuple) or not all(isinstance(row, list | tuple) for row in rows):
            return content
        if all(isinstance(cell, str) for row in rows for cell in row):
            return content
        factor = 0.1 if content.get("unit") == "mm" else 1.0
        return {
            **content,
            "rows": [[_as_was_typed(cell, factor) for cell in row] for row in rows],
            "unit": "cm",
        }

    @property
    def lying(self) -> str:
        """How the chosen limb lies; empty where it stands, or where that was chosen for another limb."""
        fits = (self.lies == "on-back") == (self.limb == LimbKind.LEG)
        return self.lies if self.lies not in ("", "both-feet") and fits else ""

    @property
    def both_feet(self) -> bool:
        """Whether both feet stand on the mat, so that the photographs show both legs."""
        return self.limb == LimbKind.LEG and self.lies == "both-feet"

    @property
    def has_axis(self) -> bool:
        """Whether any number of an axis is typed."""
        return any(number is not None for number in self.axis)


def _as_was_typed(cell: Any, factor: float) -> Any:
    """Return a number of an earlier version as text in cm; what is none stays for the fields to refuse."""
    if cell is None:
        return ""
    with suppress(OverflowError):  # a whole number that no length can be
        if isinstance(cell, int | float) and math.isfinite(cell):
            return f"{cell * factor:.10g}"
    return cell


@dataclass(frozen=True)
class Merged:
    """What two tabs typed in one draft.

    Attributes
    ----------
    inputs
        Both together; where both changed the same thing, this tab's.
    clashes
        Names of what both changed; a tape row as ``row 3``.
    """

    inputs: Inputs
    clashes: tuple[str, ...]


def merged(before: Inputs, mine: Inputs, theirs: Inputs) -> Merged:
    """Bring together what two tabs made of the same draft.

    Parameters
    ----------
    before
        What both began with.
    mine, theirs
        What this tab and the other one hold now.
    """
    changed: dict[str, object] = {}
    clashes: list[str] = []
    for name in Inputs.model_fields:
        was, here, there = (getattr(inputs, name) for inputs in (before, mine, theirs))
        if name == "rows":
            changed[name], rows = _merged_rows(was, here, there)
            clashes += rows
            continue
        changed[name] = there if here == was else here
        if was not in (here, there) and here != there:
            clashes.append(name)
    return Merged(mine.model_copy(update=changed), tuple(clashes))


def _merged_rows(was: Rows, here: Rows, there: Rows) -> tuple[Rows, list[str]]:
    rows: list[tuple[str, str]] = []
    clashes = []
    for number in range(max(len(here), len(there))):
        cells = [each[number] if number < len(each) else ("", "") for each in (was, here, there)]
        old, mine, theirs = cells
        kept = tuple(b if a == o else a for o, a, b in zip(old, mine, theirs, strict=True))
        if any(o not in (a, b) and a != b for o, a, b in zip(old, mine, theirs, strict=True)):
            clashes.append(f"row {number + 1}")
        rows.append((kept[0], kept[1]))
    return tuple(rows), clashes
