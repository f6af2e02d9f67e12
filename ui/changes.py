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
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.shape.limb import Estimate
from digitise.words import language, remark
from digitise.words.numbers import long_day
from ui import figures, palette
from ui.lengths import Unit
from ui.palette import Ink
from ui.spoken import text

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


def side_by_side(first: Mesh, second: Mesh, change: Coloured, ink: Ink, unit: Unit) -> list[go.Figure]:
    """Return the earlier limb, the later one and the change, all of one size and seen from one side."""
    points = np.concatenate([first.vertices, second.vertices])
    legend = text.CHANGE_LEGEND.format(unit.name)
    shapes = (
        figures.surface(first, palette.LIMB_EARLIER),
        figures.surface(second, palette.LIMB),
        figures.coloured_surface(
            change.mesh, unit.of(1.0) * change.shown, unit.of(reach_of([change])), ink, legend
        ),
    )
    # below the limb, so that it does not take of its width
    shapes[2].colorbar.update(orientation="h", x=0.5, y=-0.02, len=0.9, title_side="top", yanchor="top")
    return [_one_scene(shape, points, ink, 520) for shape in shapes]


def _one_scene(shape: go.Mesh3d, points: Array, ink: Ink, height: int) -> go.Figure:
    figure = go.Figure(shape)
    figure.update_layout(
        scene={**figures.bare_scene(points), "camera": _camera(3)},
        margin={"l": 0, "r": 0, "t": figures.VIEW_BUTTONS_PX, "b": 70},
        height=height + figures.VIEW_BUTTONS_PX,
        uirevision="kept",
        separators=figures.separators(),
        paper_bgcolor="rgba(0,0,0,0)",
        font={"color": ink.text},
    )
    return figure


def _camera(step: int) -> dict[str, object]:
    angle = 2 * np.pi * step / _TURNS
    eye = {"x": _DISTANCE * np.cos(angle), "y": _DISTANCE * np.sin(angle), "z": _EYE_UP}
    return {"eye": eye, "projection": {"type": "orthographic"}}


def one_limb(surface: Coloured, reach: float, ink: Ink, height: int, unit: Unit) -> go.Figure:
    """Return one large limb coloured by change."""
    return _one_scene(_shaded(surface, reach, ink, unit), surface.mesh.vertices, ink, height)


def _shaded(surface: Coloured, reach: float, ink: Ink, unit: Unit) -> go.Mesh3d:
    legend, size = text.CHANGE_LEGEND.format(unit.name), unit.of(1.0)
    shape = figures.coloured_surface(surface.mesh, size * surface.shown, size * reach, ink, legend)
    shape.colorbar.update(orientation="h", x=0.5, y=-0.02, len=0.7, title_side="top", yanchor="top")
    return shape


def page_to_take_away(
    surfaces: Sequence[Coloured], titles: Sequence[str], words: Sequence[str], unit: Unit
) -> str:
    """Return one HTML page with a slider through the visits; it needs neither this program nor a network."""
    ink, reach = palette.LIGHT, reach_of(surfaces)
    figure = one_limb(surfaces[0], reach, ink, 620, unit)
    for number, surface in enumerate(surfaces[1:], start=1):
        shape = _shaded(surface, reach, ink, unit)
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
    foot = f"{text.FOOTER} {remark()}".strip()
    note = f"<p>{html.escape(text.CHANGE_LEGEND_SIDES)}</p><p><small>{html.escape(foot)}</small></p>"
    return (
        f'<!doctype html><html lang="{language()}"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width"><title>{text.TEACH_TITLE}</title></head>'
        '<body style="font:17px system-ui,sans-serif;color:#1D2733;background:#FBFAF6;'
        'margin:1rem auto;max-width:60rem">'
        f"{body}{note}</body></html>"
    )


def _volumes(
    visits: Sequence[tuple[datetime, Estimate[float]]], name: str, colour: str, ink: Ink
) -> go.Scatter:
    half = [(volume.interval_95[1] - volume.interval_95[0]) / 2 for _, volume in visits]
    return go.Scatter(
        x=[taken for taken, _ in visits],
        y=[volume.mean for _, volume in visits],
        error_y={"type": "data", "array": half, "color": ink.mark, "thickness": 2, "width": 6},
        mode="lines+markers",
        line={"color": colour, "width": 3},
        marker={"size": 11, "color": colour},
        name=name,
        hovertemplate="%{customdata}: %{y:,.0f} mL<extra></extra>",
        customdata=[long_day(taken) for taken, _ in visits],
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
    figure.update_xaxes(tickformat={"en": "%d %b"}.get(language(), "%d.%m."))
    figure.update_yaxes(tickformat=",.0f")
    return figure
