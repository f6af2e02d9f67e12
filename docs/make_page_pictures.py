"""The pictures of the page, wide and on a phone, from the sample visits; called by ``make_pictures.py``.

Needs Chromium, and ``PYTHONPATH=tests``.
"""

import io
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from browser_support import browser, drawn, settled, tab
from PIL import Image, ImageOps
from playwright.sync_api import Browser, Page
from ui_support import Served, add_visit, serve

from digitise.record.check import read_model_files
from digitise.samples import sample_visits
from ui import text

OUT = Path(__file__).parent / "pictures"
WIDTH, HEIGHT = 1360, 860
WHOLE_LIMB = 1400  # px high, so that the limb is seen from end to end
WHOLE_PAGE = 1420
PHONE = (390, 844)
PATIENCE_MS = 240_000
CLIENT = "K-017"

# by page: its address, words that tell that it is there, how many charts it draws, what the phone shows of it
PAGES = {
    "setup": ("setup", text.SETUP_DOWNLOAD, 0, ""),
    "weeks": (f"weeks?client={CLIENT}", "The limb is", 3, text.CHANGE_HEAD),
    "padding": (f"padding?client={CLIENT}", "To take from the shelf", 2, text.PADDING_MAP),
    "teach": ("teach", "cups", 1, ""),
    "records": ("records", text.BACKUP_MAKE, 0, ""),
}


def make(models: Sequence[Path]) -> None:
    """Make them all.

    Parameters
    ----------
    models
        Folders of the models of the sample visits, in order of time.
    """
    with tempfile.TemporaryDirectory() as home:
        os.environ |= {"XDG_DATA_HOME": home, "DIGITISE_RECORDS": f"{home}/records.sqlite"}
        for number, folder in enumerate(models):
            add_visit(read_model_files(folder), number)
        with serve(Path(home)) as served, browser() as found:
            with tab(found, served.url, WIDTH, HEIGHT, color_scheme="light") as page:
                page.set_default_timeout(PATIENCE_MS)
                address = visit(page, served)
                for name, (*_, charts, _) in PAGES.items():
                    page.set_viewport_size({"width": WIDTH, "height": WHOLE_PAGE if charts else HEIGHT})
                    opened(page, served, name)
                    save(shot(page), f"page-{name}.png")
                page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
                pairing(found, page, served)
            on_a_phone(found, served, address)


def visit(page: Page, served: Served) -> str:
    """Open the sample, photograph the page of the visit and the editor; return the visit's address."""
    page.goto(served.url)
    page.get_by_role("button", name=text.SAMPLE_OPEN).click()
    page.get_by_text(text.SHAPE_HINT).first.wait_for()
    settled(page)
    drawn(page, 3)
    page.get_by_text("Yes", exact=True).first.click()
    settled(page)
    page.get_by_role("button", name=text.FLAG_NAMES[text.NO_FLAG]).first.click()
    settled(page)
    drawn(page, 3)
    page.set_viewport_size({"width": WIDTH, "height": WHOLE_LIMB})
    show(page, text.RESULT_HEAD)
    save(shot(page), "page-visit.png")
    page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
    save(editor(page), "page-editor.png")
    return page.url


def show(page: Page, heading: str) -> None:
    """Scroll so that a heading stands on top, below the page's bar."""
    page.get_by_role("heading", name=heading, exact=True).evaluate("e => e.scrollIntoView({block: 'start'})")
    page.mouse.wheel(0, -90)
    page.wait_for_timeout(1500)


def editor(page: Page) -> Image.Image:
    """Open the editor of the second photograph."""
    page.get_by_role("button", name=text.CORRECT.format(2)).click()
    page.locator("circle.handle").first.wait_for()
    settled(page)
    page.locator("svg.view").evaluate("e => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(500)
    return shot(page)


def opened(page: Page, served: Served, name: str) -> None:
    """Go to a page and wait until it is drawn."""
    address, words, charts, _ = PAGES[name]
    page.goto(f"{served.url}{address}")
    page.get_by_text(words).first.wait_for()
    settled(page)
    drawn(page, charts)
    page.wait_for_timeout(1000)


def pairing(found: Browser, page: Page, served: Served) -> None:
    """Show the code on the page, scan it, and send the sample photographs from a phone."""
    page.goto(served.url)
    page.get_by_role("button", name=text.PAIR).click()
    code = page.get_by_alt_text(text.PAIR_QR_ALT)
    code.wait_for()
    settled(page)
    save(shot(page), "page-pairing.png")
    sample = sample_visits()[0]
    phone = phone_tab(found)
    phone.goto(scanned(code.screenshot()))
    phone.get_by_text("Connected").wait_for()
    phone.locator("#choose").set_input_files(sample.photos)
    phone.get_by_text(text.UPLOAD_WORDS["arrived"]).nth(1).wait_for()
    page.get_by_role("button", name=text.PHOTO_REMOVE.format(2)).wait_for()
    settled(page)
    page.locator(".st-key-pair-open").evaluate("e => e.scrollIntoView({block: 'center'})")
    part = shot(page).crop((0, 0, WIDTH // 2, HEIGHT))
    save(
        beside([shot(phone), part.resize((PHONE[1] * part.width // part.height, PHONE[1]))]),
        "phone-upload.png",
    )


def scanned(picture: bytes) -> str:
    """Return what a code says."""
    seen = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR)
    return cv2.QRCodeDetector().detectAndDecode(seen)[0]


def phone_tab(found: Browser) -> Page:
    """Return a tab of a phone."""
    width, height = PHONE
    size = {"width": width, "height": height}
    page = found.new_context(viewport=size, is_mobile=True, has_touch=True, color_scheme="light").new_page()
    page.set_default_timeout(PATIENCE_MS)
    return page


def on_a_phone(found: Browser, served: Served, address: str) -> None:
    """Photograph every page and the editor as a phone shows them, a few to a picture."""
    page = phone_tab(found)
    shots = []
    for name, (*_, heading) in PAGES.items():
        opened(page, served, name)
        if heading:
            show(page, heading)
        shots.append(shot(page))
    page.goto(address)
    page.get_by_text(text.SHAPE_HINT).first.wait_for()
    settled(page)
    drawn(page, 3)
    page.locator(".js-plotly-plot").first.evaluate("e => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(1500)
    limb = shot(page)
    save(beside([shots[0], limb, editor(page)]), "phone-visit.png")
    save(beside(shots[1:]), "phone-pages.png")


def shot(page: Page) -> Image.Image:
    """Return what the window shows."""
    page.mouse.move(2, 2)  # what shows under a mouse is not of the page
    page.wait_for_timeout(500)
    return Image.open(io.BytesIO(page.screenshot())).convert("RGB")


def beside(pictures: Sequence[Image.Image], gap: int = 16) -> Image.Image:
    """Return pictures side by side, each in a thin frame."""
    framed = [ImageOps.expand(picture, 2, (140, 138, 128)) for picture in pictures]
    width = sum(picture.width for picture in framed) + gap * (len(framed) - 1)
    out = Image.new("RGB", (width, max(picture.height for picture in framed)), (255, 255, 255))
    x = 0
    for picture in framed:
        out.paste(picture, (x, 0))
        x += picture.width + gap
    return out


def save(picture: Image.Image, name: str) -> None:
    """Save with as many colours as it needs."""
    picture.quantize(192, dither=Image.Dither.NONE).save(OUT / name, optimize=True)
