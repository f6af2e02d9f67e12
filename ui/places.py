"""Figures of places to look at and of the wrap's pressure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from digitise.care.padding.region import Region
from digitise.care.wrap.sheet import WrapSheet
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.output.figures.style import KIND_INKS
from digitise.shape.limb import Limb
from ui import figures, palette
from ui.lengths import Unit
from ui.measuring import MESH_STEP_MM
from ui.palette import Ink
from ui.spoken import text

_OFF_SURFACE = 0.3  # of the distance from the middle
_ALL_ROUND = 0.85


def places_figure(
    limb: Limb, mesh: Mesh, inside: Sequence[NDArray[np.bool_]], regions: Sequence[Region], ink: Ink
) -> go.Figure:
    """Return the limb with each place in its kind's colour and its number; later kinds lie above."""
    colours = np.full(len(mesh.vertices), palette.LIMB, dtype=object)
    # places all round the limb first, so that they do not hide small ones
    order = sorted(range(len(regions)), key=lambda n: -int(inside[n].sum()))
    for number in order:
        colours[inside[number]] = KIND_INKS[regions[number].kind]
    shape = figures.surface(mesh, palette.LIMB).update(vertexcolor=list(colours), color=None)
    figure = figures.scene_of(shape, mesh, limb, ink, 520)
    for number, region in enumerate(regions, start=1):
        if not inside[number - 1].any():
            continue
        x, y, z = _label_place(limb, mesh, inside[number - 1], region)
        figure.add_trace(
            go.Scatter3d(
                x=[x],
                y=[y],
                z=[z],
                mode="markers+text",
                text=[str(number)],
                marker={"size": 18, "color": KIND_INKS[region.kind]},
                textfont={"color": "#FFFFFF" if region.kind != "inverted taper" else "#1D2733", "size": 14},
                textposition="middle center",
                hovertext=text.KINDS[region.kind],
                hoverinfo="text",
            )
        )
    return figure


def _label_place(limb: Limb, mesh: Mesh, inside: NDArray[np.bool_], region: Region) -> Array:
    """Return where (3,) in the world a place's number stands: at its height and side, off the surface."""
    vertices = limb.axis_from_world.apply(mesh.vertices)
    away = np.array([np.cos(region.theta), np.sin(region.theta), 0.0])
    if region.mask.any(axis=0).mean() > _ALL_ROUND:
        # a place all round has its number where one looks from
        away = limb.axis_from_world.rotation @ np.array(figures.SIDE_EYE) * [1.0, 1.0, 0.0]
    mine = vertices[inside]
    near = mine[np.argmax((mine - mine.mean(axis=0)) @ away - np.abs(mine[:, 2] - region.height_mm))]
    level = vertices[np.abs(vertices[:, 2] - near[2]) < MESH_STEP_MM]
    centre = (level.min(axis=0) + level.max(axis=0)) / 2
    return limb.axis_from_world.inverse().apply(near + _OFF_SURFACE * (near - [*centre[:2], near[2]]))


def pressure_figure(sheet: WrapSheet, ink: Ink, unit: Unit) -> go.Figure:
    """Return the estimated pressure (across) along the limb (up)."""
    figure = go.Figure(
        go.Scatter(
            x=sheet.estimate_mmhg,
            y=sheet.z / unit.mm,
            mode="lines",
            line={"color": ink.line, "width": 3},
            hovertemplate=f"%{{x:.0f}} mmHg at %{{y:.0f}} {unit.name}<extra></extra>",
            showlegend=False,
        )
    )
    figures.flat(figure, ink, text.WRAP_CHART, text.PROFILE_HEIGHT.format(unit.name), 380)
    figure.update_layout(margin={"l": 60, "r": 10, "t": 10, "b": 50})
    # room for the whole width of the line where the pressure is highest
    figure.update_xaxes(range=[0.0, 1.05 * max(1.0, float(sheet.estimate_mmhg.max()))])
    return figure
