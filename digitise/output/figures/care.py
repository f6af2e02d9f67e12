"""Pictures of places for padding and of a wrap's pressure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from scipy.spatial import cKDTree

from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.surface.chart import columns, rows_of
from digitise.care.surface.place_words import direction_words
from digitise.care.wrap.pressure import RELATIVE_ONLY
from digitise.care.wrap.sheet import WrapSheet
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.geometry.rigid import Array
from digitise.output.figures import style
from digitise.output.figures.style import KIND_INKS
from digitise.output.figures.surface import mask_on_mesh
from digitise.output.figures.views import SIDES, four_sides
from digitise.shape.end import EndPart, whole_mesh
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh

_DOTS_PER_INCH = 180
# as fine as the chart that the places lie on
_MESH_STEP_MM, _MESH_RAYS = 5.0, 96
_SAME_MM = 1e-3
_CUT = -np.pi / 2
# a number is written on the sides from which its place is seen at 60 degrees or less
_FACING = 0.5
# no nearer than so are two numbers written, across and along: degrees and mm, mm and mm
_MAP_APART, _VIEW_APART = (20.0, 35.0), (32.0, 35.0)


class OnFoot(NamedTuple):
    """A foot, where it was measured, and its places; their numbers follow the limb's."""

    foot: EndPart | None = None
    places: Sequence[FootPlace] = ()


NO_FOOT = OnFoot()


def places_views(
    limb: Limb,
    regions: Sequence[Region],
    size_mm: tuple[float, float] = (180, 100),
    on_foot: OnFoot = NO_FOOT,
) -> Figure:
    """Draw the limb from its four sides, each place in the colour of its kind and with its number."""
    foot, world = on_foot.foot, limb_mesh(limb, _MESH_STEP_MM, _MESH_RAYS)
    if foot is not None:
        world = whole_mesh(foot, limb, _MESH_STEP_MM, _MESH_RAYS)
    own = Mesh(limb.axis_from_world.apply(world.vertices), world.faces)
    colours = np.tile(to_rgb(style.SKIN), (len(own.vertices), 1))
    for _, region in _large_first(regions):
        inside = mask_on_mesh(limb, columns(), rows_of(limb), region.mask, world)
        colours[inside] = to_rgb(KIND_INKS[region.kind])
    if foot is not None:
        _colour_foot(colours, world, limb, foot, on_foot.places)
    figure = style.blank(*size_mm)
    pixels = 0.8 * size_mm[1] * _DOTS_PER_INCH / style.MM_PER_INCH
    panels = four_sides(figure, limb, world, colours, pixels)
    spots = _spots(own, regions)
    for axes, half_turns in zip(panels, SIDES[limb.side], strict=True):
        _side_numbers(axes, regions, spots, half_turns * np.pi)
    _foot_numbers(panels, limb, own, on_foot.places, len(regions) + 1)
    _keys(figure, [*regions, *on_foot.places])
    return figure


def _colour_foot(colours: Array, world: Mesh, limb: Limb, foot: EndPart, places: Sequence[FootPlace]) -> None:
    low = world.vertices[:, 2] < limb.from_mm - _SAME_MM
    _, nearest = cKDTree(foot.vertices).query(world.vertices[low])
    for place in sorted(places, key=lambda one: -int(one.vertices.sum())):
        inside = np.flatnonzero(low)[place.vertices[nearest]]
        colours[inside] = to_rgb(KIND_INKS[place.kind])


def _foot_numbers(
    panels: Sequence[Axes], limb: Limb, own: Mesh, places: Sequence[FootPlace], first: int
) -> None:
    """Write each number on the side from which its place is seen best."""
    normals = vertex_normals(own)
    for number, place in enumerate(places, start=first):
        peak = limb.axis_from_world.apply(place.peak)
        normal = normals[np.argmin(np.linalg.norm(own.vertices - peak, axis=1))]
        eyes = np.pi * np.array(SIDES[limb.side])
        facing = int(np.argmax(normal[0] * np.cos(eyes) + normal[1] * np.sin(eyes)))
        across = float(-peak[0] * np.sin(eyes[facing]) + peak[1] * np.cos(eyes[facing]))
        _numbers(panels[facing], [(number, place)], [(across, float(peak[2]))], _VIEW_APART)


def places_map(limb: Limb, regions: Sequence[Region], size_mm: tuple[float, float] = (104, 104)) -> Figure:
    """Draw the places on the limb unrolled: direction across, cut open at the back, height upward."""
    figure = style.blank(*size_mm)
    axes = figure.add_subplot()
    theta, z = columns(), rows_of(limb)
    start = int(np.argmin(np.abs(np.angle(np.exp(1j * (theta - _CUT))))))
    degrees = np.degrees(_CUT) + 360.0 * np.arange(len(theta) + 1) / len(theta)
    for _, region in _large_first(regions):
        rolled = np.roll(region.mask, -start, axis=1).astype(float)
        closed = np.concatenate([rolled, rolled[:, :1]], axis=1)
        ink = KIND_INKS[region.kind]
        axes.contourf(degrees, z, closed, [0.5, 1.5], colors=[ink], alpha=0.45)
        axes.contour(degrees, z, closed, [0.5], colors=[ink], linewidths=1.2)
    peaks = [
        (float(np.degrees((region.peak_theta - _CUT) % (2 * np.pi) + _CUT)), region.peak_height_mm)
        for region in regions
    ]
    _numbers(axes, list(enumerate(regions, start=1)), peaks, _MAP_APART)
    places = np.degrees(_CUT) + 90.0 * np.arange(5)
    axes.set_xticks(places, [direction_words(limb, float(np.radians(place))) for place in places])
    axes.set_xlim(places[0], places[-1])
    axes.set_ylim(limb.from_mm, limb.to_mm)
    axes.set_xlabel("direction, seen from outside")
    axes.set_ylabel("height, mm")
    _keys(figure, regions)
    return figure


def pressure_profile(sheet: WrapSheet, size_mm: tuple[float, float] = (150, 104)) -> Figure:
    """Draw relative pressure and pressing layers (across) along the limb (upward)."""
    figure = style.blank(*size_mm)
    left, right = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    left.plot(sheet.relative, sheet.z, color=style.NOW)
    left.axvline(1.0, color=style.FAINT, linewidth=0.8, linestyle=(0, (2, 2)))
    left.set_xlabel("pressure, relative to the lowest place")
    left.set_ylabel("height, mm")
    right.plot(sheet.layers, sheet.z, color=style.EARLIER)
    right.set_xlabel("pressing layers")
    for axes in (left, right):
        axes.set_xlim(0.0, 1.1 * axes.get_xlim()[1])
    figure.supxlabel(RELATIVE_ONLY, fontsize=7, color=style.FAINT, wrap=True)
    return figure


def _large_first(regions: Sequence[Region]) -> Iterator[tuple[int, Region]]:
    """Yield numbers and places, those that reach furthest first, so that they do not hide small ones."""
    yield from sorted(enumerate(regions, start=1), key=lambda one: -int(one[1].mask.sum()))


def _spots(mesh: Mesh, regions: Sequence[Region]) -> list[Array]:
    """Return the vertex (3,) at the peak of each place."""
    normals = vertex_normals(mesh)
    theta = np.arctan2(normals[:, 1], normals[:, 0])
    mean_radius = float(np.mean(np.hypot(*(mesh.vertices - mesh.vertices.mean(axis=0))[:, :2].T)))
    spots = []
    for region in regions:
        across = mean_radius * np.angle(np.exp(1j * (theta - region.peak_theta)))
        away = np.hypot(across, mesh.vertices[:, 2] - region.peak_height_mm)
        spots.append(mesh.vertices[int(np.argmin(away))])
    return spots


def _side_numbers(axes: Axes, regions: Sequence[Region], spots: Sequence[Array], eye: float) -> None:
    seen = [
        (number, region, spot)
        for number, (region, spot) in enumerate(zip(regions, spots, strict=True), start=1)
        if np.cos(region.peak_theta - eye) >= _FACING
    ]
    across = np.array([-np.sin(eye), np.cos(eye)])
    at = [(float(across @ spot[:2]), float(spot[2])) for _, _, spot in seen]
    _numbers(axes, [(number, region) for number, region, _ in seen], at, _VIEW_APART)


def _numbers(
    axes: Axes,
    named: Sequence[tuple[int, Region | FootPlace]],
    at: Sequence[tuple[float, float]],
    apart: tuple[float, float],
) -> None:
    """Write numbers at places (x, y), moved along x where one would hide another."""
    taken: list[tuple[float, float]] = []
    for (number, region), (x, y) in zip(named, at, strict=True):
        free = x
        while any(abs(free - a) < apart[0] and abs(y - b) < apart[1] for a, b in taken):
            free += apart[0]
        taken.append((free, y))
        ink = KIND_INKS[region.kind]
        box = {"boxstyle": "circle", "facecolor": "white", "edgecolor": ink, "pad": 0.25}
        axes.text(
            free, y, str(number), ha="center", va="center", fontsize=7.5, weight="bold", bbox=box, zorder=5
        )


def _keys(figure: Figure, regions: Sequence[Region | FootPlace]) -> None:
    kinds = [kind for kind in KIND_INKS if any(region.kind == kind for region in regions)]
    keys = [Patch(facecolor=KIND_INKS[kind], label=kind) for kind in kinds]
    if keys:
        figure.legend(handles=keys, loc="outside lower center", ncols=min(3, len(keys)))
