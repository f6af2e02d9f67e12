"""The limb seen from its four sides, in one colour or coloured by change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from scipy.interpolate import RegularGridInterpolator

from digitise.care.change import Change, Chart
from digitise.care.places import direction_words
from digitise.geometry.rigid import Array
from digitise.output import figures_style as style
from digitise.output.figures import CHANGE_LABEL, change_reach
from digitise.output.render import side_view, vertex_normals
from digitise.shape.limb import Z95, Limb
from digitise.shape.mesh import Mesh, limb_mesh

# front, outer, back, inner of a standing limb
_SIDES = {"left": (0.5, 1.0, 1.5, 0.0), "right": (0.5, 0.0, 1.5, 1.0)}
_RULER_MM = 100.0
# shading is smooth: fewer dots than lines need
_DOTS_PER_INCH = 180
_STRIPE_MM, _STRIPE_SHADE = 9.0, 0.72


def limb_views(limb: Limb, size_mm: tuple[float, float] = (180, 96)) -> Figure:
    """Draw the limb from its four sides, with lines every 100 mm of height."""
    mesh = _own_mesh(limb)
    figure = style.blank(*size_mm)
    _four(figure, limb, mesh, np.broadcast_to(to_rgb(style.SKIN), mesh.vertices.shape), size_mm[1])
    return figure


def change_views(change: Change, size_mm: tuple[float, float] = (180, 96)) -> Figure:
    """Draw the second limb of a comparison from its four sides, coloured by change.

    Grey is no clear change, blue is smaller, brown with stripes is larger.
    """
    mesh = _own_mesh(change.second)
    figure = style.blank(*size_mm)
    reach = change_reach(change)
    panels = _four(figure, change.second, mesh, change_colours(change, mesh), size_mm[1])
    scale = ScalarMappable(Normalize(-reach, reach), style.CHANGE)
    figure.colorbar(scale, ax=panels, label=CHANGE_LABEL, pad=0.02, aspect=30)
    keys = [
        Patch(facecolor=style.NO_CLEAR_CHANGE, label="no clear change"),
        Patch(facecolor=style.CHANGE(0.2), label="smaller"),
        Patch(facecolor=style.CHANGE(0.8), hatch="///", label="larger (striped)"),
    ]
    figure.legend(handles=keys, loc="outside lower center", ncols=3)
    return figure


def _own_mesh(limb: Limb) -> Mesh:
    """Return a limb's mesh in the frame of its axis."""
    mesh = limb_mesh(limb)
    return Mesh(limb.axis_from_world.apply(mesh.vertices), mesh.faces)


def change_colours(change: Change, mesh: Mesh) -> Array:
    """Return the colours (N, 3), 0 to 1, of a mesh's vertices in the frame of the change's first limb."""
    normals = vertex_normals(mesh)
    theta, z = np.arctan2(normals[:, 1], normals[:, 0]), mesh.vertices[:, 2]
    mean, sd = (_at(change.chart, values, theta, z) for values in change.chart.change_mm)
    reach = change_reach(change)
    colours = style.CHANGE(0.5 + 0.5 * np.clip(mean / reach, -1, 1))[:, :3]
    stripes = (mean > 0) & ((z + theta * 40.0) % _STRIPE_MM < _STRIPE_MM / 3)
    colours[stripes] *= _STRIPE_SHADE
    colours[np.abs(mean) <= Z95 * sd] = to_rgb(style.NO_CLEAR_CHANGE)
    return np.asarray(colours)


def _at(chart: Chart, values: Array, theta: Array, z: Array) -> Array:
    """Interpolate a chart's values (Z, T) at directions and heights (N,)."""
    around = np.append(chart.theta, 2 * np.pi)
    closed = np.concatenate([values, values[:, :1]], axis=1)
    field = RegularGridInterpolator((chart.z, around), closed)
    return np.asarray(field((np.clip(z, chart.z[0], chart.z[-1]), theta % (2 * np.pi))))


def _four(figure: Figure, limb: Limb, mesh: Mesh, colours: Array, height_mm: float) -> Sequence[Axes]:
    panels: Sequence[Axes] = figure.subplots(1, 4, sharey=True)
    scale = (limb.to_mm - limb.from_mm) / (0.85 * height_mm * _DOTS_PER_INCH / style.MM_PER_INCH)
    for axes, turn in zip(panels, _SIDES[limb.side], strict=True):
        picture = side_view(mesh, colours, turn * np.pi, scale)
        axes.imshow(picture.pixels, extent=picture.extent, interpolation="antialiased", zorder=2)
        axes.set_title(direction_words(limb, turn * np.pi), loc="center")
        _bare(axes)
    ticks = np.arange(np.ceil(limb.from_mm / _RULER_MM), np.floor(limb.to_mm / _RULER_MM) + 1) * _RULER_MM
    panels[0].set_yticks(ticks)
    panels[0].set_ylabel("height, mm")
    return panels


def _bare(axes: Axes) -> None:
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.tick_params(left=False)
    for spine in axes.spines.values():
        spine.set_visible(False)
