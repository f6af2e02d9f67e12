"""The limb seen from its four sides, in one colour or coloured by change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from digitise.anatomy import Side
from digitise.care.change.compare import Change
from digitise.care.surface.place_words import direction_words
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.output.figures import style
from digitise.output.figures.limb import CHANGE_LABEL, change_reach, which_against
from digitise.output.figures.render import side_view
from digitise.output.figures.surface import change_on_mesh
from digitise.shape.end import EndPart, whole_mesh
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh

# front, outer, back, inner of a standing limb, in half turns
SIDES = {Side.LEFT: (0.5, 1.0, 1.5, 0.0), Side.RIGHT: (0.5, 0.0, 1.5, 1.0)}
_RULER_MM = 100.0
# shading is smooth: fewer dots than lines need
_DOTS_PER_INCH = 150
_STRIPE_MM, _STRIPE_SHADE = 18.0, 0.68
# over a whole turn the stripes rise by a whole number of their distances, so that they meet
_SLANT_MM = 14 * _STRIPE_MM / (2 * np.pi)


def limb_views(limb: Limb, size_mm: tuple[float, float] = (180, 96), end: EndPart | None = None) -> Figure:
    """Draw the limb from its four sides, with foot or hand where measured; lines every 100 mm of height."""
    mesh = limb_mesh(limb) if end is None else whole_mesh(end, limb)
    figure = style.blank(*size_mm)
    colours = np.broadcast_to(to_rgb(style.SKIN), mesh.vertices.shape)
    four_sides(figure, limb, mesh, colours, _pixels(size_mm[1]))
    return figure


def change_views(change: Change, size_mm: tuple[float, float] = (180, 96)) -> Figure:
    """Draw the second limb of a comparison from its four sides, coloured by change.

    Grey is no clear change, blue is smaller, brown with stripes is larger.
    """
    mesh = limb_mesh(change.second)
    figure = style.blank(*size_mm)
    reach = change_reach(change)
    panels = four_sides(figure, change.second, mesh, change_colours(change, mesh), _pixels(size_mm[1]))
    scale = ScalarMappable(Normalize(-reach, reach), style.CHANGE)
    figure.colorbar(scale, ax=panels, label=CHANGE_LABEL, pad=0.02, aspect=30)
    keys = [
        Patch(facecolor=style.NO_CLEAR_CHANGE, label="no clear change"),
        Patch(facecolor=style.CHANGE(0.2), label="smaller"),
        Patch(facecolor=style.CHANGE(0.8), hatch="///", label="larger (striped)"),
    ]
    figure.legend(handles=keys, loc="outside lower center", ncols=3, title=which_against(change))
    return figure


def change_colours(change: Change, mesh: Mesh) -> Array:
    """Return the colours (N, 3), 0 to 1, of a mesh's vertices; the mesh is in the world frame."""
    mean, clear = change_on_mesh(change, mesh)
    colours = style.CHANGE(0.5 + 0.5 * np.clip(mean / change_reach(change), -1, 1))[:, :3]
    own = change.first.axis_from_world.apply(mesh.vertices)
    # a slant line round the limb every few mm of height
    around = np.arctan2(own[:, 1] - own[:, 1].mean(), own[:, 0] - own[:, 0].mean())
    stripes = (mean > 0) & ((own[:, 2] + _SLANT_MM * around) % _STRIPE_MM < _STRIPE_MM / 3)
    colours[stripes] *= _STRIPE_SHADE
    colours[~clear] = to_rgb(style.NO_CLEAR_CHANGE)
    return np.asarray(colours)


def _pixels(height_mm: float) -> float:
    """Return how many pixels of a figure's height the limb gets."""
    return 0.85 * height_mm * _DOTS_PER_INCH / style.MM_PER_INCH


def four_sides(figure: Figure, limb: Limb, mesh: Mesh, colours: Array, pixels: float) -> Sequence[Axes]:
    """Draw a limb's mesh in the world frame from its four sides, with a line every 100 mm of height.

    Parameters
    ----------
    figure
        Empty.
    limb, mesh, colours
        The limb, its mesh and the colours (N, 3) of its vertices.
    pixels
        Height of the limb in each picture.

    Returns
    -------
    The four panels, in the order of :data:`SIDES`.
    """
    own = Mesh(limb.axis_from_world.apply(mesh.vertices), mesh.faces)
    panels: Sequence[Axes] = figure.subplots(1, 4, sharey=True)
    scale = (limb.to_mm - limb.from_mm) / pixels
    for axes, turn in zip(panels, SIDES[limb.side], strict=True):
        picture = side_view(own, colours, turn * np.pi, scale)
        axes.imshow(picture.pixels, extent=picture.extent, interpolation="antialiased", zorder=2)
        axes.set_title(direction_words(limb, turn * np.pi), loc="center")
        _bare(axes)
    ticks = np.arange(np.ceil(limb.from_mm / _RULER_MM), np.floor(limb.to_mm / _RULER_MM) + 1) * _RULER_MM
    panels[0].set_yticks(ticks)
    panels[0].set_ylabel("height, mm")
    return panels


def _bare(axes: Axes) -> None:
    axes.set_aspect("equal")
    axes.xaxis.set_visible(False)
    axes.tick_params(left=False)
    for spine in axes.spines.values():
        spine.set_visible(False)
