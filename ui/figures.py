"""Values become figures; no Streamlit here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import plotly.graph_objects as go

from digitise.care.surface.place_words import direction_words
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array, Pose
from digitise.shape.limb import Limb, girth, levels
from digitise.shape.section import SectionOutline, section_outline
from digitise.shape.taped import TapeCheck
from digitise.words import shown
from digitise.words.numbers import decimal_point
from ui import palette
from ui.lengths import Unit
from ui.palette import Ink
from ui.spoken import text

MARKS = {
    "agrees": (palette.AGREES, "circle"),
    "differs": (palette.DIFFERS, "triangle-up"),
    "suspect": (palette.SUSPECT, "x"),
    "not seen": (palette.NOT_SEEN, "circle-open"),
}
_QUARTERS = np.pi / 2 * np.arange(4)
NARROW_SPACE = "\u202f"
_LEGEND_LINE_PX = 22
_CLEAR = "rgba(0,0,0,0)"
SIDE_EYE = (1.25, 1.25, 0.35)
_LARGEST_SIDE = 1.85
_BELOW_BUTTONS_MM = 35.0
VIEW_BUTTONS_PX = 50  # above a limb, for the buttons that turn it


def shape_figure(
    limb: Limb, mesh: Mesh, section: SectionOutline, taped: Sequence[tuple[str, SectionOutline]], ink: Ink
) -> go.Figure:
    """Return the limb to turn, with the tape's rings (verdict, outline) and the chosen section on it."""
    if limb.lying:
        # an arm hangs, a leg stands: as tall as the picture, whichever way it lay
        mesh = Mesh(limb.axis_from_world.apply(mesh.vertices), mesh.faces)
        limb = replace(limb, axis_from_world=Pose.identity())
    figure = go.Figure(surface(mesh, palette.LIMB))
    for verdict, ring in taped:
        figure.add_trace(_ring(limb, ring, MARKS[verdict][0], 5, text.TAPE_POINTS[verdict]))
    figure.add_trace(_ring(limb, section, ink.text, 8, text.SECTION))
    figure.add_trace(_directions(limb, ink))
    return _scene(figure, mesh, ink)


def surface(mesh: Mesh, colour: str) -> go.Mesh3d:
    """Return a mesh in one colour."""
    x, y, z = mesh.vertices.T.astype(np.float32)
    i, j, k = mesh.faces.T.astype(np.int32)
    return go.Mesh3d(
        x=x,
        y=y,
        z=z,
        i=i,
        j=j,
        k=k,
        color=colour,
        hoverinfo="skip",
        lighting={"ambient": 0.55, "diffuse": 0.7, "specular": 0.05, "roughness": 0.9},
        # as seen on the screen: from the right, above and before it, so that relief shows from every side
        lightposition={"x": 2, "y": 1, "z": -1},
    )


def coloured_surface(mesh: Mesh, values: Array, reach: float, ink: Ink, title: str) -> go.Mesh3d:
    """Return a surface coloured by a change at each vertex (N,) mm, from ``-reach`` to ``reach``."""
    shape = surface(mesh, palette.LIMB)
    shape.update(
        intensity=np.asarray(values, np.float32),
        cmin=-reach,
        cmax=reach,
        colorscale=[list(stop) for stop in palette.CHANGE],
        colorbar={
            "title": {"text": title, "font": {"color": ink.text, "size": 14}},
            "tickfont": {"color": ink.text, "size": 13},
            "thickness": 16,
            "len": 0.7,
            "x": 1.0,
        },
    )
    return shape


def _ring(limb: Limb, ring: SectionOutline, colour: str, width: int, name: str) -> go.Scatter3d:
    height = np.full((len(ring.line), 1), ring.height_mm)
    # a little outside the surface, so that it is not hidden in it
    centre = ring.line[:-1].mean(axis=0)
    line = centre + 1.012 * (ring.line - centre)
    x, y, z = limb.axis_from_world.inverse().apply(np.hstack([line, height])).T
    return go.Scatter3d(
        x=x, y=y, z=z, mode="lines", line={"color": colour, "width": width}, name=name, hoverinfo="name"
    )


def _directions(limb: Limb, ink: Ink) -> go.Scatter3d:
    """Return words round the lower end, or the upper one beyond which no hand lies, that tell the sides."""
    height = max(limb.to_mm - _BELOW_BUTTONS_MM, limb.from_mm) if limb.lying else limb.from_mm
    ring = section_outline(limb, height, 60)
    centre = ring.line[:-1].mean(axis=0)
    away = 1.9 * np.max(np.linalg.norm(ring.line - centre, axis=1))
    places = centre + away * np.stack([np.cos(_QUARTERS), np.sin(_QUARTERS)], axis=1)
    points = np.hstack([places, np.full((4, 1), height)])
    x, y, z = limb.axis_from_world.inverse().apply(points).T
    words = [shown(direction_words(limb, float(theta))) for theta in _QUARTERS]
    return go.Scatter3d(
        x=x,
        y=y,
        z=z,
        mode="text",
        text=words,
        textfont={"color": ink.text, "size": 14},
        hoverinfo="skip",
        showlegend=False,
    )


def scene_of(shape: go.Mesh3d, mesh: Mesh, limb: Limb, ink: Ink, height: int = 460) -> go.Figure:
    """Return a figure of one surface with the words for the directions."""
    figure = go.Figure([shape, _directions(limb, ink)])
    return _scene(figure, mesh, ink, height)


def bare_scene(points: Array) -> dict[str, object]:
    """Return a scene without axes, true to scale, that holds points (N, 3) whichever way it is turned."""
    # a little room: what lies on the limit itself is cut off
    room = 0.01 * np.ptp(points, axis=0).max()
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    ratio = _LARGEST_SIDE * (high - low) / (high - low).max()
    axes = {
        f"{name}axis": {"visible": False, "showspikes": False, "range": [float(low[n]), float(high[n])]}
        for n, name in enumerate("xyz")
    }
    aspect = dict(zip("xyz", map(float, ratio), strict=True))
    return {"aspectmode": "manual", "aspectratio": aspect, "dragmode": "turntable", **axes}


def _with_room(mesh: Mesh) -> Array:
    """Return the mesh's corners moved apart to the sides, so that rings and words find room."""
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    room = np.array([0.6, 0.6, 0.02]) * (high - low)
    return np.stack([low - room, high + room])


def _scene(figure: go.Figure, mesh: Mesh, ink: Ink, height: int = 460) -> go.Figure:
    eye = dict(zip("xyz", SIDE_EYE, strict=True))
    figure.update_layout(
        scene={
            **bare_scene(_with_room(mesh)),
            "camera": {"eye": eye, "projection": {"type": "orthographic"}},
        },
        margin={"l": 0, "r": 0, "t": VIEW_BUTTONS_PX, "b": 0},
        height=height + VIEW_BUTTONS_PX,
        uirevision="kept",  # the view stays as it was turned when the figure is drawn anew
        showlegend=False,
        paper_bgcolor=_CLEAR,
        font={"color": ink.text},
    )
    return figure


def section_figure(
    limb: Limb, sections: Sequence[tuple[str, SectionOutline, str]], ink: Ink, unit: Unit
) -> go.Figure:
    """Return outlines of one height seen from above; each is (name, outline, colour).

    The band is drawn for a single outline only: two bands over one another cannot be read.
    """
    figure = go.Figure()
    if len(sections) == 1:
        outline = sections[0][1]
        band = unit.of(1.0) * np.concatenate([outline.outer, outline.inner[::-1]])
        figure.add_trace(_filled(band, ink, text.SECTION_BAND))
    for name, outline, colour in sections:
        x, y = unit.of(1.0) * outline.line.T
        figure.add_trace(
            go.Scatter(
                x=x, y=y, mode="lines", line={"color": colour, "width": 3}, name=name, hoverinfo="skip"
            )
        )
    flat(figure, ink, unit.name, unit.name, 340)
    figure.update_yaxes(scaleanchor="x")
    for theta, at in zip(_QUARTERS, ((1, 0.5), (0.5, 1), (0, 0.5), (0.5, 0)), strict=True):
        figure.add_annotation(
            x=at[0],
            y=at[1],
            xref="paper",
            yref="paper",
            text=shown(direction_words(limb, float(theta))).replace(" side", "<br>side"),
            showarrow=False,
            font={"color": ink.text, "size": 13},
            xanchor=("left", "center", "right")[int(2 - 2 * at[0])],
            yanchor=("bottom", "middle", "top")[int(2 - 2 * at[1])],
        )
    figure.update_xaxes(title=None, showticklabels=False, showgrid=False, zeroline=False, showline=False)
    figure.update_yaxes(title=None, showticklabels=False, showgrid=False, zeroline=False, showline=False)
    beside = 72 if limb.lying else 50  # little-finger side
    figure.update_layout(margin={"l": beside, "r": beside, "t": 25, "b": 70})
    return figure


def profile_figure(
    limb: Limb, checks: Sequence[TapeCheck], chosen_mm: float | None, ink: Ink, unit: Unit
) -> go.Figure:
    """Return the girth (across) along the limb (up), with its band and the tape's readings."""
    z = levels(limb)
    values = girth(limb, z)
    low, high = values.interval_95
    figure = go.Figure()
    band = np.stack([np.concatenate([low, high[::-1]]), np.concatenate([z, z[::-1]])], axis=1) / unit.mm
    figure.add_trace(_filled(band, ink, text.PROFILE_BAND))
    figure.add_trace(
        go.Scatter(
            x=values.mean / unit.mm,
            y=z / unit.mm,
            mode="lines",
            line={"color": ink.line, "width": 3},
            name=text.PROFILE_LINE,
            hovertemplate=f"%{{x:.1f}} {unit.name} at %{{y:.1f}} {unit.name}<extra></extra>",
        )
    )
    for verdict, (colour, symbol) in MARKS.items():
        rows = [check.row for check in checks if check.verdict == verdict]
        if rows:
            figure.add_trace(
                go.Scatter(
                    x=[row.girth_mm / unit.mm for row in rows],
                    y=[row.height_mm / unit.mm for row in rows],
                    mode="markers",
                    marker={
                        "color": colour,
                        "symbol": symbol,
                        "size": 12,
                        "line": {"color": ink.text, "width": 1},
                    },
                    name=text.TAPE_POINTS[verdict],
                    hovertemplate=f"tape %{{x:.1f}} {unit.name} at %{{y:.1f}} {unit.name}<extra></extra>",
                )
            )
    if chosen_mm is not None:
        figure.add_hline(y=chosen_mm / unit.mm, line={"color": ink.text, "width": 1, "dash": "dot"})
    return flat(figure, ink, text.PROFILE_GIRTH.format(unit.name), text.PROFILE_HEIGHT.format(unit.name), 420)


def _filled(line: Array, ink: Ink, name: str) -> go.Scatter:
    x, y = line.T
    return go.Scatter(
        x=x,
        y=y,
        fill="toself",
        fillcolor=ink.band,
        line={"width": 0},
        mode="lines",
        name=name,
        hoverinfo="skip",
    )


def separators() -> str:
    """Return how a chart writes numbers: what stands before the parts, and between the thousands."""
    point = decimal_point()
    return f"{point}{',' if point == '.' else NARROW_SPACE}"


def flat(figure: go.Figure, ink: Ink, across: str, up: str, height: int) -> go.Figure:
    """Lay out a chart with two axes; on a phone each entry of its legend takes a line below them."""
    further = max(0, sum(trace.showlegend is not False for trace in figure.data) - 2)
    legend = _LEGEND_LINE_PX * further
    axis = {
        "gridcolor": ink.faint,
        "zeroline": False,
        "linecolor": ink.faint,
        "tickfont": {"color": ink.text},
    }
    figure.update_xaxes(title=across, **axis)
    figure.update_yaxes(title=up, **axis)
    figure.update_layout(
        height=height + legend,
        margin={"l": 60, "r": 10, "t": 10, "b": 90 + legend},
        paper_bgcolor=_CLEAR,
        plot_bgcolor=_CLEAR,
        font={"color": ink.text, "size": 14},
        separators=separators(),
        legend={
            "orientation": "h",
            "yref": "container",
            "y": 0,
            "yanchor": "bottom",
            "x": 0,
            "font": {"color": ink.text},
        },
        dragmode=False,
        uirevision="kept",
    )
    return figure
