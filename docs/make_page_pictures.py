"""Make the pictures of the page from the sample: ``PYTHONPATH=tests python docs/make_page_pictures.py``.

Needs Chromium.  Whoever changes the page runs it again.
"""

import os
import tempfile
from pathlib import Path

from browser_support import browser, drawn, settled, tab
from PIL import Image
from ui_support import serve

OUT = Path(__file__).parent / "pictures"
WIDTH, HEIGHT = 1360, 860
WHOLE_LIMB = 1240  # px high, so that the limb is seen from end to end
PATIENCE_MS = 240_000


def main() -> None:
    """Open the sample, photograph the page of the visit and the editor."""
    with tempfile.TemporaryDirectory() as home, serve(Path(home)) as served:
        os.environ["XDG_DATA_HOME"] = home
        with browser() as found, tab(found, served.url, WIDTH, HEIGHT, color_scheme="light") as page:
            page.set_default_timeout(PATIENCE_MS)
            page.goto(served.url)
            page.get_by_role("button", name="Open the sample").click()
            page.get_by_text("Drag to turn").first.wait_for()
            settled(page)
            drawn(page, 3)
            page.get_by_text("Yes", exact=True).first.click()
            settled(page)
            page.get_by_role("button", name="None of these").first.click()
            settled(page)
            drawn(page, 3)
            page.set_viewport_size({"width": WIDTH, "height": WHOLE_LIMB})
            page.get_by_role("heading", name="The limb").evaluate("e => e.scrollIntoView({block: 'start'})")
            page.mouse.wheel(0, -90)
            page.wait_for_timeout(1500)
            save(page, "page-visit.png")
            page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
            page.get_by_role("button", name="Correct outline 2").click()
            page.locator("circle.handle").first.wait_for()
            settled(page)
            page.locator("svg.view").evaluate("e => e.scrollIntoView({block: 'center'})")
            page.wait_for_timeout(500)
            save(page, "page-editor.png")


def save(page, name: str) -> None:
    """Save what the window shows, with as many colours as it needs."""
    page.mouse.move(2, 2)  # what shows under a mouse is not of the page
    page.wait_for_timeout(500)
    with tempfile.NamedTemporaryFile(suffix=".png") as file:
        page.screenshot(path=file.name)
        picture = Image.open(file.name).convert("RGB")
    picture.quantize(192, dither=Image.Dither.NONE).save(OUT / name, optimize=True)


if __name__ == "__main__":
    main()
