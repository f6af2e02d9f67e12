"""Figures of change: side by side with one shared view, over the weeks, and the page to take away."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from digitise.care.course.course import Course
from digitise.care.course.visits import Reading
from digitise.geometry.rigid import Array
from digitise.shape.mesh import Mesh
from ui import figures, palette, text
from ui.palette import Ink

_TURNS = 24
_DISTANCE, _EYE_UP = 2.2, 0.25


@dataclass(frozen=True)
class Coloured:
    """A surface with its change at each vertex, mm; where it is not clear it counts as none."""

    mesh: Mesh
    change: Array
    clear: NDArray[np.bool_]

    @property
    def shown(self) -> Array:
        """(N,) what is coloured."""
        return np.where(self.clear, self.change, 0.0)


def reach_of(surfaces: Sequence[Coloured]) -> float:
    """Return the end of the common colour scale, whole mm, 2 at least."""
    return float(max([2.0, *(np.ceil(np.abs(one.shown).max()) for one in surfaces)]))


def side_by_side(first: Mesh, second: Mesh, change: Coloured, names: Sequence[str], ink: Ink) -> go.Figure:
    """Return the earlier limb, the later one and the change; one slider turns all three together."""
    figure = go.Figure()
    surfaces = (
        figures.surface(first, palette.LIMB_EARLIER),
        figures.surface(second, palette.LIMB),
        figures.coloured_surface(change.mesh, change.shown, reach_of([change]), ink, text.CHANGE_LEGEND),
    )
    # below the limbs, so that on a phone they get the whole width
    surfaces[2].colorbar.update(orientation="h", x=0.5, y=0.1, len=0.9, title_side="top")
    scenes = ("scene", "scene2", "scene3")
    points = np.concatenate([first.vertices, second.vertices])
    for number, (surface, scene, name) in enumerate(zip(surfaces, scenes, names, strict=True)):
        figure.add_trace(surface.update(scene=scene))
        left = number * 0.34
        figure.update_layout(
            {scene: {**figures.bare_scene(points), "domain": {"x": [left, left + 0.32], "y": [0.26, 0.95]}}}
        )
        figure.add_annotation(
            x=left + 0.16,
            y=1.0,
            xref="paper",
            yref="paper",
            xanchor="center",
            text=name,
            showarrow=False,
            font={"size": 15},
        )
    figure.update_layout(
        sliders=[_turning(scenes, ink)],
        height=640,
        margin={"l": 0, "r": 0, "t": 10, "b": 0},
        paper_bgcolor="rgba(0,0,0,0)",
        font={"color": ink.text},
        uirevision="kept",
        **{f"{scene}_camera": _camera(3) for scene in scenes},
    )
    return figure


def _camera(step: int) -> dict[str, object]:
    angle = 2 * np.pi * step / _TURNS
    eye = {"x": _DISTANCE * np.cos(angle), "y": _DISTANCE * np.sin(angle), "z": _EYE_UP}
    return {"eye": eye, "projection": {"type": "orthographic"}}


def _turning(scenes: Sequence[str], ink: Ink) -> dict[str, object]:
    steps = [
        {
            "method": "relayout",
            "args": [{f"{scene}.camera": _camera(step) for scene in scenes}],
            "label": f"{360 * step // _TURNS}°",
        }
        for step in range(_TURNS)
    ]
    return {
        "active": 3,
        "steps": steps,
        "currentvalue": {"prefix": text.TURN_BOTH, "font": {"color": ink.text, "size": 14}},
        "ticklen": 0,
        "minorticklen": 0,
        "font": {"color": "rgba(0,0,0,0)", "size": 1},
        "x": 0.05,
        "len": 0.9,
        "y": 0.1,
        "bgcolor": ink.faint,
        "activebgcolor": ink.line,
        "bordercolor": ink.text,
        "pad": {"t": 10, "b": 0},
    }


def one_limb(surface: Coloured, reach: float, ink: Ink, height: int) -> go.Figure:
    """Return one large limb coloured by change."""
    shape = figures.coloured_surface(surface.mesh, surface.shown, reach, ink, text.CHANGE_LEGEND)
    figure = go.Figure(shape)
    figure.update_layout(
        scene={**figures.bare_scene(surface.mesh.vertices), "camera": _camera(3)},
        margin={"l": 0, "r": 0, "t": 0, "b": 0},
        height=height,
        uirevision="kept",
        paper_bgcolor="rgba(0,0,0,0)",
        font={"color": ink.text},
    )
    return figure


def page_to_take_away(surfaces: Sequence[Coloured], titles: Sequence[str], words: Sequence[str]) -> str:
    """Return one HTML page with a slider through the visits; it needs neither this program nor a network."""
    ink, reach = palette.LIGHT, reach_of(surfaces)
    figure = one_limb(surfaces[0], reach, ink, 620)
    for number, surface in enumerate(surfaces[1:], start=1):
        shape = figures.coloured_surface(surface.mesh, surface.shown, reach, ink, text.CHANGE_LEGEND)
        figure.add_trace(shape.update(visible=False, showscale=number == 0))
    plain = [words_.replace("**", "") for words_ in words]
    steps = [
        {
            "method": "update",
            "args": [
                {"visible": [i == number for i in range(len(surfaces))], "showscale": True},
                {"title.text": f"<b>{title}</b><br>{said}"},
            ],
            "label": title,
        }
        for number, (title, said) in enumerate(zip(titles, plain, strict=True))
    ]
    figure.update_layout(
        sliders=[{"steps": steps, "active": 0, "currentvalue": {"visible": False}, "pad": {"t": 10}}],
        title={"text": f"<b>{titles[0]}</b><br>{plain[0]}", "x": 0.5, "font": {"size": 18}},
        margin={"l": 10, "r": 10, "t": 90, "b": 10},
        paper_bgcolor="#FBFAF6",
    )
    body = figure.to_html(full_html=False, include_plotlyjs=True, config={"displayModeBar": False})
    note = f"<p>{html.escape(text.CHANGE_LEGEND_SIDES)}</p><p><small>{html.escape(text.FOOTER)}</small></p>"
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width"><title>{text.TEACH_TITLE}</title></head>'
        '<body style="font:17px system-ui,sans-serif;color:#1D2733;background:#FBFAF6;'
        'margin:1rem auto;max-width:60rem">'
        f"{body}{note}</body></html>"
    )


def _volumes(visits: Sequence[tuple[datetime, Reading]], name: str, colour: str, ink: Ink) -> go.Scatter:
    half = [(volume.interval_95[1] - volume.interval_95[0]) / 2 for _, volume in visits]
    return go.Scatter(
        x=[taken for taken, _ in visits],
        y=[volume.value for _, volume in visits],
        error_y={"type": "data", "array": half, "color": ink.mark, "thickness": 2, "width": 6},
        mode="lines+markers",
        line={"color": colour, "width": 3},
        marker={"size": 11, "color": colour},
        name=name,
        hovertemplate="%{x|%d %B %Y}: %{y:,.0f} mL<extra></extra>",
    )


def course_figure(course: Course, ink: Ink) -> go.Figure:
    """Return the volume of each visit with its interval against time, and that of the other limb."""
    points = [point.visit for point in course.points]
    own = _volumes([(p.taken, p.volume) for p in points], text.COURSE_THIS, ink.line, ink)
    beside = [(p.taken, p.reference) for p in points if p.reference is not None]
    figure = go.Figure(own.update(showlegend=bool(beside)))
    if beside:
        other = _volumes(beside, text.COURSE_OTHER, ink.mark, ink)
        figure.add_trace(other.update(line_dash="dot", marker_symbol="diamond"))
    figures.flat(figure, ink, "", text.COURSE_VOLUME, 360 if beside else 320)
    figure.update_layout(margin={"l": 70, "r": 20, "t": 10, "b": 80 if beside else 40})
    if len(points) == 1:
        figure.update_xaxes(tickvals=[points[0].taken])
    figure.update_xaxes(tickformat="%d %b")
    figure.update_yaxes(tickformat=",.0f")
    return figure
