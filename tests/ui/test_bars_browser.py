"""What a newcomer needs for a first visit and the second limb, and that nothing jumps while it is read."""

import json
import tempfile
import time
from pathlib import Path

import pytest
from browser_support import CHROMIUM, browser, drawn, settled, tab
from ui_support import ROOT, add_visit, serve

from ui import text

ARTEFACTS = ROOT / "artefacts"
FIRST, SECOND = (ROOT / "sample-images" / name for name in ("pair-calf-week0", "pair-calf-week3"))
MOST_CLICKS, MORE_CLICKS = 10, 6
MOST_SHIFT = 0.1
# what moves although nobody did anything just before, in windows of at most five seconds
WATCH_SHIFTS = """() => {
  window.shifts = {worst: 0, sum: 0, first: 0, last: 0};
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) {
      if (entry.hadRecentInput) continue;
      const s = window.shifts, at = entry.startTime;
      if (at - s.last > 1000 || at - s.first > 5000) { s.sum = 0; s.first = at; }
      s.sum += entry.value;
      s.last = at;
      s.worst = Math.max(s.worst, s.sum);
    }
  }).observe({type: 'layout-shift', buffered: true});
}"""
MOST_SILENT_S = 0.5
# how long the page works without a word of it in sight, at most
WATCH_SILENCE = """() => {
  window.silence = {worst: 0, since: 0};
  const kinds = ['stAlert', 'stSpinner', 'stFileUploaderFile', 'stSkeleton'];
  const words = kinds.map((kind) => `[data-testid=${kind}]`).join();
  const inSight = (part) => {
    const box = part.getBoundingClientRect();
    return box.width > 0 && box.height > 0 && box.bottom > 0 && box.top < innerHeight
      && getComputedStyle(part).visibility !== 'hidden';
  };
  setInterval(() => {
    const app = document.querySelector('[data-testid=stApp]');
    if (!app) return;
    const at = performance.now(), own = getComputedStyle(app, '::after');
    const told = own.content.length > 6 && own.visibility === 'visible'
      || [...document.querySelectorAll(words)].some(inSight);
    const s = window.silence;
    if (app.dataset.testScriptState === 'notRunning' || told) s.since = 0;
    else s.since = s.since || at;
    if (s.since) s.worst = Math.max(s.worst, at - s.since);
  }, 40);
}"""
PAGES = {
    "setup": ("Download the sheets", 0),
    "": ("Still needed", 0),
    "weeks?client=K-017": ("The limb is", 3),
    "padding?client=K-017": ("To take from the shelf", 2),
    "teach": ("cups", 1),
    "records": ("Make a backup", 0),
}

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="chromium is not installed"),
]


@pytest.fixture
def served():
    with tempfile.TemporaryDirectory() as home, serve(Path(home)) as found:
        yield found


class Hand:
    """Clicks, and counts them; choosing files is two, one to open the list of files and one to take them."""

    def __init__(self, page):
        self.page, self.clicks = page, 0

    def click(self, place):
        place.click()
        self.clicks += 1
        settled(self.page)

    def choose(self, *files):
        with self.page.expect_file_chooser() as chooser:
            self.page.locator("[data-testid=stFileUploaderDropzone] button").first.click()
        chooser.value.set_files(list(files))
        self.clicks += 2


def choice(page, name):
    return page.get_by_text(name, exact=True).locator("visible=true").first


def limb(page):
    page.get_by_text(text.SHAPE_HINT).first.wait_for(timeout=300_000)
    settled(page)


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1440, 1000)])
def test_a_newcomer_measures_both_limbs(width, height, served):
    with browser() as found, tab(found, served.url, width, height) as page:
        page.goto(served.url)
        settled(page)
        page.evaluate(WATCH_SILENCE)
        hand = Hand(page)
        begin = time.monotonic()
        hand.click(page.get_by_role("textbox", name=text.CLIENT_CODE))
        page.keyboard.type("K-017")
        page.keyboard.press("Tab")
        settled(page)
        for name in ("Leg", "Left", "Yes"):
            hand.click(choice(page, name))
        hand.click(page.get_by_role("button", name="None of these").locator("visible=true").last)
        hand.choose(*(FIRST / name for name in ("field.json", "photo-1.jpg", "photo-2.jpg", "tape.csv")))
        limb(page)
        hand.click(page.get_by_role("button", name=text.SAVE, exact=True))
        page.get_by_text("Saved as visit 1").first.wait_for()
        first = {"clicks": hand.clicks, "seconds": round(time.monotonic() - begin, 1)}
        settled(page)
        begin, before = time.monotonic(), hand.clicks
        hand.click(page.get_by_role("button", name=text.OTHER_LIMB).first)
        hand.choose(*(SECOND / name for name in ("field.json", "photo-1.jpg", "photo-2.jpg", "tape.csv")))
        limb(page)
        page.get_by_text(text.BOTH, exact=True).first.wait_for()
        hand.click(page.get_by_role("button", name=text.SAVE, exact=True))
        page.get_by_text("Saved as visit 2").first.wait_for()
        silent = round(page.evaluate("window.silence.worst") / 1000, 2)
        second = {"clicks": hand.clicks - before, "seconds": round(time.monotonic() - begin, 1)}
    ARTEFACTS.mkdir(exist_ok=True)
    told = {"first visit": first, "second limb": second, "silent, s": silent}
    (ARTEFACTS / f"newcomer-{width}.json").write_text(json.dumps(told, indent=1))
    assert first["clicks"] <= MOST_CLICKS, told
    assert second["clicks"] <= MORE_CLICKS, told
    assert silent <= MOST_SILENT_S, told


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1440, 1000)])
def test_nothing_jumps_while_a_page_is_drawn(width, height, served, models, monkeypatch):
    monkeypatch.setenv("DIGITISE_RECORDS", str(served.home / "records.sqlite"))
    for number, model in enumerate(models):
        add_visit(model, number)
    shifts = {}
    with browser() as found:
        for name, (words, charts) in PAGES.items():
            with tab(found, served.url, width, height) as page:
                page.add_init_script(f"({WATCH_SHIFTS})()")
                page.goto(served.url + name)
                page.get_by_text(words).first.wait_for()
                settled(page)
                drawn(page, charts)
                page.wait_for_timeout(1500)
                shifts[name or "visit"] = round(page.evaluate("window.shifts.worst"), 4)
    ARTEFACTS.mkdir(exist_ok=True)
    (ARTEFACTS / f"shifts-{width}.json").write_text(json.dumps(shifts, indent=1))
    assert max(shifts.values()) <= MOST_SHIFT, shifts
