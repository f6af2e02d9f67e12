"""The calls that compare visits and look for places to pad, made once and remembered for a while."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from digitise.care.change.compare import Change, ChangeVerdict, compare
from digitise.care.padding.foam_selection import Foam, make_foam
from digitise.care.padding.foot.foam import with_foot_foam
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.surface.chart import limb_chart
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.output.figures.style import png
from digitise.output.figures.surface import change_on_mesh, mask_on_mesh
from digitise.output.figures.views import change_views
from digitise.output.model.file import StoredModel, same_sheets
from digitise.output.model.form import ModelForm
from digitise.output.padding.foam_sheet import foam_pdf
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh
from digitise.workflow.both.beside import BothLimbs
from digitise.workflow.both.beside import both_limbs as beside
from digitise.workflow.care import foot_places_of, places_of
from digitise.workflow.visits.measured import LimbSeries, VisitMeasurement
from digitise.workflow.visits.sources import from_records, one_limb
from ui.changes import Coloured
from ui.measuring import limb_key, mesh_of
from ui.memo import Memo
from ui.spoken import text
from ui.work import Progress

FINE_STEP_MM, FINE_RAYS = 5.0, 96

_changes = Memo(40)
_coloured = Memo(16)
_places = Memo(24)
_files = Memo(8, spoken=True)


def change_between(first: StoredModel, second: StoredModel, tell: Progress) -> Change:
    """Return what changed from one visit to another.

    Raises
    ------
    DigitiseError
        The two cannot be compared.
    """

    def make() -> Change:
        tell(text.STEP_CHANGE)
        return compare(first.limb, second.limb, same_sheets=same_sheets(first, second))

    return _changes.get((first.summary.limb_sha256, second.summary.limb_sha256), make)


def coloured(change: Change) -> Coloured:
    """Return the later limb's surface with its change."""

    def make() -> Coloured:
        mesh = limb_mesh(change.second, FINE_STEP_MM, FINE_RAYS)
        return Coloured(mesh, *shown_on_mesh(change, mesh))

    return _coloured.get((limb_key(change.first), limb_key(change.second)), make)


def shown_on_mesh(change: Change, mesh: Mesh) -> tuple[Array, NDArray[np.bool_]]:
    """Return the change at each vertex, mm, and where it is shown.

    A place is coloured when its own change is clear, or when its segment as a whole has clearly changed that
    way, so that the picture never shows grey where the table says smaller or larger.
    """
    values, clear = change_on_mesh(change, mesh)
    height = change.second.axis_from_world.apply(mesh.vertices)[:, 2]
    for part in change.parts:
        sign = {ChangeVerdict.SMALLER: -1.0, ChangeVerdict.LARGER: 1.0}.get(part.verdict)
        if sign is not None:
            inside = (height >= part.segment.low) & (height <= part.segment.high)
            clear = clear | (inside & (sign * values > 0))
    return values, clear


def unchanged(limb: Limb) -> Coloured:
    """Return a limb's surface without any change."""
    mesh = mesh_of(limb)
    count = len(mesh.vertices)
    return Coloured(mesh, np.zeros(count), np.zeros(count, dtype=bool))


def change_still(change: Change) -> bytes:
    """Return the limb from four sides, coloured by change, as a PNG file."""
    key = ("still", limb_key(change.first), limb_key(change.second))
    return _files.get(key, lambda: png(lambda: change_views(change)))


def followed(store: Store, line: VisitLine) -> LimbSeries:
    """Return all measured visits of the limb of one visit, each with the other limb where it was measured.

    Raises
    ------
    DigitiseError
        A stored limb is damaged.
    """
    return one_limb(from_records(store, line.client), line.limb, line.side)


def both_limbs(summary: ModelForm, client: str, when: datetime, *, bilateral: bool) -> BothLimbs | None:
    """Return a limb beside the opposite one of the same visit; None when that is not in the records.

    Raises
    ------
    DigitiseError
        A stored limb is damaged, or the two share too little height.
    """
    visits: tuple[VisitMeasurement, ...] = ()
    with Store() as store:
        if any(line.has_model for line in store.list_visits() if line.client == client):
            visits = from_records(store, client)
    return beside(VisitMeasurement(summary, when, text.LIMB), visits, bilateral=bilateral)


@dataclass(frozen=True)
class Places:
    """The places of a limb that may need padding, and the foam for them.

    Attributes
    ----------
    limb
        The limb.
    regions
        In the order of their numbers from 1.
    vertices
        For each, which vertices of the limb's light surface lie in it.
    foam
        Its pieces.
    key
        Of the limb and what it was held against.
    foot_places
        Those on its foot; their numbers follow.
    """

    limb: Limb
    regions: tuple[Region, ...]
    vertices: tuple[NDArray[np.bool_], ...]
    foam: Foam
    key: Hashable
    foot_places: tuple[FootPlace, ...] = ()


def places_against(model: StoredModel, against: StoredModel | None, tell: Progress) -> Places:
    """Return the places of a limb, held against its own taper and, where given, another limb or visit.

    Raises
    ------
    DigitiseError
        The two cannot be compared.
    """
    key = (model.summary.limb_sha256, against.summary.limb_sha256 if against else None)

    def make() -> Places:
        tell(text.STEP_MAPS)
        limb = model.limb
        regions, _ = places_of(model, against)
        feet = foot_places_of(model, against)
        chart, mesh = limb_chart(limb), mesh_of(limb)
        vertices = (mask_on_mesh(limb, chart.theta, chart.z, region.mask, mesh) for region in regions)
        foam = make_foam(limb, regions)
        if model.foot is not None:
            foam = with_foot_foam(foam, model.foot, model.summary.side, feet)
        return Places(limb, regions, tuple(vertices), foam, key, feet)

    return _places.get(key, make)


def foam_file(places: Places, paper: str, code: str, safety: tuple[str, ...]) -> bytes:
    """Return the pieces of foam as a PDF to print, with what is open about the client on every page."""
    limb, pieces = places.limb, places.foam.pieces
    return _files.get(
        ("foam", places.key, paper, code, safety),
        lambda: foam_pdf(pieces, limb.kind, paper=paper, code=code, safety=safety, lying=limb.lying),
    )


def forget_remembered() -> None:
    """Drop all that is remembered."""
    for memo in (_changes, _coloured, _places, _files):
        memo.forget()
