"""The calls that compare visits and look for places to pad, made once and remembered for a while."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from digitise.care.change import Change, compare
from digitise.care.chart import limb_chart
from digitise.care.course import Course
from digitise.care.foam import FoamPiece, foam_pieces
from digitise.care.regions import Region, find_regions
from digitise.courseflow import Taken, follow, with_others
from digitise.errors import PlanError
from digitise.output.figures_style import png
from digitise.output.figures_views import change_views
from digitise.output.foam_sheet import foam_pdf
from digitise.output.model_file import StoredModel
from digitise.output.surface import change_on_mesh, mask_on_mesh
from digitise.record.values import VisitLine
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh
from ui import text
from ui.changes import Coloured
from ui.memo import Memo
from ui.work import Progress, limb_key, mesh_of

FINE_STEP_MM, FINE_RAYS = 5.0, 96

_changes = Memo(40)
_coloured = Memo(16)
_regions = Memo(24)
_files = Memo(8)


def change_between(first: StoredModel, second: StoredModel, tell: Progress) -> Change:
    """Return what changed from one visit to another.

    Raises
    ------
    DigitiseError
        The two cannot be compared.
    """

    def make() -> Change:
        tell(text.STEP_CHANGE)
        return compare(first.limb, second.limb)

    return _changes.get((first.summary.limb_sha256, second.summary.limb_sha256), make)


def coloured(change: Change) -> Coloured:
    """Return the later limb's surface with its change."""

    def make() -> Coloured:
        mesh = limb_mesh(change.second, FINE_STEP_MM, FINE_RAYS)
        return Coloured(mesh, *change_on_mesh(change, mesh))

    return _coloured.get((limb_key(change.first), limb_key(change.second)), make)


def unchanged(limb: Limb) -> Coloured:
    """Return a limb's surface without any change."""
    mesh = mesh_of(limb)
    count = len(mesh.vertices)
    return Coloured(mesh, np.zeros(count), np.zeros(count, dtype=bool))


def change_still(change: Change) -> bytes:
    """Return the limb from four sides, coloured by change, as a PNG file."""
    key = ("still", limb_key(change.first), limb_key(change.second))
    return _files.get(key, lambda: png(lambda: change_views(change)))


def course_of(visits: Sequence[tuple[VisitLine, StoredModel]]) -> Course:
    """Return the course of a limb over its visits, all between the heights that every visit measured.

    Raises
    ------
    DigitiseError
        The visits have no common heights.
    """
    taken = [Taken(model.summary, line.taken, f"{line.taken:%d %B %Y}") for line, model in visits]
    return follow(with_others(taken, [None] * len(taken)))


def regions_of(limb: Limb, tell: Progress) -> tuple[Region, ...]:
    """Return the places of a limb that may need padding."""

    def make() -> tuple[Region, ...]:
        tell(text.STEP_MAPS)
        return find_regions(limb)

    return _regions.get(limb_key(limb), make)


def region_vertices(limb: Limb) -> list[NDArray[np.bool_]]:
    """Return for each place which vertices of the limb's light surface lie in it."""
    chart, mesh = limb_chart(limb), mesh_of(limb)
    found = regions_of(limb, lambda _: None)
    return [mask_on_mesh(limb, chart.theta, chart.z, region.mask, mesh) for region in found]


def foam_file(limb: Limb, regions: Sequence[Region], paper: str, code: str) -> bytes | None:
    """Return the foam pieces of bulges and hollows as a PDF to print; None when no place takes foam."""

    def make() -> bytes | None:
        pieces: list[FoamPiece] = []
        for region in regions:
            if region.kind in ("bulge", "hollow"):
                # places too small for foam are in the list on the page, only without a piece
                with contextlib.suppress(PlanError):
                    pieces += foam_pieces(limb, region)
        return foam_pdf(pieces, limb.kind, paper=paper, code=code) if pieces else None

    return _files.get(("foam", limb_key(limb), paper, code), make)


def forget_remembered() -> None:
    """Drop all that is remembered."""
    for memo in (_changes, _coloured, _regions, _files):
        memo.forget()
