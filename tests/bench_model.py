"""Speed and memory of the main job, as ratios within one run: ``python tests/bench_model.py``.

The unit is the time OpenCV needs to read the two photographs and to find their markers; what a third
photograph, from above the foot, adds is told in parts of the processor time of a model of two.  The whole
command is told in the least processor time of several runs, so that a busy machine hardly counts.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # for what is started: users have compiled modules

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import cv2

from digitise.capture.sheets.field import read_field
from digitise.output.model.files import write_model
from digitise.samples import sample_visits
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb

ROUNDS, RUNS = 3, 7
VISIT = sample_visits()[0]
SIDES = VISIT.photos[:2]


def timed(job: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    """Return the median time of a job over a few rounds, seconds, after one to warm up."""
    job()
    times = []
    for _ in range(ROUNDS):
        start = clock()
        job()
        times.append(clock() - start)
    return statistics.median(times)


def opencv_alone() -> None:
    """Read both photographs and find their markers with OpenCV's defaults."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(dictionary, cv2.aruco.DetectorParameters())
    for photo in SIDES:
        picture = cv2.imread(str(photo))
        detector.detectMarkers(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY))


def model(out: Path, photos: Sequence[Path] = SIDES) -> None:
    """Do the whole job, files included."""
    write_model(out, measure_limb(photos, read_field(VISIT.field), read_tape(VISIT.tape)))


def fresh_process(code: str) -> None:
    """Run code in a new Python, imports and all."""
    subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)


def command(out: Path) -> float:
    """Return the least processor time of ``digitise model``, seconds."""
    inputs = ["--field", str(VISIT.field), "--tape", str(VISIT.tape), "--limb", "leg", "--side", "left"]
    words = [sys.executable, "-m", "digitise", "model", *map(str, SIDES), *inputs, "--out", str(out)]
    return min(_processor_time(words) for _ in range(RUNS))


def _processor_time(words: Sequence[str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def least(job: Callable[[], object]) -> float:
    """Return the least processor time of a job, seconds."""
    times = []
    for _ in range(RUNS):
        start = time.process_time()
        job()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "limb"
        unit, whole = timed(opencv_alone), timed(lambda: model(out))
        print(f"OpenCV reads both and finds the markers   {unit:6.2f} s    1.0")
        print(f"model.json, meshes and pictures            {whole:6.2f} s  {whole / unit:5.1f}  (bar 6)")
        here = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import bench_model as b; "
        two, three = (
            timed(lambda photos=photos: model(out, photos), time.process_time)
            for photos in (SIDES, VISIT.photos)
        )
        share = three / two - 1
        print(f"a third photograph, of the foot, adds      {three - two:6.2f} s  {share:5.2f}  (bar 0.6)")
        unit = timed(lambda: fresh_process("import cv2; " + here + "b.opencv_alone()"))
        whole = timed(lambda: fresh_process(here + f"b.model(b.Path({str(out)!r}))"))
        print(f"both with starting Python and imports      {whole:6.2f} s  {whole / unit:5.1f}")
        alone, whole = least(opencv_alone), command(out)
        print(f"digitise model, of OpenCV's processor time   {whole:6.2f} s  {whole / alone:5.1f}  (bar 8)")
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"peak memory of one run                     {peak:6.0f} MB        (bar 1000)")


if __name__ == "__main__":
    main()
