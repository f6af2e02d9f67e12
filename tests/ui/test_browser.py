"""The page in a browser: the whole path of a visit, every page at two widths, nothing from elsewhere."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from bench_page import open_visits
from browser_support import CHROMIUM, browser, drawn, settled, tab
from ui_support import ROOT, serve

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.signs import CONDITIONS, SIGNS
from digitise.record.check import read_model_files
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit
from digitise.tape.table import read_tape
from ui import draft as drafts

AXE = ROOT / ".browser/node_modules/axe-core/axe.min.js"
ARTEFACTS = ROOT / "artefacts"
SAMPLES = ROOT / "sample-images"
FIRST = SAMPLES / "pair-calf-week0"
MOST_CLICKS = 12

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="chromium is not installed"),
]


class Hand:
    """Clicks, and counts them."""

    def __init__(self, page):
        self.page, self.clicks = page, 0

    def click(self, role, name):
        self.page.get_by_role(role, name=name, exact=True).first.click()
        self.clicks += 1
        settled(self.page)


@pytest.fixture(scope="module")
def modelled(tmp_path_factory):
    """What ``digitise model --json`` says of both sample visits, and the folders it wrote."""
    found = []
    for name in ("pair-calf-week0", "pair-calf-week3"):
        folder, out = SAMPLES / name, tmp_path_factory.mktemp("model") / name
        command = [sys.executable, "-m", "digitise", "model", folder / "photo-1.jpg", folder / "photo-2.jpg"]
        command += ["--field", folder / "field.json", "--tape", folder / "tape.csv"]
        command += ["--limb", "leg", "--side", "left", "--out", out, "--json"]
        # the page's server also works on one thread: sums in another order differ in their last digits
        one_thread = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        printed = subprocess.run(command, check=True, capture_output=True, text=True, env=one_thread).stdout
        found.append((json.loads(printed), out))
    return found


@pytest.fixture(scope="module")
def served():
    """The page with empty records of its own."""
    with tempfile.TemporaryDirectory() as home, serve(Path(home)) as found:
        yield found


def volume_words(summary):
    return f"{summary['volume_ml']:,.0f}".replace(",", "\u202f")


def test_first_visit_from_an_empty_start_to_weeks_and_export(served, modelled, tmp_path):
    summary, _ = modelled[0]
    times = {}
    with browser() as found, tab(found, served.url, accept_downloads=True) as page:
        hand = Hand(page)
        times["first load"] = first_load(page, served.url)
        answer_questions(hand)
        times["second photograph to limb"] = give_photographs(page)
        type_tape(hand, summary)
        assert_same_figures(page, summary)
        drag_a_point(page)
        page.get_by_text("Corrected by hand").wait_for()
        settled(page)
        corrected = volume_shown(page)
        assert volume_words(summary) not in corrected
        page.reload()
        page.get_by_text("Corrected by hand").wait_for()
        settled(page)
        assert volume_shown(page) == corrected
        assert page.get_by_role("textbox", name="Client's code").input_value() == "K-017"
        hand.click("button", "Save visit")
        page.get_by_text("Saved as visit 1").first.wait_for()
        times["clicks"] = hand.clicks
        assert hand.clicks <= MOST_CLICKS
        page.reload()
        page.get_by_text("Saved as visit 1").first.wait_for()
        settled(page)
        assert volume_shown(page) == corrected
        open_again(page, served.url)
        assert volume_shown(page) == corrected
        # the visit is dated by its photographs
        add_visit(served.home, modelled[1][1], "K-017", 21, first_of(served.home, "K-017").taken)
        taken = compare_and_export(page, served.url, tmp_path / "limb.html")
    opens_without_the_program(taken)
    ARTEFACTS.mkdir(exist_ok=True)
    (ARTEFACTS / "page-times.json").write_text(json.dumps(times, indent=1))


def first_load(page, url):
    begin = time.monotonic()
    page.goto(url)
    page.get_by_role("textbox", name="Client's code").wait_for()
    return time.monotonic() - begin


def answer_questions(hand):
    page = hand.page
    hand.click("textbox", "Client's code")
    page.keyboard.type("K-017")
    page.keyboard.press("Tab")
    role = "radio" if page.get_by_role("radio", name="Leg", exact=True).count() else "button"
    for name in ("Leg", "Left", "Yes"):
        hand.click(role, name)
    hand.click("button", "None of these")


def give_photographs(page):
    """Give the field and both photographs; return how long the limb takes from the second one."""
    files = page.locator("input[type=file]").first
    files.set_input_files([FIRST / "field.json", FIRST / "photo-1.jpg"])
    page.get_by_text("Take a second one").wait_for()
    settled(page)
    begin = time.monotonic()
    files.set_input_files([FIRST / "photo-2.jpg"])
    page.get_by_text("Drag to turn").wait_for()
    took = time.monotonic() - begin
    settled(page)
    return took


def type_tape(hand, summary):
    """Type the sample's girths; beside each stands what the command line says of it."""
    page = hand.page
    hand.click("textbox", "Height cm, row 1")
    for row in read_tape(FIRST / "tape.csv"):
        for value in (row.height_mm, row.girth_mm):
            page.keyboard.type(f"{value / 10:g}")
            page.keyboard.press("Tab")
    told = [row["verdict"] for row in summary["tape_check"]]
    page.get_by_text("agrees: tape").nth(told.count("agrees") - 1).wait_for()
    settled(page)
    for verdict in ("agrees", "differs"):
        assert page.get_by_text(f"{verdict}: tape").count() == told.count(verdict)


def assert_same_figures(page, summary):
    """The volume on the page, and every figure to its last digit, are those of the command line."""
    page.get_by_text(volume_words(summary)).first.wait_for()
    assert volume_words(summary) in volume_shown(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Figures (model.json)").click()
    shown = json.loads(Path(download.value.path()).read_text())
    for figure in ("volume_ml", "volume_ml_95", "cone_volume_ml", "sections", "tape_check"):
        assert shown[figure] == summary[figure]


def volume_shown(page):
    return page.locator("[data-testid=stMetricValue]").inner_text()


def compare_and_export(page, url, taken):
    page.goto(f"{url}weeks")
    page.get_by_text("The limb is larger").wait_for()
    page.goto(f"{url}teach")
    page.get_by_text("cups more").wait_for()
    page.get_by_text("Prepare the files to take away").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Page that opens anywhere (HTML)").click()
    shutil.copy(download.value.path(), taken)
    return taken


def open_again(page, url):
    """Open the saved visit from the page of weeks, and save it again with a note."""
    page.goto(f"{url}weeks")
    page.get_by_role("button", name="Open again to change it").click()
    page.get_by_text("Change visit 1 of K-017").wait_for()
    page.get_by_text("Corrected by hand").wait_for()
    page.get_by_text("More about this visit").click()
    page.get_by_role("textbox", name="Note (no names)").fill("Looked at again")
    page.keyboard.press("Tab")
    settled(page)
    page.get_by_role("button", name="Save changes").click()
    page.get_by_text("Visit 1 of K-017 is changed and saved").wait_for()
    settled(page)


def drag_a_point(page):
    """Correct the first outline by pulling it outward, once more by the keyboard, and undo that."""
    page.get_by_role("button", name="Correct outline 1").click()
    handle = page.locator("circle.handle[data-edge='0'][data-point='10']")
    handle.wait_for()
    settled(page)
    page.locator("svg.view").evaluate("e => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(500)
    box = handle.bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] - 10, middle[1], steps=4)
    page.mouse.up()
    settled(page)
    handle.focus()
    pulled = handle.get_attribute("cx")
    page.keyboard.press("ArrowLeft")
    assert handle.get_attribute("cx") != pulled
    settled(page)
    page.get_by_role("button", name="Undo", exact=True).click()
    settled(page)
    page.get_by_role("button", name="Done", exact=True).click()


def first_of(home, client):
    with Store(home / "records.sqlite") as store:
        return store.list_visits(client)[0]


def add_visit(home, folder, client, days_ago, before=None, there=()):
    """Put a visit into the records; conditions and arteries are asked for when no sign is there."""
    when = (before or datetime.now().astimezone()) - timedelta(days=days_ago)
    signs = tuple((sign.code, sign.code in there) for sign in SIGNS)
    visit = NewVisit(
        client,
        "leg",
        "left",
        when,
        read_tape(SAMPLES / folder.name / "tape.csv"),
        model=read_model_files(folder),
        clearance=Clearance("yes", "AB", when, signs),
    )
    conditions = tuple((one.code, False) for one in CONDITIONS)
    check = ArterialCheck("ankle-brachial", 1.0, when.date(), "both", "AB")
    with Store(home / "records.sqlite") as store:
        store.add_visit(visit)
        if not there:
            store.save_safety(client, SafetyAnswers("yes", "AB", (), conditions, when.date(), (check,)))


def opens_without_the_program(file):
    with browser() as found, tab(found, file.as_uri(), 1000, 900) as page:
        page.goto(file.as_uri())
        page.locator(".js-plotly-plot .main-svg").first.wait_for()
        assert "cups more" in page.content()
        assert "K-017" not in page.content()


def test_visits_entered_at_once_in_three_tabs_keep_apart(served):
    # ten at once: tests/bench_page.py
    with browser() as found:
        volumes = open_visits(found, served, 3)
    assert len(set(volumes)) == 3


@pytest.fixture
def filled(served, modelled):
    """The page with two visits of one more client in its records, and one of a client with open flags."""
    for number, (_, folder) in enumerate(modelled):
        add_visit(served.home, folder, "S-001", days_ago=20 - 20 * number)
    add_visit(served.home, modelled[0][1], "S-003", 30, there=("chest-pain", "cold", "both-growing"))
    return served


@pytest.fixture
def entered(served, monkeypatch):
    """The name of a draft that holds all of a visit."""
    monkeypatch.setenv("XDG_DATA_HOME", str(served.home))
    draft = drafts.draft_of("filled-visit-of-a-test")
    for name in ("photo-1.jpg", "photo-2.jpg"):
        draft.add_photo((FIRST / name).read_bytes(), name)
    draft.write_field((FIRST / "field.json").read_text())
    tape = read_tape(FIRST / "tape.csv")
    rows = tuple((f"{row.height_mm / 10:g}", f"{row.girth_mm / 10:g}") for row in tape)
    draft.write(drafts.Inputs(client="S-002", limb="arm", side="left", sheets="own", rows=rows, flags=()))
    return draft.folder.name


# by page: what tells that it is there, and how many charts it draws
READY = {
    "setup": ("Download the sheets", 0),
    "": ("Still needed", 0),
    "weeks": ("The limb is", 3),
    "padding?client=S-001": ("To take from the shelf", 2),
    "padding?client=S-003": ("Withheld", 0),
    "teach": ("cups", 1),
    "records": ("Make a backup", 0),
}
FILLED = ("Drag to turn", 3)
CUT = (
    "[...document.querySelectorAll('[data-testid=stButtonGroup] button *')]"
    ".filter(e => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflow !== 'visible')"
    ".map(e => e.textContent)"
)
KINDS = {
    (1440, "light"): tuple(READY),
    (360, "light"): tuple(READY),
    (1440, "dark"): tuple(READY),
    (390, "dark"): ("",),
}
OPEN_ALL = """() => document.querySelectorAll('[data-testid=stExpander] details:not([open]) > summary')
  .forEach((box) => box.click())"""
SERIOUS = ("serious", "critical")
# tables with a column beyond the window or beyond their own box
CUT_TABLES = """() => [...document.querySelectorAll('[data-testid=stTable]')].filter((box) => {
  const table = box.querySelector('table').getBoundingClientRect(), around = box.getBoundingClientRect();
  return table.right > Math.min(around.right, window.innerWidth) + 1;
}).map((box) => box.innerText.slice(0, 80))"""


def test_pages_fit_are_accessible_and_ask_nobody(filled, entered):
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: .ci/test does it")
    ARTEFACTS.mkdir(exist_ok=True)
    faults = []
    with browser() as found:
        for (width, theme), names in KINDS.items():
            with tab(found, filled.url, width, 2400, color_scheme=theme) as page:
                kind = f"{width}-{theme}"
                for name in names:
                    shown = name.replace("?client=", "-") or "visit"
                    faults += look_at(page, filled.url + name, shown, kind, READY[name])
                faults += look_at(page, f"{filled.url}?draft={entered}", "filled", kind, FILLED)
    assert not faults


def look_at(page, address, name, kind, ready):
    """Take a picture of a page; return what is too wide and what axe-core finds serious."""
    page.goto(address)
    page.get_by_text(ready[0]).first.wait_for()
    settled(page)
    drawn(page, ready[1])
    page.screenshot(path=ARTEFACTS / f"page-{name}-{kind}.png")
    page.evaluate(OPEN_ALL)
    settled(page)
    wide = page.evaluate("document.documentElement.scrollWidth")
    cut = [*page.evaluate(CUT), *page.evaluate(CUT_TABLES)]
    page.add_script_tag(path=str(AXE))
    violations = page.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
    faults = [
        (name, kind, violation["id"], node["html"][:200])
        for violation in violations
        if violation["impact"] in SERIOUS
        for node in violation["nodes"]
    ]
    # a question that is cut off is not asked, a column that is cut off not read
    faults += [(name, kind, "cut off", words) for words in cut]
    return faults + [(name, kind, f"{wide} px wide")] * (wide > page.viewport_size["width"])
