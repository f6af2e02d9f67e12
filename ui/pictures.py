"""Small pictures for the screen: the marks found in a photograph, and drawings of the set-up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from digitise.capture.calibration.markers import Detection
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from ui.spoken import text

Pixels = NDArray[np.uint8]

_LONG_SIDE = 640
_MAT, _BACKDROP = (255, 190, 40), (60, 190, 255)
_HALO = (15, 15, 25)


def marked_picture(photo: Photograph, detections: Sequence[Detection], field: MarkerField | None) -> Pixels:
    """Return a small copy of a photograph with the found marks framed: the mat's yellow, backdrops' blue."""
    height, width = photo.pixels.shape[:2]
    step = max(1, max(height, width) // (2 * _LONG_SIDE))
    image = Image.fromarray(np.ascontiguousarray(photo.pixels[::step, ::step]))
    image.thumbnail((_LONG_SIDE, _LONG_SIDE), Image.Resampling.BILINEAR)
    scale = image.width / width
    mat = {i for board in (field.boards if field else ()) if board.role == "mat" for i in board.ids}
    pen = ImageDraw.Draw(image)
    for detection in detections:
        corners = [tuple(map(float, corner)) for corner in (detection.corners + 0.5) * scale]
        for colour, thick in ((_HALO, 5), (_MAT if detection.id in mat else _BACKDROP, 3)):
            pen.line([*corners, corners[0]], fill=colour, width=thick, joint="curve")
    return np.asarray(image)


_STYLE = (
    "<style>.a{fill:#0A6A6E}.f{fill:#C9B8A4;stroke:#5A5048;stroke-width:2}.m{fill:#E7E2D4;stroke:#5A5048}"
    ".d{stroke:#0A6A6E;stroke-width:2;stroke-dasharray:7 6;fill:none}.p{fill:#1D2733}"
    "text{font:16px system-ui,sans-serif;fill:#1D2733}.h{font-weight:700}</style>"
)


def plan_drawing() -> str:
    """Return the set-up seen from above as SVG."""
    words = text.PLAN_WORDS
    return f"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 460 400" role="img"
 aria-label="{text.SETUP_PLAN_ALT}">{_STYLE}<rect width="460" height="400" rx="12" fill="#FBFAF6"/>
<text class="h" x="16" y="28">{words["above"]}</text>
<path class="d" d="M170 262V98M170 262H352"/>
<rect class="a" x="90" y="340" width="160" height="10" rx="3"/><text x="130" y="370">{words["behind"]}</text>
<rect class="a" x="46" y="182" width="10" height="160" rx="3"/><text x="16" y="172">{words["beside"]}</text>
<rect class="m" x="128" y="226" width="84" height="76"/><text x="218" y="300">{words["mat"]}</text>
<path class="f" d="M158 286c-6-10-2-20-3-30-1-10-3-20 5-24 8-5 18-1 20 8 2 10-2 22-3 32-1 8 1 14-3 18-5 4-13 2-16-4z"/>
<path class="f" opacity=".5" d="M98 326c-6-10-2-20-3-30-1-10-3-20 5-24 8-5 18-1 20 8 2 10-2 22-3 32-1 8 1 14-3 18-5 4-13
 2-16-4z"/>
<path class="p" d="M170 214l-7 12h14z"/><text x="184" y="216">{words["toes"]}</text>
<rect class="p" x="148" y="70" width="44" height="16" rx="4"/><circle cx="170" cy="90" r="5" class="p"/>
<text x="204" y="84">{words["first"]}</text>
<rect class="p" x="366" y="240" width="16" height="44" rx="4"/><circle cx="362" cy="262" r="5" class="p"/>
<text x="346" y="232">{words["second"]}</text>
<text x="178" y="150">{words["distance"]}</text><text x="236" y="255">{words["distance"]}</text></svg>"""


def side_drawing() -> str:
    """Return the set-up seen from the side as SVG."""
    words = text.PLAN_WORDS
    return f"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 460 400" role="img"
 aria-label="{text.SETUP_SIDE_ALT}">{_STYLE}<rect width="460" height="400" rx="12" fill="#FBFAF6"/>
<text class="h" x="16" y="28">{words["side"]}</text>
<path d="M20 350H440" stroke="#5A5048" stroke-width="3"/>
<rect class="a" x="62" y="90" width="12" height="258" rx="3"/><text x="14" y="80">{words["behind"]}</text>
<rect class="m" x="96" y="342" width="92" height="8"/><text x="120" y="374">{words["mat"]}</text>
<path class="f" d="M116 60c-4 60-2 100 4 130-10 40-2 90 4 120-4 14-10 18-8 32h60c2-8-12-14-26-20-2-30 20-80 14-128
 6-40 8-80 8-134z"/>
<path class="d" d="M176 196H372"/><text x="236" y="188">{words["distance"]}</text>
<rect class="p" x="378" y="172" width="14" height="48" rx="4"/><circle cx="374" cy="184" r="4" class="p"/>
<text x="352" y="160">{words["first"]}</text>
<path d="M410 196V346" stroke="#1D2733" stroke-width="2"/><path class="p" d="M410 192l-5 9h10zM410 350l-5-9h10z"/>
<text x="300" y="300">{words["knee"]}</text></svg>"""


def lying_drawing() -> str:
    """Return the set-up of a limb that lies, from above and from the person's end, as SVG."""
    words = text.LYING_WORDS
    phones = "".join(
        f'<g transform="translate({x} {y}) rotate({turn})"><rect class="p" x="-22" y="-7" width="44" height="14" '
        f'rx="4"/><circle class="p" cy="10" r="4"/></g><path class="d" d="M340 326L{x} {y}"/>'
        f'<text class="h" x="{x - 4}" y="{y - 16}">{number}</text>'
        for number, x, y, turn in ((1, 240, 196, -40), (2, 340, 130, 0), (3, 440, 196, 40))
    )
    return f"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 500 400" role="img"
 aria-label="{text.SETUP_LYING_ALT}">{_STYLE}<rect width="500" height="400" rx="12" fill="#FBFAF6"/>
<text class="h" x="16" y="28">{words["above"]}</text><text class="h" x="250" y="28">{words["end"]}</text>
<rect class="a" x="20" y="90" width="200" height="270" rx="3"/>
<rect x="46" y="118" width="148" height="242" fill="#DDE5DF"/>
<rect class="m" x="66" y="70" width="108" height="62"/><text x="102" y="106">{words["mat"]}</text>
<rect x="104" y="222" width="32" height="14" fill="#5A6B7C"/><rect x="102" y="316" width="36" height="14" fill="#5A6B7C"/>
<path class="f" d="M120 150c6 0 9 20 10 30 1 12-2 18-3 26 6 30 8 60 8 90l2 74h-34l2-74c0-30 2-60 8-90-1-8-4-14-3-26 1-10 4-30
 10-30z"/><text x="146" y="236">{words["support"]}</text>
<path d="M230 362H490" stroke="#5A5048" stroke-width="3"/><text x="300" y="386">{words["sheet"]}</text>
<rect x="328" y="340" width="24" height="22" fill="#5A6B7C"/><circle class="f" cx="340" cy="326" r="18"/>{phones}
<text x="352" y="250">{words["distance"]}</text></svg>"""


def upright_drawing() -> str:
    """Return the set-up of a forearm that stands on its elbow, seen from the side, as SVG."""
    words = text.UPRIGHT_WORDS
    return f"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 500 300" role="img"
 aria-label="{text.SETUP_UPRIGHT_ALT}">{_STYLE}<rect width="500" height="300" rx="12" fill="#FBFAF6"/>
<text class="h" x="16" y="28">{words["side"]}</text>
<path d="M20 258H480" stroke="#5A5048" stroke-width="3"/><text x="300" y="282">{words["table"]}</text>
<rect class="a" x="62" y="54" width="12" height="202" rx="3"/><text x="84" y="64">{words["behind"]}</text>
<rect class="m" x="104" y="250" width="120" height="8"/><text x="190" y="242">{words["mat"]}</text>
<path class="f" d="M164 250c-14-10-20-30-18-48 2-22 8-40 8-58-8-12-8-26-4-42 2-12 8-22 14-24 6 2 12 12 14 24 4 16 4 30-4
 42 0 18 6 36 8 58 2 18-4 38-18 48z"/>
<path class="d" d="M196 170H388"/><text x="262" y="162">{words["distance"]}</text>
<rect class="p" x="394" y="146" width="14" height="48" rx="4"/><circle cx="390" cy="158" r="4" class="p"/>
<text x="384" y="134">{words["phone"]}</text></svg>"""
