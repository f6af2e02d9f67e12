"""Cases with known truth, shared by every test."""

import json
import os
from dataclasses import dataclass
from pathlib import Path

# before NumPy: its threads wait for each other when several tests run side by side
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(variable, "1")
# whoever runs the tests: they read English, unless they say otherwise
os.environ["DIGITISE_LANGUAGE"] = "en"

import numpy as np  # noqa: E402
import pytest  # noqa: E402

ROOT = Path(__file__).parents[1]
CASES = {
    "pair-calf-week0": ROOT / "sample-images",
    "pair-calf-week3": ROOT / "sample-images",
    "walk-light": ROOT / "tests/data/samples",
    "turn-dark": ROOT / "tests/data/samples",
}


@dataclass(frozen=True)
class Case:
    """One photo-real visit: its input files, and its truth for tests only."""

    name: str
    folder: Path

    @property
    def photos(self) -> list[Path]:
        return [self.folder / "photo-1.jpg", self.folder / "photo-2.jpg"]

    @property
    def field(self) -> Path:
        return self.folder / "field.json"

    @property
    def tape(self) -> Path:
        return self.folder / "tape.csv"

    @property
    def truth(self) -> dict:
        return json.loads((ROOT / "tests/data/truth" / self.name / "truth.json").read_text())

    def mask(self, number: int) -> np.ndarray:
        """Return the true silhouette of photograph ``number`` (1-based) as (H, W) bool."""
        import cv2

        path = ROOT / "tests/data/truth" / self.name / f"mask-{number}.png"
        return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) > 127


@pytest.fixture(scope="session", autouse=True)
def _data_folder(tmp_path_factory):
    """A user's data folder for this run, where unfinished work is noted; some tests set their own."""
    before = os.environ.get("XDG_DATA_HOME")
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    yield
    if before is None:
        del os.environ["XDG_DATA_HOME"]
    else:
        os.environ["XDG_DATA_HOME"] = before


@pytest.fixture(params=sorted(CASES))
def case(request) -> Case:
    """Every photo-real case in turn."""
    return Case(request.param, CASES[request.param] / request.param)


@pytest.fixture
def rng() -> np.random.Generator:
    """A seeded generator, so that a failure repeats."""
    return np.random.default_rng(20260101)
