"""Speed and memory of the page in Chromium: ``python tests/bench_page.py [load|change|tabs|memory|day]``.

The unit of loading and of changing pages is the same for a page of the same library with one word on it.
"""

import contextlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
from browser_support import browser, drawn, settled, tab
from ui_support import Served, serve, wait_for

ROOT = Path(__file__).parents[1]
CASES = (
    ROOT / "sample-images/pair-calf-week0",
    ROOT / "tests/data/samples/walk-light",
    ROOT / "sample-images/pair-calf-week3",
    ROOT / "tests/data/samples/turn-dark",
)
ROUNDS, TABS, RERUNS = 5, 10, 50
VISITS = int(os.environ.get("BENCH_VISITS", "30"))
PLAIN = """
import streamlit as st
def one(): st.title("Word")
def two(): st.title("Other")
pages = [st.Page(one, title="One", default=True), st.Page(two, title="Two")]
st.navigation(pages, position="top").run()
"""
PAINTED = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null"
TITLES = {"One": "Word", "Two": "Other"}
PAGES = {
    "Set up": "Download the sheets",
    "Weeks": "Nothing is saved yet",
    "Padding and wrap": "Nothing is saved yet",
    "Teach": "Nothing is saved yet",
    "Records": "Restore",
    "A visit": "Still needed",
}


@contextlib.contextmanager
def plain_page(folder: Path) -> Iterator[Served]:
    """Serve a page of the same library with one word on it."""
    script = folder / "plain.py"
    script.write_text(PLAIN)
    words = [sys.executable, "-m", "streamlit", "run", str(script), "--server.headless=true"]
    words += ["--browser.gatherUsageStats=false", f"--server.port={30_000 + os.getpid() % 20_000}"]
    server = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        url = f"http://127.0.0.1:{30_000 + os.getpid() % 20_000}/"
        wait_for(url)
        yield Served(url, folder)
    finally:
        server.terminate()
        server.wait(timeout=20)


@contextlib.contextmanager
def our_page(folder: Path) -> Iterator[Served]:
    """Serve the page with empty records."""
    with serve(folder) as served:
        yield served


def first_load(found, serving, ready: str) -> tuple[float, float, float]:
    """Return seconds from the command to an answering server, and of the first page's paint and text."""
    with tempfile.TemporaryDirectory() as folder:
        begin = time.perf_counter()
        with serving(Path(folder)) as served:
            started = time.perf_counter() - begin
            with tab(found, served.url) as page:
                begin = time.perf_counter()
                page.goto(served.url, wait_until="commit")
                page.get_by_text(ready, exact=True).first.wait_for()
                text = time.perf_counter() - begin
                return started, page.evaluate(PAINTED) / 1000, text


def print_row(what: str, ours: list[float], plain: list[float], bar: str = "") -> None:
    """Print medians, the range of ours, and their ratio."""
    middle, unit = statistics.median(ours), statistics.median(plain)
    spread = f"{min(ours):.2f} to {max(ours):.2f}"
    print(f"{what:<44} {middle:6.2f} s ({spread})  plain {unit:5.2f} s  ratio {middle / unit:4.1f}  {bar}")


def measure_load() -> None:
    """Print how long the first page takes on a server that has just started."""
    with browser() as found:
        ours, plain = [], []
        for _ in range(ROUNDS):
            ours.append(first_load(found, our_page, "Client's code"))
            plain.append(first_load(found, plain_page, "Word"))
    for number, what in enumerate(("server answers", "first page: first paint", "first page: its text")):
        bar = "(bar 3 s)" if number else ""
        print_row(what, [one[number] for one in ours], [one[number] for one in plain], bar)


def clicked(page, link: str, ready: str) -> float:
    """Return the seconds from a click on a page's name to its text."""
    begin = time.perf_counter()
    page.get_by_role("link", name=link, exact=True).click()
    page.get_by_role("heading", name=TITLES.get(link, link), exact=True).wait_for()
    page.get_by_text(ready).first.wait_for()
    took = time.perf_counter() - begin
    settled(page)
    return took


def measure_change() -> None:
    """Print how long a change of page takes, the first time and later."""
    with browser() as found, tempfile.TemporaryDirectory() as folder:
        plain = []
        with plain_page(Path(folder)) as served, tab(found, served.url) as page:
            page.goto(served.url)
            page.get_by_text("Word").wait_for()
            for _ in range(ROUNDS):
                plain += [clicked(page, "Two", "Other"), clicked(page, "One", "Word")]
        with our_page(Path(folder)) as served, tab(found, served.url) as page:
            page.goto(served.url)
            page.get_by_text("Client's code").wait_for()
            rounds = [
                {link: clicked(page, link, ready) for link, ready in PAGES.items()} for _ in range(ROUNDS)
            ]
    for link in PAGES:
        print_row(f"to {link}, first", [rounds[0][link]], plain)
        print_row(f"to {link}, later", [one[link] for one in rounds[1:]], plain, "(bar 0.5 s)")


def begin_visit(page, url: str, number: int, client: int | None = None) -> None:
    """Enter a visit without waiting for its limb."""
    case = CASES[number % len(CASES)]
    page.goto(url)
    code = page.get_by_role("textbox", name="Client's code")
    code.fill(f"T-{(number if client is None else client) + 1}")
    code.press("Tab")
    settled(page)  # what is known of a client appears above the choices and moves them
    for name in ("Leg", "Left"):
        page.get_by_text(name, exact=True).locator("visible=true").first.click()
    settled(page)  # each choice draws the page again
    files = [case / name for name in ("field.json", "photo-1.jpg", "photo-2.jpg", "tape.csv")]
    page.locator("input[type=file]").first.set_input_files(files)


def limb_shown(page) -> str:
    """Wait for the limb and return its volume; no error may stand on the page."""
    page.get_by_text("Drag to turn").wait_for(timeout=300_000)
    settled(page)
    drawn(page, 3)
    assert page.locator("[data-testid=stException], [data-testid=stAlertContentError]").count() == 0
    return page.locator("[data-testid=stMetricValue]").inner_text()


def memory_mb(served: Served) -> float:
    """Return the memory of the server."""
    servers = [p for p in psutil.process_iter(["cmdline"]) if "ui.serve" in (p.info["cmdline"] or [])]
    mine = [p for p in servers if str(served.port) in p.info["cmdline"]]
    return sum(p.memory_info().rss for p in mine) / 2**20


def open_visits(found, served: Served, count: int) -> list[str]:
    """Enter so many different visits at once, each in a tab of its own; return each tab's volume."""
    with contextlib.ExitStack() as stack:
        pages = [stack.enter_context(tab(found, served.url)) for _ in range(count)]
        for number, page in enumerate(pages):
            begin_visit(page, served.url, number)
        volumes = [limb_shown(page) for page in pages]
        for number, page in enumerate(pages):
            assert page.get_by_role("textbox", name="Client's code").input_value() == f"T-{number + 1}"
        # every tab goes on with its own visit after all the others
        begin = time.perf_counter()
        for page, volume in zip(pages, volumes, strict=True):
            page.get_by_text("Right", exact=True).first.click()
            settled(page)
            page.get_by_text("Left", exact=True).first.click()
            assert limb_shown(page) == volume
        print(
            f"both sides chosen in turn, each tab            {(time.perf_counter() - begin) / count:6.2f} s"
        )
    return volumes


def measure_tabs() -> None:
    """Print how long ten visits at once take, and what the server needs for them."""
    with browser() as found, tempfile.TemporaryDirectory() as folder, our_page(Path(folder)) as served:
        idle = memory_mb(served)
        begin = time.perf_counter()
        volumes = open_visits(found, served, 1)
        one, first = time.perf_counter() - begin, memory_mb(served)
        begin = time.perf_counter()
        volumes = open_visits(found, served, TABS)
        took = time.perf_counter() - begin
        whole = memory_mb(served)
        print(f"one visit {one:.1f} s, {TABS} in {TABS} tabs {took:.1f} s, {took / one:.1f} times as long")
        print(f"memory: started {idle:.0f} MB, one visit {first:.0f} MB, {TABS} visits {whole:.0f} MB")
        for number in range(TABS):
            assert volumes[number] == volumes[number % len(CASES)], volumes
        assert len(set(volumes)) == len(CASES), volumes
        print(f"no error; volumes of the cases: {', '.join(volumes[: len(CASES)])}")


def measure_memory() -> None:
    """Print the server's memory while one visit is drawn again and again, by its slider and by its pages."""
    with browser() as found, tempfile.TemporaryDirectory() as folder, our_page(Path(folder)) as served:
        with tab(found, served.url) as page:
            begin_visit(page, served.url, 0)
            limb_shown(page)
            slider = page.get_by_role("slider").first
            took, memory = [], []
            for number in range(RERUNS):
                begin = time.perf_counter()
                slider.press("ArrowLeft" if number % 10 < 5 else "ArrowRight")
                page.wait_for_timeout(20)
                settled(page)
                took.append(time.perf_counter() - begin)
                memory.append(memory_mb(served))
        print(f"{RERUNS} moves of the slider: {statistics.median(took):.2f} s each, 0.42 s of it waits")
        every = ", ".join(f"{memory[n]:.0f}" for n in range(9, RERUNS, 10))
        print(f"memory after every ten: {every} MB (bar: flat)")


def save_visit(page) -> None:
    """Answer what is still asked and save."""
    page.get_by_text("Yes", exact=True).locator("visible=true").first.click()
    settled(page)
    page.get_by_role("button", name="None of these").locator("visible=true").last.click()
    settled(page)
    page.get_by_role("button", name="Save visit").click()
    page.get_by_text("Saved as visit").first.wait_for(timeout=300_000)
    settled(page)


def measure_day() -> None:
    """Print the server's memory over a day's visits, entered, looked at and saved one after the other."""
    memory = []
    with browser() as found, tempfile.TemporaryDirectory() as folder, our_page(Path(folder)) as served:
        with tab(found, served.url) as page:
            for number in range(VISITS):
                # a photograph belongs to one client
                begin_visit(page, served.url + "?draft=", number, number % len(CASES))
                limb_shown(page)
                save_visit(page)
                memory.append(memory_mb(served))
                page.get_by_role("button", name="Next visit").click()
                settled(page)
        every = ", ".join(f"{one:.0f}" for one in memory)
        print(f"memory after each of {VISITS} visits: {every} MB; most {max(memory):.0f} MB (bar 600 MB)")


MEASURES = {
    "load": measure_load,
    "change": measure_change,
    "tabs": measure_tabs,
    "memory": measure_memory,
    "day": measure_day,
}

if __name__ == "__main__":
    for name in sys.argv[1:] or MEASURES:
        MEASURES[name]()
