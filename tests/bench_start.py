"""How long commands take to start, as ratios to libraries that they cannot do without.

``python tests/bench_start.py`` prints them with their bars.  Times are those of the processor, the least of
several runs, so that a busy machine hardly counts.
"""

import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

RUNS = 7
SAMPLE = Path(__file__).parents[1] / "sample-images/pair-calf-week0"
TYPER = "import typer, rich"
LIBRARIES = "import cv2, scipy.optimize, scipy.ndimage, pydantic, trimesh"
ENVIRONMENT = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
ENVIRONMENT.pop("PYTHONDONTWRITEBYTECODE", None)  # users have compiled modules


def seconds(*words):
    """Processor time of a Python process, the least of several runs."""
    return min(_once(words) for _ in range(RUNS))


def _once(words):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], env=ENVIRONMENT, capture_output=True, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def modules_of_model():
    """The project's modules that ``digitise model`` loads on a sample, in the order of loading."""
    photos = [str(SAMPLE / f"photo-{n}.jpg") for n in (1, 2)]
    with tempfile.TemporaryDirectory() as out:
        words = ["model", *photos, "--field", str(SAMPLE / "field.json"), "--tape", str(SAMPLE / "tape.csv")]
        words += ["--limb", "leg", "--side", "left", "--out", f"{out}/limb", "--json"]
        script = (
            "import sys\nfrom digitise.cli import main\n"
            f"try:\n    main({words!r})\nexcept SystemExit as end:\n    assert not end.code\n"
            "print(*(name for name in sys.modules if name.startswith('digitise')), file=sys.stderr)"
        )
        done = subprocess.run(
            [sys.executable, "-c", script], env=ENVIRONMENT, capture_output=True, text=True, check=True
        )
    return done.stderr.split("\n")[-2].split()


def main():
    """Print the ratios."""
    typer, libraries = seconds("-c", TYPER), seconds("-c", LIBRARIES)
    starts = {
        "digitise --help": ("-m", "digitise", "--help"),
        "digitise model --help": ("-m", "digitise", "model", "--help"),
        "digitise modle": ("-m", "digitise", "modle"),
    }
    for name, words in starts.items():
        bar = "  (bar 1.5)" if name.endswith("digitise --help") else ""
        print(f"{name:24} {seconds(*words) / typer:5.2f} x  {TYPER}{bar}")
    imports = seconds("-c", f"import {', '.join(modules_of_model())}")
    print(f"{'imports of model':24} {imports / libraries:5.2f} x  {LIBRARIES}  (bar 1.3)")


if __name__ == "__main__":
    main()
