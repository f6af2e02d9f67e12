"""A wrap's layers on the limb, one beside the other in the order in which they go on."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from digitise.care.surface.foot_way import FootPlanes, foot_way
from digitise.care.wrap.sheet import LayerNeed, WrapSheet
from digitise.geometry.mesh import Mesh, quartered
from digitise.geometry.rigid import Array
from digitise.output.figures import style
from digitise.output.figures.render import side_view
from digitise.output.figures.views import SIDES
from digitise.shape.end import EndPart, whole_mesh
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh

WIDTH_MM = 180.0
_STEP_MM, _RAYS, _HALVED = 5.0, 72, 1
_DOTS_PER_INCH = 130
_IN_A_ROW, _ROW_MM = 6, 86.0
_TURN_INKS = ("#8C8880", "#EDEBE6")
"""Every other turn, light and dark, so that turns can be counted on any printer."""


def layers_height_mm(count: int) -> float:
    """Return how high the figure of so many layers is, mm; it is :data:`WIDTH_MM` wide."""
    return -(-count // _IN_A_ROW) * _ROW_MM


def wrap_layers(limb: Limb, end: EndPart | None, sheet: WrapSheet) -> Figure:
    """Draw each layer on the limb, seen from its outer side, every other turn darker.

    Parameters
    ----------
    limb, end
        The limb, and its foot or hand where it was measured.
    sheet
        The wrap.
    """
    needs = sheet.needs
    rows = -(-len(needs) // _IN_A_ROW)
    figure = style.blank(WIDTH_MM, layers_height_mm(len(needs)))
    panels = figure.subplots(rows, min(len(needs), _IN_A_ROW), squeeze=False).ravel()
    world = limb_mesh(limb, _STEP_MM, _RAYS) if end is None else _with_end(limb, end)
    own = Mesh(limb.axis_from_world.apply(world.vertices), world.faces)
    at = _places(limb, end, world, own)
    for number, (axes, need) in enumerate(zip(panels, needs, strict=False), start=1):
        _layer(axes, own, limb, _colours(at, need, sheet))
        axes.set_title(_title(number, need), loc="center", fontsize=7.5)
    for axes in panels[len(needs) :]:
        axes.set_visible(False)
    keys = [Patch(facecolor=ink, label=words) for ink, words in zip(_TURN_INKS, _KEYS, strict=True)]
    figure.legend(handles=keys, loc="outside lower center", ncols=2)
    return figure


_KEYS = ("one turn", "the next turn")


def _title(number: int, need: LayerNeed) -> str:
    turns = round(need.turns)
    begins = {"": "", "foot": "from the toes, ", "hand": "from the knuckles, "}[need.end]
    name = need.layer.name or need.layer.kind
    return f"{number}  {name}\n{begins}{turns} turn{'' if turns == 1 else 's'}"


def _with_end(limb: Limb, end: EndPart) -> Mesh:
    """Return the limb with foot or hand, whose faces are so small that the edges of turns stay sharp."""
    whole = whole_mesh(end, limb, _STEP_MM, _RAYS)
    for _ in range(_HALVED):
        low = (
            limb.axis_from_world.apply(whole.vertices)[whole.faces][:, :, 2].min(axis=1) < limb.from_mm - 1e-3
        )
        whole = quartered(whole, low)
    return whole


def _places(limb: Limb, end: EndPart | None, world: Mesh, own: Mesh) -> Array:
    """Return each vertex's place (N,) along the way from toes or knuckles up; heights on limb and hand."""
    heights = own.vertices[:, 2].copy()
    if end is not None and end.name == "foot":
        planes: FootPlanes = foot_way(end)[1]
        low = world.vertices[:, 2] < limb.from_mm - 1e-3
        heights[low] = planes.at(world.vertices[low])
    return heights


def _colours(at: Array, need: LayerNeed, sheet: WrapSheet) -> Array:
    layer = need.layer
    start = layer.from_mm if sheet.end is None or not need.end else sheet.end.start_mm
    turn = np.floor((at - start) / layer.advance_mm).astype(int)
    colours = np.tile(to_rgb(style.SKIN), (len(at), 1))
    inks = np.array([to_rgb(ink) for ink in _TURN_INKS])
    covered = (at >= start) & (at <= layer.to_mm)
    colours[covered] = inks[turn[covered] % 2]
    return colours


def _layer(axes: Axes, own: Mesh, limb: Limb, colours: Array) -> None:
    pixels = 0.8 * _ROW_MM * _DOTS_PER_INCH / style.MM_PER_INCH
    scale = (limb.to_mm - limb.from_mm) / pixels
    # the outer side, from which a foot is seen along its whole length
    picture = side_view(own, colours, SIDES[limb.side][1] * np.pi, scale)
    axes.imshow(picture.pixels, extent=picture.extent, interpolation="antialiased")
    axes.set_aspect("equal")
    axes.set_axis_off()
