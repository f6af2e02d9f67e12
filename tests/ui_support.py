"""The page under test: pages run one by one, and visits to put into their records."""

import dataclasses
import json
import os
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import synthetic
from output_support import measure, with_own_photos
from streamlit.testing.v1 import AppTest

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.signs import CONDITIONS, SIGNS
from digitise.output.model.files import write_model_file
from digitise.record.check import read_model_files
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit
from digitise.shape.fit import fit_limb
from digitise.tape.rows import TapeRow

ROOT = Path(__file__).parents[1]
FIRST = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)


def limb_of(solid):
    """A limb measured from exact edges of a solid."""
    cameras = synthetic.walking_cameras(target=(0.0, 0.0, 250.0))
    return fit_limb(synthetic.exact_views(solid, cameras, 80, 420, step=2)).limb


def model_of(slimmer_mm, folder, side="left"):
    """The files of a model: a limb of that side, slimmer by so many mm all round."""
    measured = measure()
    low, high = np.array([40.0, 50.0]) - slimmer_mm, np.array([80.0, 70.0]) - slimmer_mm
    solid = synthetic.EllipticFrustum(0, 800, tuple(low), tuple(high), (0, 10), (30, -20))
    fit = dataclasses.replace(measured.fit, limb=dataclasses.replace(limb_of(solid), side=side))
    write_model_file(
        folder, with_own_photos(dataclasses.replace(measured, fit=fit), f"{folder} {slimmer_mm} {side}")
    )
    return read_model_files(folder)


def add_visit(model, number=0, cleared=True, measured_by="", there=()):
    """Put a model into the records, three weeks after the one before.

    All signs are asked for, with those of ``there`` found; conditions and arteries are asked for today.
    """
    when = FIRST + timedelta(days=21 * number)
    said = json.loads(model.json)
    rows = [TapeRow(row["height_mm"], row["tape_mm"]) for row in said["tape_check"]]
    signs = tuple((sign.code, sign.code in there) for sign in SIGNS)
    clearance = Clearance("yes", "AB", when, signs) if cleared else Clearance(red_flags=signs)
    today = datetime.now().astimezone().date()
    once = SafetyAnswers(
        conditions=tuple((one.code, False) for one in CONDITIONS),
        conditions_asked=today,
        arterial=(ArterialCheck("ankle-brachial", 1.0, today, "both", "AB"),),
    )
    with Store() as store:
        store.add_visit(
            NewVisit(
                "K-017",
                "leg",
                said["side"],
                when,
                tuple(rows),
                model=model,
                clearance=clearance,
                measured_by=measured_by,
            )
        )
        store.save_safety("K-017", once)


def page(name, **session):
    """Run one page and return it; an exception of the page fails."""
    test = AppTest.from_file(str(ROOT / "ui/views" / f"{name}.py"), default_timeout=60)
    for key, value in session.items():
        test.session_state[key] = value
    test.run()
    assert not test.exception, test.exception
    return test


def words(test):
    """All text of a page as it is read."""
    kinds = (test.title, test.markdown, test.caption, test.info, test.error, test.warning, test.success)
    return "\n".join(unescaped(str(element.value)) for kind in kinds for element in kind)


def unescaped(markdown):
    """Markdown as it is read: no backslashes, no invisible joiners."""
    return re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", markdown).replace("\u2060", "")


def cell(test, name, row):
    """The field of a tape row (from 1): its ``height`` or its ``girth``."""
    visit = f"visit-{test.session_state['draft_token']}"
    key = f"{visit}-rows_version"
    version = test.session_state[key] if key in test.session_state else 0  # noqa: SIM401  # has no get
    return test.text_input(key=f"{visit}-{name}-{version}-{row - 1}")


@dataclasses.dataclass(frozen=True)
class Served:
    """A running page."""

    url: str
    home: Path

    @property
    def port(self):
        return int(self.url.rsplit(":", 1)[1].strip("/"))


@contextmanager
def serve(home, *more, log=None):
    """Run ``digitise ui`` until the block ends; it must end when its command is ended.

    ``more`` are further options, ``log`` a file for what it writes to the screen.
    """
    places = {"XDG_DATA_HOME": str(home), "DIGITISE_RECORDS": str(home / "records.sqlite")}
    # another first choice for each process that tests, so that two never reach for one port at once
    port = str(20_000 + os.getpid() % 20_000)
    screen = None if log is None else log.open("w")
    command = subprocess.Popen(
        [sys.executable, "-m", "digitise", "ui", "--no-browser", "--json", "--port", port, *more],
        env={**os.environ, **places},
        stdout=subprocess.PIPE,
        stderr=screen,
        text=True,
    )
    try:
        url = json.loads(command.stdout.readline())["url"]
        wait_for(url)
        yield Served(url, home)
    finally:
        command.terminate()
        command.wait(timeout=20)
        if screen is not None:
            screen.close()
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(url, timeout=2)


def wait_for(url):
    end = time.monotonic() + 60
    while True:
        try:
            with urllib.request.urlopen(f"{url}_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            assert time.monotonic() < end, "the page did not start"
            time.sleep(0.2)
