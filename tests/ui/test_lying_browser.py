"""A visit to an arm that lies on a table: chosen, its landmark tapped, measured; on a phone and a screen."""

import tempfile
from pathlib import Path

import pytest
from browser_support import CHROMIUM, browser, drawn, settled, tab
from ui_support import ROOT, serve

from ui import draft as drafts
from ui import text

ARM = ROOT / "sample-images/arm-week0"
PATIENCE_MS = 180_000

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="chromium is not installed"),
]


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1440, 1000)])
def test_an_arm_is_chosen_tapped_and_measured(width, height, monkeypatch):
    """Photographs and tape are there; four choices and one tap lead to the limb."""
    with tempfile.TemporaryDirectory() as home, serve(Path(home)) as served, browser() as chromium:
        monkeypatch.setenv("XDG_DATA_HOME", home)
        draft = drafts.draft_of("arm-on-a-table------")
        for path in sorted(ARM.glob("photo-*.jpg")):
            draft.add_photo(path.read_bytes(), path.name)
        draft.write_field((ARM / "field.json").read_text())
        draft.write(drafts.Inputs(client="K-017", sheets="own", rows=(("14", "28.6"), ("28", "30.3"))))
        with tab(chromium, served.url, width, height) as page:
            page.set_default_timeout(PATIENCE_MS)
            page.goto(f"{served.url}?draft={draft.folder.name}")
            for words in (text.LIMBS["arm"], text.SIDES["left"], text.LIES_NAMES["arm"]["palm-down"]):
                page.get_by_role("radio", name=words, exact=True).click()
                settled(page)
            picture = page.locator(".tap svg")
            picture.wait_for()
            box = picture.bounding_box()
            # the wrist, as it lies in the cut of the first photograph: a little right of the middle
            picture.click(position={"x": 0.72 * box["width"], "y": 0.5 * box["height"]})
            page.get_by_text("Drag to turn").first.wait_for()
            settled(page)
            drawn(page, 3)
            assert "mL" in page.locator(".st-key-status").inner_text()
        kept = draft.read()
        assert (kept.limb, kept.side, kept.lies) == ("arm", "left", "palm-down")
        assert kept.landmark is not None
