"""Printed sheets, judged from the paper's side: rendered PDFs against the field.json beside them."""

import json
import re
import shutil
import subprocess

import cv2
import numpy as np
import pytest

from digitise.capture.sheets.field import read_field
from digitise.capture.sheets.files import save_sheets
from digitise.capture.sheets.layout import parse_print_scale, sheet_field, sheet_set
from digitise.capture.sheets.printing import foot_outline, marker_outline
from digitise.errors import OutputError, SheetError

PAPERS = ("a4", "letter", "roll")
DPI = 300
MM_PER_PIXEL = 25.4 / DPI

needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler-utils is not installed")


@pytest.fixture(scope="module", params=PAPERS)
def printed(request, tmp_path_factory):
    """One set on disk: paper, files."""
    return request.param, save_sheets(tmp_path_factory.mktemp("print") / request.param, request.param)


def render(pdf, folder, dpi=DPI):
    """Return the pages of a PDF as grey pictures, one after another to save memory."""
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", pdf, folder / pdf.stem], check=True)
    for page in sorted(folder.glob(f"{pdf.stem}-*.pgm")):
        yield cv2.imread(str(page), cv2.IMREAD_GRAYSCALE)
        page.unlink()


def find_markers(picture):
    """Return {id: (4, 2) corners in pixels} by OpenCV's detector, its default settings."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(picture)
    found = {}
    for marker_id, quad in zip([] if ids is None else ids.ravel(), corners, strict=True):
        criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 50, 0.001)
        found[int(marker_id)] = cv2.cornerSubPix(
            picture, quad.reshape(-1, 1, 2).astype(np.float32), (9, 9), (-1, -1), criteria
        ).reshape(4, 2)
    return found


def distances(points):
    flat = points.reshape(-1, 2).astype(float)
    return np.linalg.norm(flat[:, None] - flat[None], axis=-1)


@needs_poppler
@pytest.mark.slow
def test_every_marker_is_found_where_the_field_says(printed, tmp_path):
    _, files = printed
    boards = {board.ids[0]: board for board in read_field(files.field).boards}
    for pdf in files.pdfs:
        for picture in render(pdf, tmp_path):
            found = find_markers(picture)
            if not found:
                continue  # the page of instructions
            board = boards.pop(min(found))
            assert set(found) == set(board.ids)
            measured = np.array([found[marker_id] for marker_id in board.ids])
            error = distances(measured) * MM_PER_PIXEL - distances(board.corners)
            assert np.abs(error).max() < 0.15
            # upright as well: the first corner of every marker is the top left one as printed
            assert np.all(measured[:, 0] < measured[:, 2])
    assert not boards


@needs_poppler
def test_pages_have_the_size_of_the_boards(printed):
    _, files = printed
    sizes = []
    for pdf in files.pdfs:
        info = subprocess.run(
            ["pdfinfo", "-f", "1", "-l", "99", pdf], check=True, capture_output=True, text=True
        )
        sizes += [
            (float(w) * 25.4 / 72, float(h) * 25.4 / 72)
            for w, h in re.findall(r"size:\s+([\d.]+) x ([\d.]+) pts", info.stdout)
        ]
    expected = [tuple(board.size) for board in read_field(files.field).boards]
    # PDF pages are written to 0.01 point
    # four pages of instructions come first
    np.testing.assert_allclose(sizes[4:], expected, atol=0.01)


@needs_poppler
def test_words_can_be_selected_and_fonts_are_embedded(printed):
    paper, files = printed
    words = ""
    for pdf in files.pdfs:
        words += subprocess.run(
            ["pdftotext", "-layout", pdf, "-"], check=True, capture_output=True, text=True
        ).stdout
        fonts = subprocess.run(
            ["pdffonts", pdf], check=True, capture_output=True, text=True
        ).stdout.splitlines()[2:]
        assert fonts
        assert all(re.search(r"\byes\s+yes\s+yes\b", line) for line in fonts)  # embedded, subset, unicode
    sheets = sheet_set(paper)
    for sheet in sheets:
        assert sheet.title in words
    assert words.count("100 mm on paper") == len(sheets)
    assert words.count("Print at 100 %") >= len(sheets)
    for piece in ("HEEL HERE", "TOES POINT THIS WAY", "this way up", "towards the toes", "camera place 2"):
        assert piece in words


@pytest.mark.parametrize("paper", PAPERS)
def test_white_surrounds_every_marker(paper):
    for sheet in sheet_set(paper):
        boxes = np.concatenate([sheet.board.corners.min(axis=1), sheet.board.corners.max(axis=1)], axis=1)
        side = boxes[0, 2] - boxes[0, 0]
        module = side / 8
        half = sheet.board.size / 2
        # at least a module to the cut, and printers leave about 5 mm blank
        assert np.all(half - np.abs(boxes.reshape(-1, 2, 2)).max(axis=1) >= max(module, 6.0))
        left, bottom, right, top = sheet.strip
        others = np.vstack([boxes, [left, bottom, right, top]])
        for index, (x0, y0, x1, y1) in enumerate(boxes):
            rest = np.delete(others, index, axis=0)
            apart = np.maximum.reduce([rest[:, 0] - x1, x0 - rest[:, 2], rest[:, 1] - y1, y0 - rest[:, 3]])
            assert apart.min() >= module - 1e-9


@pytest.mark.parametrize("paper", PAPERS)
def test_foot_fits_between_the_markers(paper):
    mat = sheet_set(paper)[0]
    foot = foot_outline() + np.array([0.0, mat.heel_y])
    for quad in mat.board.corners:
        module = (quad[1, 0] - quad[0, 0]) / 8
        low, high = quad.min(axis=0) - module, quad.max(axis=0) + module
        assert not np.any(np.all((foot > low) & (foot < high), axis=1))
    # the ankle, about a quarter of the foot before the heel, stands within 5 cm of the world's origin
    assert abs(mat.heel_y + 65.0) < 50.0


@pytest.mark.parametrize("marker_id", [0, 7, 586])
def test_outline_of_a_marker_is_its_pattern(marker_id):
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    pattern = cv2.aruco.generateImageMarker(dictionary, marker_id, 8)
    assert sum(part.area for part in marker_outline(marker_id)) == pytest.approx((pattern == 0).sum())


@pytest.mark.parametrize("paper", PAPERS)
def test_field_has_one_mat_first_and_unique_ids(paper):
    field = sheet_field(sheet_set(paper))
    assert field.boards[0] is not None
    assert field.mat is field.boards[0]
    ids = [marker_id for board in field.boards for marker_id in board.ids]
    assert ids == list(range(len(ids)))


def test_print_scale_corrects_the_field_and_leaves_the_pdf(tmp_path):
    true, scaled = save_sheets(tmp_path / "true", "a4"), save_sheets(tmp_path / "scaled", "a4", 0.985)
    for ours, theirs in zip(read_field(scaled.field).boards, read_field(true.field).boards, strict=True):
        np.testing.assert_allclose(ours.corners, theirs.corners * 0.985, atol=1e-3)
    assert abs(scaled.pdfs[0].stat().st_size - true.pdfs[0].stat().st_size) < 100


@pytest.mark.parametrize(
    ("text", "ratio"),
    [("98.5/100", 0.985), ("98,5/100", 0.985), ("1.01", 1.01), (" 99 / 100 ", 0.99), ("197/200", 0.985)],
)
def test_reads_a_print_scale(text, ratio):
    assert parse_print_scale(text) == pytest.approx(ratio)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "big",
        "98.5/0",
        "/100",
        "98/100/2",
        "nan",
        "inf/inf",
        "985/100",
        "0.5",
        "-1",
        "1e400/1",
        "98.5:100",
    ],
)
def test_refuses_a_print_scale_with_advice(text):
    with pytest.raises(SheetError) as caught:
        parse_print_scale(text)
    assert caught.value.do


def test_prints_into_a_folder_of_ours_again(tmp_path):
    save_sheets(tmp_path, "roll")
    save_sheets(tmp_path, "a4", 0.99)
    assert sorted(item.name for item in tmp_path.iterdir()) == ["field.json", "sheets-a4.pdf"]
    assert json.loads((tmp_path / "field.json").read_text())["boards"][0]["size"] == pytest.approx(
        [294.03, 207.9]
    )


@pytest.mark.parametrize(("paper", "scale"), [("a4", 1.0), ("roll", 1.0), ("a4", 0.98)])
def test_a_field_that_was_corrected_for_a_print_is_kept(tmp_path, paper, scale):
    save_sheets(tmp_path, "a4", 0.985)
    before = {item.name: item.read_bytes() for item in tmp_path.iterdir()}
    with pytest.raises(OutputError, match="printed at another size"):
        save_sheets(tmp_path, paper, scale)
    assert {item.name: item.read_bytes() for item in tmp_path.iterdir()} == before
    save_sheets(tmp_path, "a4", 0.985)  # the same again is harmless


def test_leaves_other_files_alone(tmp_path):
    (tmp_path / "holiday.jpg").write_text("mine")
    with pytest.raises(OutputError, match=r"holiday\.jpg"):
        save_sheets(tmp_path, "a4")
    assert [item.name for item in tmp_path.iterdir()] == ["holiday.jpg"]


@pytest.mark.parametrize("name", ["taken", "taken/below", "no\0name"])
def test_refuses_a_folder_that_cannot_be(tmp_path, name):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError):
        save_sheets(tmp_path / name, "a4")
    assert [item.name for item in tmp_path.iterdir()] == ["taken"]
