"""What was saved, read back: limbs, heights, photographs with the limb's edge; remembered for a while."""

from __future__ import annotations

import contextlib
import hashlib
import io
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from digitise.anatomy import LimbKind, Side
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.errors import RecordError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array
from digitise.geometry.view import Edge
from digitise.output.model.file import StoredModel, model_from_bytes
from digitise.output.model.form import camera_from_form
from digitise.output.model.pictures import draw_outline, front_arc
from digitise.record.store import Store
from digitise.record.values import VisitId
from digitise.shape.limb import Limb
from ui.lengths import Unit
from ui.measuring import jpeg, remembered_picture
from ui.memo import Memo
from ui.spoken import text

_RIM_STEP_MM = 5.0  # finer than a screen shows


_models = Memo(24)


def saved_limb(visit: int) -> StoredModel:
    """Return figures and limb of a stored visit.

    Raises
    ------
    DigitiseError
        There is none, or it is damaged.
    """
    with Store() as store:
        return stored_model(store, VisitId(visit))


def heights_of_last_visit(client: str, limb: LimbKind, side: Side) -> tuple[float, ...]:
    """Return the tape's heights at a limb's last visit, mm; none when there is no such visit."""
    with contextlib.suppress(RecordError), Store(create=False) as store:
        lines = [line for line in store.list_visits(client) if (line.limb, line.side) == (limb, side)]
        return tuple(row.height_mm for row in store.load_visit(lines[-1].id).tape) if lines else ()
    return ()


def stored_model(store: Store, visit: VisitId) -> StoredModel:
    """Return the limb of a stored visit.

    Raises
    ------
    DigitiseError
        There is none, or it is damaged.
    """
    files = store.model(visit)

    def read() -> StoredModel:
        return model_from_bytes(files.json, files.limb, Path(text.VISIT_NAME.format(visit)))

    return _models.get(hashlib.sha256(files.json.encode() + files.limb).hexdigest(), read)


def saved_picture(store: Store, visit: VisitId, number: int, unit: Unit) -> bytes:
    """Return a stored photograph (from 1) with the edge of the stored limb on it, as a JPEG file.

    Without a stored camera it is the photograph alone, at the size of a screen.

    Raises
    ------
    DigitiseError
        The photograph or the limb is damaged.
    """
    stored = stored_model(store, visit)

    def draw() -> bytes:
        photo = _stored_photo(store.photo(visit, number), number)
        form = stored.summary.photos[number - 1].camera if number <= len(stored.summary.photos) else None
        if form is None:
            return _small(photo)
        camera = camera_from_form(form)
        rim = rim_outline(stored.limb, camera)
        return jpeg(draw_outline(photo, rim, camera, stored.limb, unit.sentence).pixels)

    return remembered_picture(("saved", stored.summary.limb_sha256, number, unit.name), draw)


def plain_picture(store: Store, visit: VisitId, number: int) -> bytes:
    """Return a stored photograph (from 1) of a visit without a limb, at the size of a screen.

    Raises
    ------
    DigitiseError
        The photograph is damaged.
    """
    data = store.photo(visit, number)
    key = ("plain", hashlib.sha256(data).hexdigest())
    return remembered_picture(key, lambda: _small(_stored_photo(data, number)))


def _small(photo: Photograph) -> bytes:
    step = max(1, max(photo.pixels.shape[:2]) // 1600)
    return jpeg(np.ascontiguousarray(photo.pixels[::step, ::step]))


def _stored_photo(data: bytes, number: int) -> Photograph:
    # our own copy, upright or with its orientation told; its digest was checked when it was read
    upright = ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")
    return Photograph(text.PHOTO_NAME.format(number), np.asarray(upright), "", None, None)


def rim_outline(limb: Limb, camera: Camera) -> Outline:
    """Return the outline of a limb as a camera sees it."""
    z = np.arange(limb.from_mm, limb.to_mm, _RIM_STEP_MM)
    arcs = [front_arc(limb, camera, float(level)) for level in z]
    seen = [(level, arc) for level, arc in zip(z, arcs, strict=True) if len(arc) > 1]
    heights = np.array([level for level, _ in seen])
    ends = [np.array([arc[end] for _, arc in seen]) for end in (0, -1)]
    ends.sort(key=lambda points: float(points[:, 0].mean()))
    edges = [_plain_edge(points) for points in ends]
    return Outline((edges[0], edges[1]), (heights, heights), None)


def _plain_edge(points: Array) -> Edge:
    sure = np.ones(len(points), dtype=bool)
    return Edge(points, np.zeros_like(points), np.ones(len(points)), sure, sure)


def forget_remembered() -> None:
    """Drop all that is remembered, so that nothing of a forgotten client stays in memory."""
    for memo in (_models,):
        memo.forget()
