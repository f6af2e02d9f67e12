"""The tables.  Only text, numbers and bytes, so that SQLite and PostgreSQL hold the same.

Times are text in UTC (``2026-03-02T09:15:00Z``), days too (``2026-03-02``): such text sorts by time.  A
change here needs a migration in ``migrations/versions``; a test compares the two.
"""

from __future__ import annotations

from sqlalchemy import (
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    LargeBinary,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

_Sha256 = String(64)
_Time = String(20)
_Day = String(10)


class Base(DeclarativeBase):
    """Root of all tables."""


class ClientRow(Base):
    """A person, known by a code alone."""

    __tablename__ = "clients"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(20), unique=True)


class ConditionsRow(Base):
    """Conditions that a client was asked for, and on which day."""

    __tablename__ = "client_conditions"
    client_id: Mapped[int] = mapped_column(ForeignKey("clients.id", ondelete="CASCADE"), primary_key=True)
    asked_on: Mapped[str] = mapped_column(_Day)
    conditions_json: Mapped[str] = mapped_column(Text)


class ArterialCheckRow(Base):
    """One check of a client's arteries."""

    __tablename__ = "arterial_checks"
    client_id: Mapped[int] = mapped_column(ForeignKey("clients.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    value: Mapped[float] = mapped_column(Double)
    made_on: Mapped[str] = mapped_column(_Day)
    side: Mapped[str] = mapped_column(String(8))
    made_by: Mapped[str] = mapped_column(String(20))


class LimbRow(Base):
    """One limb of a client."""

    __tablename__ = "limbs"
    id: Mapped[int] = mapped_column(primary_key=True)
    client_id: Mapped[int] = mapped_column(ForeignKey("clients.id", ondelete="CASCADE"))
    kind: Mapped[str] = mapped_column(String(8))
    side: Mapped[str] = mapped_column(String(8))
    __table_args__ = (UniqueConstraint("client_id", "kind", "side"),)


class FieldRow(Base):
    """A marker field by its content: many visits share one set of sheets."""

    __tablename__ = "fields"
    sha256: Mapped[str] = mapped_column(_Sha256, primary_key=True)
    field_json: Mapped[str] = mapped_column(Text, deferred=True)


class VisitRow(Base):
    """One measurement of one limb."""

    __tablename__ = "visits"
    id: Mapped[int] = mapped_column(primary_key=True)
    limb_id: Mapped[int] = mapped_column(ForeignKey("limbs.id", ondelete="CASCADE"))
    taken_utc: Mapped[str] = mapped_column(_Time)
    offset_minutes: Mapped[int]
    posture: Mapped[str] = mapped_column(String(16))
    measured_by: Mapped[str] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(Text)
    clearance_answer: Mapped[str] = mapped_column(String(16))
    clearance_by: Mapped[str] = mapped_column(String(20))
    clearance_utc: Mapped[str | None] = mapped_column(_Time)
    red_flags_json: Mapped[str] = mapped_column(Text)
    field_sha256: Mapped[str | None] = mapped_column(_Sha256, ForeignKey("fields.sha256"))
    lens_json: Mapped[str | None] = mapped_column(Text)
    # ids are never given twice, so that a forgotten visit's number cannot come to mean another visit
    __table_args__ = (Index("ix_visits_limb_taken", "limb_id", "taken_utc"), {"sqlite_autoincrement": True})


class HistoryRow(Base):
    """That a visit was mended or removed; it outlives the visit, but not its client."""

    __tablename__ = "history"
    id: Mapped[int] = mapped_column(primary_key=True)
    client_id: Mapped[int] = mapped_column(ForeignKey("clients.id", ondelete="CASCADE"), index=True)
    visit_id: Mapped[int]
    done_utc: Mapped[str] = mapped_column(_Time)
    what: Mapped[str] = mapped_column(String(12))
    was: Mapped[str] = mapped_column(String(40))
    became: Mapped[str] = mapped_column(String(40))
    done_by: Mapped[str] = mapped_column(String(20))


class TapeRowRow(Base):
    """One reading of the tape."""

    __tablename__ = "tape_rows"
    visit_id: Mapped[int] = mapped_column(ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    height_mm: Mapped[float] = mapped_column(Double)
    girth_mm: Mapped[float] = mapped_column(Double)
    line: Mapped[int]
    point: Mapped[str] = mapped_column(String(8))


class PlaceGirthRow(Base):
    """One reading of the tape on foot or hand; a height stands in it where one was given."""

    __tablename__ = "place_girths"
    visit_id: Mapped[int] = mapped_column(ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    place: Mapped[str] = mapped_column(String(40))
    girth_mm: Mapped[float] = mapped_column(Double)
    height_mm: Mapped[float | None] = mapped_column(Double)
    line: Mapped[int]


class PhotographRow(Base):
    """A stripped photograph by its content; it belongs to one client."""

    __tablename__ = "photographs"
    sha256: Mapped[str] = mapped_column(_Sha256, primary_key=True)
    client_id: Mapped[int] = mapped_column(ForeignKey("clients.id", ondelete="CASCADE"), index=True)
    jpeg: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)


class VisitPhotographRow(Base):
    """The place of a photograph in a visit."""

    __tablename__ = "visit_photographs"
    visit_id: Mapped[int] = mapped_column(ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(
        _Sha256, ForeignKey("photographs.sha256", ondelete="CASCADE"), index=True
    )


class ModelRow(Base):
    """The limb made of a visit: the two files of a model.

    ``sha256`` is the digest of both, one after the other, ``json_sha256`` that of the first alone, which is
    read without the second.
    """

    __tablename__ = "models"
    visit_id: Mapped[int] = mapped_column(ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)
    sha256: Mapped[str] = mapped_column(_Sha256)
    json_sha256: Mapped[str | None] = mapped_column(_Sha256)
    model_json: Mapped[str] = mapped_column(Text, deferred=True)
    limb_npz: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)


class PlanRow(Base):
    """The plan of a wrap that was kept with a visit."""

    __tablename__ = "plans"
    visit_id: Mapped[int] = mapped_column(ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)
    plan_toml: Mapped[str] = mapped_column(Text)


class CorrectionRow(Base):
    """A person's correction of the outline in one photograph of a visit."""

    __tablename__ = "corrections"
    visit_id: Mapped[int] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    correction_json: Mapped[str] = mapped_column(Text)
    __table_args__ = (
        ForeignKeyConstraint(
            ["visit_id", "number"],
            ["visit_photographs.visit_id", "visit_photographs.number"],
            ondelete="CASCADE",
        ),
    )
