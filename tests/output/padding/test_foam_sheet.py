"""Foam at true size: rendered pages are measured, 127 dots per inch being five a millimetre."""

import subprocess
from io import BytesIO
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage
from shapely import Polygon

from digitise.care.padding.foam import FoamPiece
from digitise.errors import PlanError
from digitise.output.padding.foam_sheet import foam_pdf, foam_svg
from digitise.output.padding.tiles import CUT_MM, OVERLAP_MM
from digitise.paper import PAGE_MM

PER_MM = 5
EDGE, HEAD, FOOT = 10, 24, 28


def piece(ring, bevel=()):
    ring = np.array(ring, float)
    area = Polygon(ring).area / 100
    return FoamPiece(ring, bevel, 312.4, 40.0, area, area, "calf, back inner, 320 to 390 mm", False)


def block(width, height):
    return piece([(0, 0), (width, 0), (width, height), (0, height), (0, 0)])


# a quarter disc beside a block: its area and extents tell scale, mirroring and upside down
TURN = np.linspace(0, np.pi / 2, 90)
UNEVEN = [
    (0, 0),
    (80, 0),
    *np.column_stack([40 + 40 * np.cos(TURN), 30 + 40 * np.sin(TURN)]),
    (0, 70),
    (0, 0),
]


def pages(pdf, tmp_path):
    (tmp_path / "foam.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(25.4 * PER_MM), "-gray", "foam.pdf", "page"], cwd=tmp_path, check=True
    )
    return [np.array(Image.open(path)) < 128 for path in sorted(tmp_path.glob("page*.pgm"))]


def drawing(page):
    """The part of a page that shows the piece."""
    height, width = page.shape
    return page[
        (EDGE + HEAD) * PER_MM : height - (EDGE + FOOT) * PER_MM, EDGE * PER_MM : width - EDGE * PER_MM
    ]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_printed_piece_has_its_true_size(paper, tmp_path):
    (page,) = pages(foam_pdf([piece(UNEVEN)], "leg", paper=paper, code="C-7"), tmp_path)
    assert page.shape[::-1] == pytest.approx(np.array(PAGE_MM[paper]) * PER_MM, abs=1.5)
    filled = ndimage.binary_fill_holes(drawing(page))
    labels, _ = ndimage.label(filled)
    body = labels == np.argmax(np.bincount(labels.ravel())[1:]) + 1
    rows, columns = np.flatnonzero(body.any(axis=1)), np.flatnonzero(body.any(axis=0))
    # half a line beyond on either side, and a pixel of rendering
    assert np.ptp(columns) + 1 == pytest.approx((80 + CUT_MM) * PER_MM, abs=2)
    assert np.ptp(rows) + 1 == pytest.approx((70 + CUT_MM) * PER_MM, abs=2)
    expected = Polygon(UNEVEN).buffer(CUT_MM / 2).area * PER_MM**2
    assert body.sum() == pytest.approx(expected, rel=0.005)
    # the round corner is at the top right
    assert body[rows[0] + 5, columns[0] + 5]
    assert not body[rows[0] + 5, columns[-1] - 5]


def test_ruler_is_100_mm(tmp_path):
    (page,) = pages(foam_pdf([piece(UNEVEN)], "leg"), tmp_path)
    foot = page[-(EDGE + FOOT) * PER_MM :]
    longest = 0
    for row in foot:
        jumps = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
        longest = max([longest, *(jumps[1::2] - jumps[::2])])
    assert longest == pytest.approx(100 * PER_MM, abs=3)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_large_piece_is_tiled_to_fit(paper, tmp_path):
    width, height = 260.0, 300.0
    found = pages(foam_pdf([block(width, height)], "leg", paper=paper), tmp_path)
    assert len(found) == 4
    area = [drawing(page) for page in found]
    step = np.array(area[0].shape) - OVERLAP_MM * PER_MM
    # row by row from the top, each a drawing area less its overlap further on
    canvas = np.zeros(np.rint(step + area[0].shape).astype(int) + 2, bool)
    for number, tile in enumerate(area):
        top, left = (round(step[axis] * (number // 2, number % 2)[axis]) for axis in (0, 1))
        canvas[top : top + tile.shape[0], left : left + tile.shape[1]] |= tile
    filled = ndimage.binary_fill_holes(canvas)
    labels, _ = ndimage.label(filled)
    body = labels == np.argmax(np.bincount(labels.ravel())[1:]) + 1
    rows, columns = np.flatnonzero(body.any(axis=1)), np.flatnonzero(body.any(axis=0))
    # letter's 215.9 mm is no whole number of pixels: one more for each tile
    assert np.ptp(columns) + 1 == pytest.approx((width + CUT_MM) * PER_MM, abs=4)
    assert np.ptp(rows) + 1 == pytest.approx((height + CUT_MM) * PER_MM, abs=4)


def test_words_are_on_the_page(tmp_path):
    (tmp_path / "foam.pdf").write_bytes(foam_pdf([piece(UNEVEN)], "arm", code="C-7"))
    words = subprocess.run(
        ["pdftotext", "foam.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    flat = " ".join(words.split())
    for part in (
        "This side to the skin",
        "to the trunk",
        "Client C-7",
        "about 31.2 cm above the mat",
        "not a diagnosis",
        "100 mm on paper",
    ):
        assert part in flat


def test_a_lying_limb_s_foam_lies_above_its_landmark(tmp_path):
    (tmp_path / "foam.pdf").write_bytes(foam_pdf([piece(UNEVEN)], "leg", lying="on-back"))
    words = subprocess.run(
        ["pdftotext", "foam.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    flat = " ".join(words.split())
    assert "about 31.2 cm above the landmark" in flat
    assert "floor" not in flat
    assert "above the landmark" in foam_svg(piece(UNEVEN), "arm", lying="palm-up")


def test_code_is_optional(tmp_path):
    (tmp_path / "foam.pdf").write_bytes(foam_pdf([piece(UNEVEN)], "leg"))
    words = subprocess.run(
        ["pdftotext", "foam.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    assert "Client" not in words
    assert "above the floor" in words


def test_svg_is_in_millimetres():
    inner = np.array([(10.0, 10), (70, 10), (70, 30), (10, 30), (10, 10)])
    root = ElementTree.fromstring(foam_svg(piece(UNEVEN, (inner,)), "leg", code="<C&7>"))
    space = {"s": "http://www.w3.org/2000/svg"}
    box = [float(number) for number in root.get("viewBox").split()]
    assert (root.get("width"), root.get("height")) == (f"{box[2]:.2f}mm", f"{box[3]:.2f}mm")
    rings = {
        path.get("class"): np.array(
            [[float(n) for n in spot.split(",")] for spot in path.get("d")[1:-2].split(" L")]
        )
        for path in root.findall("s:path", space)
    }
    cut = Polygon(rings["cut"])
    # coordinates are rounded to a hundredth of a millimetre
    assert cut.area == pytest.approx(Polygon(UNEVEN).area, rel=1e-3)
    assert np.ptp(rings["cut"], axis=0) == pytest.approx([80, 70], abs=0.02)
    assert Polygon(rings["bevel"]).area == pytest.approx(1200)
    assert np.ptp(rings["ruler"][:, 0]) == pytest.approx(100)
    # y runs down in an SVG: the whole left edge reaches the top
    assert rings["cut"][np.argmin(rings["cut"].sum(axis=1))] == pytest.approx([5, 5], abs=0.02)
    assert "This side to the skin" in "".join(root.itertext())
    assert "<C&7>" in "".join(root.itertext())


@pytest.mark.parametrize(
    ("pieces", "paper", "message"), [([], "a4", "no piece"), ([block(50, 50)], "a5", "a4 or letter")]
)
def test_what_cannot_be_drawn_is_refused(pieces, paper, message):
    with pytest.raises(PlanError, match=message):
        foam_pdf(pieces, "leg", paper=paper)


def test_what_is_open_is_on_every_page_and_touches_neither_facts_nor_drawing(tmp_path):
    lines = (
        "Made despite what is open here (padding). Reason given: " + "w" * 20 + " word" * 36,
        "! Ask first.",
    )
    stream = BytesIO()
    Image.new("RGB", (400, 200), "grey").save(stream, "PNG")
    made = foam_pdf([piece(UNEVEN)], "leg", code="C-7", overview=stream.getvalue(), safety=lines)
    without = pages(foam_pdf([piece(UNEVEN)], "leg", code="C-7"), tmp_path)[0]
    (tmp_path / "foam.pdf").write_bytes(made)
    for number in (1, 2):
        options = ["-f", str(number), "-l", str(number), str(tmp_path / "foam.pdf"), "-"]
        text = subprocess.run(["pdftotext", *options], capture_output=True, text=True, check=True).stdout
        assert lines[0] in " ".join(text.split())
        assert (lines[1] in text) == (number == 1)
    page = pages(made, tmp_path)[1]
    changed = np.flatnonzero((page != without).any(axis=1))
    # the first line of facts has its base 19.5 mm from the top, and letters of 3.2 mm
    assert changed.max() / PER_MM < EDGE + 4 + 5.5 - 3.2
    assert not (page & without)[: round(changed.max()) + 1, round((EDGE + 62) * PER_MM) :].any()
