"""The one style of all figures: typeface, inks, change scale, and how a figure becomes PNG or SVG.

Colours are told apart by all kinds of colour vision; where two of them have the same grey, line style, marker
or stripes say the same again, so that a figure survives a black-and-white printer.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter, ScalarFormatter

from digitise import fonts
from digitise.words import ENGLISH, language, numbers, shown

if TYPE_CHECKING:
    from digitise.care.padding.maps import Kind

TEXT, FAINT, GRID = "#1D2733", "#6B727A", "#DAD8D0"
NOW, EARLIER = "#0A6A6E", "#A4561B"
SKIN, NO_CLEAR_CHANGE = "#CDBBA6", "#C4C4C0"
SMALLER, LARGER = "#0B3C6F", "#7A3B05"
CHANGE = LinearSegmentedColormap.from_list(
    "change", ((0.0, SMALLER), (0.25, "#6C9CCB"), (0.5, "#EFECE4"), (0.75, "#DE9C5A"), (1.0, LARGER))
)
# marker and ink of a tape reading by its verdict
TAPE = {
    "agrees": ("o", NOW),
    "differs": ("^", "#B8620A"),
    "suspect": ("X", "#8E1B5B"),
    "not seen": ("s", FAINT),
}
# told apart by all kinds of colour vision (Okabe and Ito's set); the number on a place says the same again
KIND_INKS: dict[Kind, str] = {
    "bulge": "#D55E00",
    "hollow": "#0072B2",
    "ridge": "#CC79A7",
    "crease": "#5B3A8E",
    "inverted taper": "#E0A800",
    "step": "#009E73",
}
MM_PER_INCH = 25.4
DOTS_PER_INCH = 220

_RULES: dict[str, Any] = {
    "font.family": "DejaVu Sans Condensed",
    "font.size": 8.0,
    "text.color": TEXT,
    "axes.labelcolor": TEXT,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titley": 1.0,
    "grid.color": GRID,
    "grid.linewidth": 0.5,
    "xtick.color": TEXT,
    "ytick.color": TEXT,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "lines.linewidth": 1.6,
    "hatch.linewidth": 0.6,
    # words stay words in an SVG: they can be searched, and its ids do not change from run to run
    "svg.fonttype": "none",
    "svg.hashsalt": "digitise",
    "svg.id": "digitise",
}


@cache
def _typeface() -> None:
    for path, weight in ((fonts.REGULAR, 400), (fonts.BOLD, 700)):
        font_manager.fontManager.addfont(str(path))
        known = font_manager.fontManager.ttflist
        # the file calls its regular weight 380, and the library complains whenever it looks for 400
        known[-1] = replace(known[-1], weight=weight)


@contextmanager
def styled() -> Iterator[None]:
    """Draw in our style within the block, whatever else the process draws with the library."""
    _typeface()
    with mpl.rc_context(_RULES):  # type: ignore[arg-type]
        yield


def blank(width_mm: float, height_mm: float) -> Figure:
    """Return an empty figure of a size on paper; to be used within :func:`styled`."""
    return Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), layout="constrained")


class _Ticks(ScalarFormatter):
    """Numbers on an axis as the reader's language writes them."""

    def __call__(self, x: float, pos: int | None = None) -> str:
        return numbers.numbers(super().__call__(x, pos))


def _spoken(figure: Figure) -> Figure:
    """Return a figure with its words in the reader's language."""
    if language() == ENGLISH:
        return figure
    for words in figure.findobj(Text):
        words.set_text(shown(words.get_text()))
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            ticks = axis.get_major_formatter()
            if isinstance(ticks, FuncFormatter):
                axis.set_major_formatter(FuncFormatter(lambda x, pos, told=ticks: shown(told(x, pos))))
            elif isinstance(ticks, ScalarFormatter):
                axis.set_major_formatter(_Ticks())
    return figure


def png(draw: Callable[[], Figure], dots_per_inch: float = DOTS_PER_INCH) -> bytes:
    """Return what ``draw`` draws as a PNG."""
    stream = io.BytesIO()
    with styled():
        figure = _spoken(draw())
        figure.set_dpi(dots_per_inch)
        # hardly larger than at the usual level, in a third of the time
        quick = {"compress_level": 1}
        canvas = FigureCanvasAgg(figure)
        canvas.print_png(stream, metadata={"Software": None}, pil_kwargs=quick)  # type: ignore[no-untyped-call]
    return stream.getvalue()


def svg(draw: Callable[[], Figure]) -> str:
    """Return what ``draw`` draws as an SVG."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG  # noqa: PLC0415  # most figures are pixels

    stream = io.StringIO()
    with styled():
        FigureCanvasSVG(_spoken(draw())).print_svg(stream, metadata={"Date": None, "Creator": "digitise"})  # type: ignore[no-untyped-call]
    return stream.getvalue()
