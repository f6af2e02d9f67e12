"""Make all pictures of the documents from the samples: ``PYTHONPATH=tests python docs/make_pictures.py``.

Needs poppler-utils for the pages of PDFs, and Chromium for those of the page.  Whoever changes a figure, the
report, the sheets or the page runs it again; ``--page`` makes those of the page alone.
"""

import io
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import cv2
import make_page_pictures
import numpy as np
from matplotlib.figure import Figure
from PIL import Image, ImageDraw, ImageFont, ImageOps

from digitise import fonts
from digitise.capture.calibration.markers import find_markers
from digitise.capture.checks.inspection import inspect_photos
from digitise.capture.photo.photograph import Photograph, read_photo
from digitise.capture.sheets.field import MarkerField, read_field
from digitise.capture.sheets.files import save_sheets
from digitise.care.change.compare import Change
from digitise.care.padding.regions import find_regions
from digitise.care.wrap.sheet import wrap_sheet
from digitise.errors import PhotoError
from digitise.output.change.overlays import draw_overlay, find_overlays
from digitise.output.figures import style as figures_style
from digitise.output.figures.care import places_views
from digitise.output.figures.wrap import wrap_layers
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.model.form import ModelForm
from digitise.output.report.content import ReportVisit
from digitise.output.report.pdf import report_figures, report_pdf
from digitise.samples import SampleVisit, sample_visits
from digitise.tape.table import read_tape
from digitise.workflow.care import end_way_of
from digitise.workflow.measure import measure_limb
from digitise.workflow.report import ReportOptions, make_report

OUT = Path(__file__).parent / "pictures"
DATES = (datetime(2026, 2, 9, 9, tzinfo=UTC), datetime(2026, 3, 2, 9, tzinfo=UTC))
SCREEN_DPI = 120
INK, PAPER = (29, 39, 51), (255, 255, 255)


# ---- photographs ---------------------------------------------------------------------------------------


def dark(pixels: np.ndarray) -> np.ndarray:
    """Take most of the light away."""
    return (pixels * 0.16).astype(np.uint8)


def shaken(pixels: np.ndarray) -> np.ndarray:
    """Blur as a hand that moves does."""
    kernel = np.zeros((1, 41), np.float32)
    kernel[:] = 1 / 41
    return cv2.filter2D(pixels, -1, kernel)


def cut_off(pixels: np.ndarray) -> np.ndarray:
    """Hold the phone too high: foot and mat are left out."""
    out = np.full_like(pixels, 255)
    kept = int(0.64 * len(pixels))
    out[:kept] = pixels[:kept]
    return out


def first_words(photos: Sequence[Photograph], field: MarkerField) -> str:
    """Return what the check of photographs says about the first of them."""
    try:
        seen = [find_markers(photo, field) for photo in photos]
    except PhotoError as error:
        return f"{error.what} {error.do}"
    found = inspect_photos(photos, seen, field).findings
    bad = [one for one in found if one.severity != "note" and one.photo in ("", photos[0].name)]
    bad.sort(key=lambda one: one.severity != "refuse")
    return f"{bad[0].text} {bad[0].do}" if bad else "Can be used."


def work_or_not(visit: SampleVisit) -> Image.Image:
    """Return photographs that work and that do not, each with what the check says."""
    field, photos = read_field(visit.field), [read_photo(path) for path in visit.photos]
    cases: list[tuple[str, Callable[[np.ndarray], np.ndarray] | None]] = [
        ("Works", None),
        ("Too dark", dark),
        ("Shaken", shaken),
        ("Foot and mat cut off", cut_off),
    ]
    panels = []
    for title, change in cases:
        first = photos[0] if change is None else replace(photos[0], pixels=change(photos[0].pixels))
        words = first_words([first, photos[1]], field)
        panels.append(captioned(scaled(Image.fromarray(first.pixels), height=520), title, words))
    return beside(panels)


# ---- joining -------------------------------------------------------------------------------------------


def scaled(picture: Image.Image, *, height: int) -> Image.Image:
    """Return a picture at another height."""
    return picture.resize((round(picture.width * height / picture.height), height), Image.Resampling.LANCZOS)


def captioned(picture: Image.Image, title: str, words: str) -> Image.Image:
    """Return a picture with a title and a sentence below it."""
    out = Image.new("RGB", (picture.width, picture.height + 150), PAPER)
    out.paste(picture, (0, 0))
    draw = ImageDraw.Draw(out)
    draw.text((4, picture.height + 6), title, INK, ImageFont.truetype(str(fonts.BOLD), 24))
    lines = textwrap.wrap(words, 44)[:5]
    draw.text((4, picture.height + 38), "\n".join(lines), INK, ImageFont.truetype(str(fonts.REGULAR), 17))
    return out


def beside(pictures: Sequence[Image.Image], gap: int = 16) -> Image.Image:
    """Return pictures side by side, all as high as the highest."""
    width = sum(picture.width for picture in pictures) + gap * (len(pictures) - 1)
    out = Image.new("RGB", (width, max(picture.height for picture in pictures)), PAPER)
    x = 0
    for picture in pictures:
        out.paste(picture, (x, 0))
        x += picture.width + gap
    return out


def pages(pdf: Path, numbers: Sequence[int], height: int) -> list[Image.Image]:
    """Return pages of a PDF, each in a thin frame."""
    found = []
    for number in numbers:
        target = pdf.with_name(f"{pdf.stem}-{number}")
        which = ["-f", str(number), "-l", str(number), "-r", "110"]
        subprocess.run(["pdftoppm", "-png", "-singlefile", *which, pdf, target], check=True)
        page = scaled(Image.open(target.with_suffix(".png")).convert("RGB"), height=height)
        found.append(ImageOps.expand(page, 2, (200, 200, 196)))
    return found


# ---- all -----------------------------------------------------------------------------------------------


def save_photo(picture: Image.Image, name: str) -> None:
    """Save as JPEG, small enough for a document."""
    picture.save(OUT / name, quality=82, optimize=True)


def save_drawing(picture: Image.Image, name: str) -> None:
    """Save as PNG with few colours."""
    picture.convert("RGB").quantize(128).save(OUT / name, optimize=True)


def seen_by_cameras(change: Change, first: ModelForm, last: ModelForm) -> Image.Image:
    """Return a comparison as each photograph of the first visit saw the limb."""
    found = find_overlays(change, first, last)
    drawn = [figures_style.png(partial(draw_overlay, found.both, *view), SCREEN_DPI) for view in found.views]
    return beside([Image.open(io.BytesIO(picture)).convert("RGB") for picture in drawn])


def save_figure(draw: Callable[[], Figure], name: str) -> None:
    """Save a figure as PNG for the screen."""
    (OUT / name).write_bytes(figures_style.png(draw, SCREEN_DPI))


def measured(folder: Path) -> list[ReportVisit]:
    """Measure the sample visits, each into a folder of its name."""
    visits = []
    for sample, when in zip(sample_visits(), DATES, strict=True):
        out = folder / sample.name
        found = measure_limb(sample.photos, read_field(sample.field), read_tape(sample.tape))
        write_model(out, found, when)
        visits.append(ReportVisit(read_model(out), when))
    return visits


def of_sheets(folder: Path) -> None:
    """Make the pictures of what is printed to be photographed."""
    (sheets,) = save_sheets(folder / "sheets", "a4").pdfs
    save_drawing(beside(pages(sheets, (1, 5, 8), 620)), "sheets.png")
    (both,) = pages(sheets, (2,), 1400)
    save_drawing(both.crop((0, 412, both.width, 975)), "both-legs.png")
    (lying,) = pages(sheets, (3,), 1400)
    save_drawing(lying.crop((0, 505, lying.width, 1123)), "lying.png")
    (upright,) = pages(sheets, (4,), 1400)
    save_drawing(upright.crop((0, 445, upright.width, 1330)), "upright.png")


def of_results(folder: Path, visits: Sequence[ReportVisit]) -> None:
    """Make the pictures of outlines, figures and the report."""
    first_folder = folder / sample_visits()[0].name
    outlines = [Image.open(first_folder / f"outline-{n}.jpg") for n in (1, 2)]
    save_photo(beside([scaled(picture, height=760) for picture in outlines]), "outlines.jpg")
    report = make_report(visits, ReportOptions(places=True), client="K-017", created=DATES[-1])
    for name, draw in report_figures(report).items():
        save_figure(draw, f"{name}.png")
    first, last = (visit.model.summary for visit in visits)
    if report.change is not None:
        seen_by_cameras(report.change, first, last).save(OUT / "change-cameras.png", optimize=True)
    limb = visits[0].model.limb
    save_figure(lambda: places_views(limb, find_regions(limb)), "places.png")
    last_model = visits[-1].model
    sheet = wrap_sheet(last_model.limb, None, end_way_of(last_model))
    save_figure(lambda: wrap_layers(last_model.limb, last_model.foot, sheet), "layers.png")
    (folder / "report.pdf").write_bytes(report_pdf(report))
    save_drawing(beside(pages(folder / "report.pdf", (1, 2, 3), 820)), "report.png")


def main(of_page_alone: bool) -> None:
    """Make all pictures, or those of the page alone."""
    OUT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        visits = measured(folder)
        if not of_page_alone:
            save_photo(work_or_not(sample_visits()[0]), "photographs.jpg")
            of_sheets(folder)
            of_results(folder, visits)
        make_page_pictures.make([folder / sample.name for sample in sample_visits()])


if __name__ == "__main__":
    main("--page" in sys.argv[1:])
