"""The tables of a study and the meaning of every column: one source for the files and their dictionary."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from digitise.anatomy import LimbKind, Side

Type = Literal["string", "integer", "number", "boolean", "datetime"]


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    name, type
        As the Table Schema standard has them.
    description
        One sentence.
    unit
        A code of UCUM; empty for what has none.
    required
        False where a cell may be empty.
    choices
        All values of a column of words; empty where there are others.
    """

    name: str
    type: Type
    description: str
    unit: str = ""
    required: bool = True
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Link:
    """Columns that hold a row of another table."""

    columns: tuple[str, ...]
    table: str
    theirs: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """One table: a row for each of what its key names."""

    name: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    links: tuple[Link, ...] = ()


_LIMB_KEY = ("client", "limb", "side")
_LIMB = (
    Column("client", "string", "Code of the client; never a name."),
    Column("limb", "string", "Which limb.", choices=tuple(LimbKind)),
    Column("side", "string", "Side of the body.", choices=tuple(Side)),
)
_VISIT = Column("visit", "integer", "Number of the visit in the records; never given twice.")
_OF_VISIT = Link(("visit",), "visits", ("visit",))
_NUMBER = Column("number", "integer", "Place within the visit, counted from 1.")
_WEEKS = Column(
    "weeks", "number", "Time since the first measured visit of this limb; below 0 before it.", "wk"
)


def _mm(name: str, words: str, *, required: bool = True) -> Column:
    return Column(name, "number", words, "mm", required)


def _ml(name: str, words: str, *, required: bool = True) -> Column:
    return Column(name, "number", words, "mL", required)


def _numbered(name: str, description: str, *columns: Column) -> Table:
    """Return a table with some rows for each visit."""
    return Table(name, description, (_VISIT, _NUMBER, *columns), ("visit", "number"), (_OF_VISIT,))


LIMBS = Table(
    "limbs",
    "One row for each limb of each client, and the heights that all its measured visits share.",
    (
        *_LIMB,
        Column("visits", "integer", "How many visits are stored."),
        Column("measured", "integer", "How many of them have a model that can be read."),
        _mm("from_mm", "Lowest height that all its models hold; empty without a change.", required=False),
        _mm("to_mm", "Highest height that all its models hold; empty without a change.", required=False),
        Column(
            "no_change",
            "string",
            "Why this limb has no rows among the changes; empty where it has.",
            required=False,
            choices=(
                "fewer than two measured visits",
                "too little height in common",
                "standing at one visit, lying at another",
                "heights counted from different places",
            ),
        ),
    ),
    _LIMB_KEY,
)

VISITS = Table(
    "visits",
    "One row for each stored visit of a limb: when, how, and the volume where it was measured.",
    (
        _VISIT,
        *_LIMB,
        Column("taken_utc", "datetime", "When it was taken, UTC."),
        Column("offset_minutes", "integer", "What the clock of the place was ahead of UTC.", "min"),
        Column(
            _WEEKS.name, _WEEKS.type, f"{_WEEKS.description} Empty without one.", _WEEKS.unit, required=False
        ),
        Column(
            "posture",
            "string",
            "Posture, where it was noted.",
            required=False,
            choices=("standing", "sitting", "lying"),
        ),
        Column(
            "measurer",
            "integer",
            "Who measured, as a number in place of the initials: 1 is the first who occurs in this table; "
            "empty where it was not noted.",
            required=False,
        ),
        Column("photographs", "integer", "How many photographs are stored."),
        Column("tape_rows", "integer", "How many girths were taken with a tape."),
        Column(
            "model",
            "string",
            "Whether a limb was measured; unreadable when another version of the program wrote it.",
            choices=("measured", "none", "unreadable"),
        ),
        _mm("from_mm", "Lowest height that was measured, along the limb.", required=False),
        _mm("to_mm", "Highest height that was measured, along the limb.", required=False),
        _ml("volume_ml", "Volume between these heights.", required=False),
        _ml("volume_low_ml", "Lower end of its 95 % interval.", required=False),
        _ml("volume_high_ml", "Upper end of its 95 % interval.", required=False),
        _ml("cone_volume_ml", "Volume of truncated cones from the tape alone.", required=False),
        Column("program", "string", "Version of the program that measured.", required=False),
    ),
    ("visit",),
    (Link(_LIMB_KEY, "limbs", _LIMB_KEY),),
)

CHANGES = Table(
    "changes",
    "One row for each measured visit of a limb with two or more: volume between the heights that all of them "
    "share, against the first.",
    (
        _VISIT,
        *_LIMB,
        _WEEKS,
        _ml("volume_ml", "Volume between the heights from_mm and to_mm of this limb in the table limbs."),
        _ml("change_ml", "Change since the first measured visit."),
        Column("change_percent", "number", "The same in percent of the volume at that visit.", "%"),
        Column(
            "change_low_percent",
            "number",
            "Lower end of its 95 % interval, from the error of repeated measurement.",
            "%",
        ),
        Column("change_high_percent", "number", "Upper end of its 95 % interval.", "%"),
    ),
    ("visit",),
    (_OF_VISIT, Link(_LIMB_KEY, "limbs", _LIMB_KEY)),
)

SECTIONS = _numbered(
    "sections",
    "One row for each section of a measured limb, every 10 mm and at both ends, lowest first.",
    _mm("height_mm", "Height along the limb."),
    _mm("girth_mm", "Girth, as a taut tape reads."),
    _mm("girth_low_mm", "Lower end of its 95 % interval."),
    _mm("girth_high_mm", "Upper end of its 95 % interval."),
    Column("area_mm2", "number", "Area of the section.", "mm2"),
    Column("area_low_mm2", "number", "Lower end of its 95 % interval.", "mm2"),
    Column("area_high_mm2", "number", "Upper end of its 95 % interval.", "mm2"),
    _mm("width_mm", "Width along x of the limb's axis frame."),
    _mm("depth_mm", "Depth along y of the limb's axis frame."),
)

STRETCHES = _numbered(
    "stretches",
    "One row for each stretch of a measured limb between the multiples of 100 mm.",
    _mm("from_mm", "Lower end, along the limb."),
    _mm("to_mm", "Upper end, along the limb."),
    _ml("volume_ml", "Volume between them."),
    _ml("volume_low_ml", "Lower end of its 95 % interval."),
    _ml("volume_high_ml", "Upper end of its 95 % interval."),
)

TAPE_ROWS = _numbered(
    "tape_rows",
    "One row for each girth taken with a tape, lowest first.",
    _mm("height_mm", "Height along the limb."),
    _mm("girth_mm", "Girth that was read."),
    Column("point", "string", "Letter of the point, where it has one.", required=False),
)

TAPE_CHECKS = _numbered(
    "tape_checks",
    "One row for each girth of a measured visit beside what the photographs alone say at its height.",
    _mm("height_mm", "Height along the limb."),
    _mm("tape_mm", "Girth of the tape."),
    _mm("photo_mm", "Girth of the photographs alone; empty where they do not see it.", required=False),
    _mm("photo_low_mm", "Lower end of its 95 % interval.", required=False),
    _mm("photo_high_mm", "Upper end of its 95 % interval.", required=False),
    _mm("difference_mm", "Tape minus photographs.", required=False),
    Column(
        "verdict",
        "string",
        "How the two agree.",
        choices=("agrees", "differs", "suspect", "not seen"),
    ),
)

ENDS = _numbered(
    "ends",
    "One row for each foot or hand of a measured visit, and for each way in which its volume was found.",
    Column("part", "string", "Which part.", choices=("foot", "hand")),
    Column("by", "string", "How its volume was found.", choices=("photographs", "tape alone")),
    _mm("below_mm", "Height below which it is told; empty for a hand by tape.", required=False),
    _ml("volume_ml", "Its volume; in no other volume."),
    _ml("volume_low_ml", "Lower end of its 95 % interval."),
    _ml("volume_high_ml", "Upper end of its 95 % interval."),
    _mm("length_mm", "Its length by the photographs; empty by tape.", required=False),
)

PLACES = _numbered(
    "places",
    "One row for each reading of the tape on foot or hand of a measured visit.",
    Column("place", "string", "Name of the place, such as ball-of-foot."),
    _mm("tape_mm", "What the tape read: a girth, or a length where the place says so."),
    _mm("photo_mm", "The same by the photographs; empty where they do not show it.", required=False),
    _mm("photo_low_mm", "Lower end of its 95 % interval.", required=False),
    _mm("photo_high_mm", "Upper end of its 95 % interval.", required=False),
    _mm("difference_mm", "Tape minus photographs.", required=False),
    Column("verdict", "string", "How the two agree.", choices=("agrees", "differs", "not seen")),
)

PHOTOGRAPHS = _numbered(
    "photographs",
    "One row for each photograph that a measured visit was made from: how well it fits, never the picture.",
    Column("markers", "integer", "Markers of the sheets that were used."),
    Column("rms_px", "number", "Root mean square distance between markers and their places, pixels."),
    Column("focal_px", "number", "Focal length, pixels."),
    _mm("distance_mm", "Distance of the camera from the limb."),
    Column("drawn_percent", "number", "Share of the outline that a person drew; 0 where nobody did.", "%"),
)

WARNINGS = Table(
    "warnings",
    "One row for each warning of a measured visit, by its code.",
    (_VISIT, _NUMBER, Column("code", "string", "Stable code of the warning.")),
    ("visit", "number"),
    (_OF_VISIT,),
)

WEEKS = Table(
    "weeks",
    "The lines of the cohort chart: changes of all limbs by whole weeks since the first measured visit.",
    (
        _LIMB[1],
        Column("week", "integer", "Nearest whole week; a limb with several visits in it counts once.", "wk"),
        Column("limbs", "integer", "How many limbs were measured in this week."),
        Column(
            "median_percent", "number", "Median change; empty for fewer than 5 limbs.", "%", required=False
        ),
        Column("lower_quartile_percent", "number", "A quarter lies below it.", "%", required=False),
        Column("upper_quartile_percent", "number", "A quarter lies above it.", "%", required=False),
    ),
    ("limb", "week"),
)

TABLES = (
    LIMBS,
    VISITS,
    CHANGES,
    WEEKS,
    SECTIONS,
    STRETCHES,
    TAPE_ROWS,
    TAPE_CHECKS,
    ENDS,
    PLACES,
    PHOTOGRAPHS,
    WARNINGS,
)
