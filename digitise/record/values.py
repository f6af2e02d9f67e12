"""What goes into the records and what comes out: plain values, without bytes that nobody asked for."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal, NewType

from digitise.anatomy import LimbKind, Side
from digitise.tape.rows import PlaceGirth, TapeRow

Posture = Literal["", "standing", "sitting", "lying"]
Answer = Literal["yes", "no", "not-asked"]


VisitId = NewType("VisitId", int)
"""Number of a visit in its database; never given twice, also not after a client is forgotten."""


@dataclass(frozen=True)
class Clearance:
    """Whether a licensed practitioner cleared compression, and what was asked about warning signs.

    Attributes
    ----------
    answer
        ``not-asked`` is kept too: it tells that the question is open.
    by
        Initials or code of who answered.
    when
        Time of the answer, with a time zone; None when not asked.
    red_flags
        Answers to questions about warning signs, by the question's code; True when the sign is there.
    """

    answer: Answer = "not-asked"
    by: str = ""
    when: datetime | None = None
    red_flags: tuple[tuple[str, bool], ...] = ()


@dataclass(frozen=True)
class ModelFiles:
    """A limb model as its two files hold it.

    Attributes
    ----------
    json
        Text of model.json.
    limb
        Bytes of limb.npz.
    """

    json: str
    limb: bytes = field(repr=False)


@dataclass(frozen=True)
class NewVisit:
    """A visit to be stored.

    Attributes
    ----------
    client
        Code of the client, never a name.
    limb, side
        Which limb.
    taken
        When the photographs and girths were taken, with a time zone.
    tape
        Girths, lowest first; may be empty when there are photographs.
    photos
        Photograph files; what identifies a person or place is stripped before they are stored.
    field_json
        Text of the field.json that belongs to the photographs; None when it is not to be kept.
    lens_json
        Text of the lens profile they were measured with, None without one.
    model
        The limb made from them, None when there is none yet.
    corrections
        Corrected outlines as JSON text, by number of the photograph (1-based).
    posture, measured_by, note
        Empty when unknown; ``measured_by`` is initials or a code.
    clearance
        The clearance question, asked and answered.
    places
        Girths on foot or hand, each place once.
    """

    client: str
    limb: LimbKind
    side: Side
    taken: datetime
    tape: tuple[TapeRow, ...] = ()
    photos: tuple[Path, ...] = ()
    field_json: str | None = None
    lens_json: str | None = None
    model: ModelFiles | None = None
    corrections: Mapping[int, str] = field(default_factory=dict)
    posture: Posture = ""
    measured_by: str = ""
    note: str = ""
    clearance: Clearance = Clearance()
    places: tuple[PlaceGirth, ...] = ()


@dataclass(frozen=True)
class StoredPhoto:
    """A stripped photograph in the records, without its bytes.

    Attributes
    ----------
    number
        Its place in the visit, 1-based.
    sha256
        Hex digest of the stored bytes.
    bytes
        How many there are.
    """

    number: int
    sha256: str
    bytes: int


@dataclass(frozen=True)
class Visit:
    """A stored visit; see :class:`NewVisit` for the attributes of the same name.

    Attributes
    ----------
    id
        Number in this database.
    photos
        The stored photographs, without their bytes.
    lens_json
        Text of the lens profile, None without one.
    field_sha256, model_sha256
        Hex digests of the field.json and of the model that were stored with it, None without one.
    """

    id: VisitId
    client: str
    limb: LimbKind
    side: Side
    taken: datetime
    tape: tuple[TapeRow, ...]
    places: tuple[PlaceGirth, ...]
    photos: tuple[StoredPhoto, ...]
    corrections: Mapping[int, str]
    lens_json: str | None
    field_sha256: str | None
    model_sha256: str | None
    posture: Posture
    measured_by: str
    note: str
    clearance: Clearance

    @property
    def has_field(self) -> bool:
        """Whether a field.json was stored with it."""
        return self.field_sha256 is not None

    @property
    def has_model(self) -> bool:
        """Whether a model was stored with it."""
        return self.model_sha256 is not None

    @property
    def state(self) -> str:
        """Digest of all of this; when it is another one, the visit was changed meanwhile."""
        return hashlib.sha256(repr(self).encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True)
class VisitLine:
    """One line of the list of visits.

    Attributes
    ----------
    photos
        How many photographs there are.
    """

    id: VisitId
    client: str
    limb: LimbKind
    side: Side
    taken: datetime
    photos: int
    has_model: bool


@dataclass(frozen=True)
class MeasuredVisit:
    """A visit that has a model, with what a course needs of it; the limb's shape is left on the disk.

    Attributes
    ----------
    model_json
        Text of model.json.
    """

    id: VisitId
    limb: LimbKind
    side: Side
    taken: datetime
    posture: Posture
    measured_by: str
    model_json: str = field(repr=False)


@dataclass(frozen=True)
class CodedVisit:
    """A visit as a study may have it: codes and figures, no note, no photograph.

    Attributes
    ----------
    photos
        How many photographs there are.
    model_json
        Text of model.json, None without a model.
    """

    id: VisitId
    client: str
    limb: LimbKind
    side: Side
    taken: datetime
    posture: Posture
    measured_by: str
    photos: int
    tape: tuple[TapeRow, ...]
    model_json: str | None = field(repr=False)


@dataclass(frozen=True)
class Client:
    """One line of the list of clients.

    Attributes
    ----------
    visits
        How many are stored.
    first, last
        When the first and the last of them was taken, in UTC.
    """

    code: str
    visits: int
    first: datetime
    last: datetime
