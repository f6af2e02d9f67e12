"""Chromium for the tests and figures of the page, and when what it shows is complete."""

import shutil
from contextlib import contextmanager

from playwright.sync_api import sync_playwright

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@contextmanager
def browser():
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield found
        found.close()


@contextmanager
def tab(found, url, width=1440, height=1000, **options):
    """A tab that refuses, and then fails on, every request to another place than ``url``."""
    context = found.new_context(viewport={"width": width, "height": height}, **options)
    elsewhere = []

    def guard(route):
        if route.request.url.startswith((url, "data:", "blob:")):
            route.continue_()
        else:
            elsewhere.append(route.request.url)
            route.abort()

    context.route("**/*", guard)
    page = context.new_page()
    page.on("websocket", lambda socket: elsewhere.append(socket.url) if url[7:] not in socket.url else None)
    page.set_default_timeout(60_000)
    yield page
    context.close()
    assert not elsewhere, f"asked for from elsewhere: {elsewhere}"


def settled(page):
    """Wait until the page has drawn what it was asked for."""
    page.wait_for_timeout(250)
    page.wait_for_function(
        "document.querySelector('[data-testid=stApp]')?.dataset.testScriptState !== 'running'"
        " && !document.querySelector('[data-stale=true], [data-testid=stSkeleton]')"
    )
    page.wait_for_timeout(150)


def drawn(page, charts):
    """Wait until so many charts stand on the page, not only the room for them."""
    there = "[data-testid=stPlotlyChart] .main-svg .infolayer"
    page.wait_for_function(f"count => document.querySelectorAll('{there}').length >= count", arg=charts)
    page.wait_for_timeout(500)
