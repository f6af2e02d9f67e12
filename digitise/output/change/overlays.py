"""Both limbs of a comparison laid over one another as the photographers saw them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize, to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from digitise.care.change.compare import Change
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.output.change.viewpoints import Viewpoint, all_stands, window
from digitise.output.change.words import sides
from digitise.output.figures import style
from digitise.output.figures.limb import CHANGE_LABEL, change_reach
from digitise.output.figures.render import Window, camera_cover, camera_view
from digitise.output.figures.views import change_colours
from digitise.output.model.form import ModelForm
from digitise.shape.mesh import limb_mesh
from digitise.shape.section import near_half

# its words can be read at the width of a phone
_UPRIGHT_MM, _SIDEWAYS_MM = (90.0, 130.0), (90.0, 100.0)
_LONG_SIDE = 900  # of the drawn part, pixels
_CUT = "#FFFFFF"
_EVERY_MM = 100.0


@dataclass(frozen=True)
class Surfaces:
    """Both surfaces of a comparison between their common heights, in the first model's world.

    Attributes
    ----------
    change
        The comparison.
    first, second
        The surfaces.
    colours
        (N, 3) of the second one's vertices, by change.
    """

    change: Change
    first: Mesh
    second: Mesh
    colours: Array


def surfaces(change: Change) -> Surfaces:
    """Return the surfaces of a comparison; the cut ends of the second one have a colour of their own."""
    low, high = change.joint.low, change.joint.high
    first, second = (
        limb_mesh(replace(limb, from_mm=low, to_mm=high)) for limb in (change.first, change.second)
    )
    colours = change_colours(change, second)
    cut = np.any(second.faces >= len(second.vertices) - 2, axis=1)
    ends = second.vertices[second.faces[cut]].reshape(-1, 3)
    faces = len(second.vertices) + np.arange(len(ends)).reshape(-1, 3)
    apart = Mesh(np.concatenate([second.vertices, ends]), np.concatenate([second.faces[~cut], faces]))
    white = np.broadcast_to(to_rgb(_CUT), ends.shape)
    return Surfaces(change, first, apart, np.concatenate([colours, white]))


@dataclass(frozen=True)
class Overlays:
    """The pictures that can be drawn of a comparison.

    Attributes
    ----------
    both
        The surfaces.
    views
        From where, and what of it.
    left_out
        Code and sentence on each that cannot be drawn.
    """

    both: Surfaces
    views: tuple[tuple[Viewpoint, Window], ...]
    left_out: tuple[tuple[str, str], ...]


def find_overlays(change: Change, first: ModelForm, second: ModelForm) -> Overlays:
    """Find the stands of a comparison's photographs from which its limbs are seen.

    Parameters
    ----------
    change
        The comparison.
    first, second
        What model.json says of both models.
    """
    both = surfaces(change)
    points = np.concatenate([both.first.vertices, both.second.vertices])
    stands = all_stands(change, first, second)
    found = [(stand, window(stand, points, _LONG_SIDE)) for stand in stands]
    views = tuple((stand, part) for stand, part in found if part is not None)
    lost = [stand_words(change, stand) for stand, part in found if part is None]
    left_out = [
        ("stand-unseen", f"The {name} shows too little of the compared heights for a picture from there.")
        for name in lost
    ]
    if all(photo.camera is None for photo in first.photos):
        left_out.insert(0, ("no-cameras", _no_cameras(change, bool(stands))))
    return Overlays(both, views, tuple(left_out))


def _no_cameras(change: Change, others: bool) -> str:
    which = "first model" if others or change.mirrored else "models"
    return (
        f"Pictures from where the photographs of the {which} were taken are left out, as an earlier version "
        "did not keep the cameras: measure again to have them."
    )


def stand_words(change: Change, stand: Viewpoint) -> str:
    """Return for instance ``photograph 1 of the first visit``."""
    of = sides(change)[0] if change.mirrored else f"{'first' if stand.of_first else 'second'} visit"
    return f"photograph {stand.number} of the {of}"


def draw_overlay(both: Surfaces, stand: Viewpoint, part: Window) -> Figure:
    """Draw the second limb coloured by change, and the first one's outline, as seen from a stand."""
    change, upright = both.change, part.size[1] >= part.size[0]
    figure = style.blank(*(_UPRIGHT_MM if upright else _SIDEWAYS_MM))
    axes = figure.add_subplot()
    axes.set_title(f"Seen from {stand_words(change, stand)}", loc="center")
    axes.set_aspect("equal")
    axes.axis("off")
    picture = camera_view(_before(both.second, stand), both.colours, stand.camera, part)
    axes.imshow(picture.pixels, extent=picture.extent, interpolation="antialiased", zorder=2)
    axes.set_autoscale_on(False)
    _heights(axes, change, stand, upright)
    _outline(axes, _before(both.first, stand), stand, part)
    reach = change_reach(change)
    scale = ScalarMappable(Normalize(-reach, reach), style.CHANGE)
    place = "right" if upright else "bottom"
    bar = figure.colorbar(scale, ax=axes, location=place, pad=0.02, aspect=30, panchor=(0.5, 0.5))
    bar.set_label(CHANGE_LABEL)
    _legend(figure, change)
    return figure


def _legend(figure: Figure, change: Change) -> None:
    first, second = "first visit", "second visit"
    if change.mirrored:
        first, second = sides(change)
        second = f"{second}, mirrored"
    keys = [
        Line2D([], [], color=style.TEXT, linewidth=1.4, label=f"outline: {first}"),
        Patch(facecolor=style.CHANGE(0.2), label="smaller"),
        Patch(facecolor=style.NO_CLEAR_CHANGE, label="no clear change"),
        Patch(facecolor=style.CHANGE(0.8), hatch="///", label="larger (striped)"),
    ]
    figure.legend(handles=keys, loc="outside lower center", ncols=2, title=f"in colour: {second}")


def _before(mesh: Mesh, stand: Viewpoint) -> Mesh:
    """Return a mesh of the first model's world in that of the stand's camera."""
    return Mesh(stand.moved(mesh.vertices), mesh.faces)


def _outline(axes: Axes, mesh: Mesh, stand: Viewpoint, part: Window) -> None:
    cover = camera_cover(mesh, stand.camera, part)
    x, y = (
        corner + part.scale * (np.arange(size) + 0.5)
        for corner, size in zip(part.corner, part.size, strict=True)
    )
    line = axes.contour(x, y, cover, [0.5], colors=style.TEXT, linewidths=1.1, zorder=5)
    line.set_path_effects([withStroke(linewidth=2.2, foreground="white")])


def _heights(axes: Axes, change: Change, stand: Viewpoint, upright: bool) -> None:
    """Draw the second limb's sections every 100 mm, with their heights beside or below them."""
    low, high = change.joint.low, change.joint.high
    levels = np.arange(np.ceil(low / _EVERY_MM), np.floor(high / _EVERY_MM) + 1) * _EVERY_MM
    aside, across, down = ((5, 0), "left", "center") if upright else ((0, -5), "center", "top")
    for z in levels:
        arc = stand.camera.project(stand.moved(near_half(change.second, stand.eye, float(z))))
        if not (len(arc) and np.all(np.isfinite(arc))):
            continue
        axes.plot(*arc.T, color="white", linewidth=0.7, zorder=3)
        axes.annotate(
            f"{z:.0f}" + (" mm" if z == levels[-1] else ""),
            arc[np.argmax(arc[:, 0 if upright else 1])],
            aside,
            textcoords="offset points",
            ha=across,
            va=down,
            fontsize=7.5,
        )
