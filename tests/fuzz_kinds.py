"""The kinds of files that are mutated, each with what must hold of what is read."""

import hashlib
import io
import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import numpy as np
import synthetic
from capture.conftest import ROLL, make_scene, ring, roll_boards
from fuzz_mutations import bytes_changed, json_changed, number_changed, pick, reorder, text_changed
from heic import heic_bytes
from lens_profiles import lens_text
from output_support import measure
from PIL import Image
from record_models import model_of_visit

from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.calibration.lens import PARAMETERS, ProfileForm, lens_from_json
from digitise.capture.outline.correction import correction_from_json, correction_to_json
from digitise.capture.photo.photograph import read_photo, remove_metadata
from digitise.capture.sheets.field import field_from_json, field_to_json
from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.wrap.plan import plan_from_toml, plan_to_toml
from digitise.care.wrap.sheet import wrap_sheet
from digitise.care.wrap.suggestion import suggest_plan
from digitise.errors import DigitiseError
from digitise.geometry.view import View
from digitise.output.model.file import model_from_bytes
from digitise.output.model.files import model_text
from digitise.record.backup import restore
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit
from digitise.shape.fit import fit_limb
from digitise.shape.limb import volume
from digitise.tape.advice import explain_tape
from digitise.tape.rows import PlaceGirth, TapeRow
from digitise.tape.table import read_tape

MEASURED = 0.2
"""Share of what is read that is measured too, which takes fifty times as long as reading."""
LOW, HIGH = 120.0, 420.0
SOLID = synthetic.EllipticFrustum(0, 800, (40, 50), (80, 70), (0, 10), (30, -20))
TAPE = "height_mm,girth_mm,point\n" + "".join(
    f"{z},{float(SOLID.girth(np.array([z]))[0]):.0f},{letter}\n"
    for z, letter in ((130, "B"), (200, ""), (270, "C"), (340, ""), (410, "D"))
)
TAPED = (PlaceGirth("heel-instep", 331.5, 7, 60.25), PlaceGirth("ball-of-foot", 241.0, 8))
ANSWERS = SafetyAnswers(
    conditions=(("bypass", False), ("allergy", True)),
    conditions_asked=date(2026, 3, 2),
    arterial=(ArterialCheck("ankle-brachial", 1.02, date(2026, 3, 2), "left", "CD"),),
)
CLEARED = Clearance("yes", "AB", datetime(2026, 3, 2, 8, tzinfo=UTC), (("fever", False),))
WORDS = (
    ",", ";", "\t", "\n", "\r\n", "#", '"', "'", "-", "+", ".", "e9", "nan", "inf", "0", "9999999",
    "cm", "mm",
    "height_mm", "girth_cm", "point", "place", "B1", "\ufeff", "\0", "é", "٣", "\u2028", " ", "sep=;", "=1+1",
    "319", "31,9", "[[layers]]", "width_mm", "true", "{", "[", "a.b.c.", "1979-05-27", "'''", "0x1F", "1_0",
)  # fmt: skip


class Wrong(AssertionError):  # noqa: N818  # what it is, not an error
    """A number that is not what it should be, without a word."""


@dataclass(frozen=True)
class Kind:
    """One kind of file: its share of the cases, and what makes the function that runs one."""

    weight: float
    make: Callable[[], Callable[[np.random.Generator, Path], str]]


# ---- a measurement that takes a tenth of a second ---------------------------------------------------


@dataclass(frozen=True)
class Answer:
    """A measured volume, mL, with its interval, and the codes of all that was warned of."""

    value: float
    low: float
    high: float
    warned: frozenset[str]


@cache
def scene():
    """Two photographs of a solid before two backdrops: exact corners and edges."""
    made = make_scene(ROLL, ring(2), (roll_boards(),) * 2)
    return made, synthetic.exact_views(SOLID, made.cameras, LOW - 30, HIGH + 30, step=8)


def measured(field=ROLL, rows=None, profile=None) -> Answer:
    """Solve cameras and limb from exact corners and edges."""
    made, views = scene()
    calibration = calibrate(made.photos, field, profile)
    rows = tuple(read_rows()) if rows is None else rows
    fit = fit_limb(
        tuple(
            View(view.name, camera, view.edges)
            for view, camera in zip(views, calibration.cameras, strict=True)
        ),
        rows,
        from_mm=LOW,
        to_mm=HIGH,
        camera_modes=calibration.camera_modes,
    )
    whole = volume(fit.limb, fit.limb.from_mm, fit.limb.to_mm)
    low, high = whole.interval_95
    warned = {warning.code for warning in fit.warnings}
    warned |= {check.verdict for check in fit.tape_checks} - {"agrees"}
    predicted = {
        c.row.height_mm: (c.photo_mm, c.photo_sd_mm) for c in fit.tape_checks if c.verdict != "not seen"
    }
    warned |= {remark.code for remark in explain_tape(rows, predicted)}
    if any(calibration.rejected):
        warned.add("markers left out")
    if abs(fit.limb.from_mm - LOW) + abs(fit.limb.to_mm - HIGH) > 1:
        warned.add("other heights")
    return Answer(float(whole.mean), float(low), float(high), frozenset(warned))


@cache
def read_rows():
    """The rows of the unchanged table."""
    return tuple(
        TapeRow(float(h), float(g), n, p)
        for n, (h, g, p) in enumerate((x.split(",") for x in TAPE.split()[1:]), 2)
    )


@cache
def unchanged() -> Answer:
    """The measurement of the unchanged files."""
    return measured()


def must_be_right(found: Answer) -> str:
    """Fail when a volume is far from the unchanged one, without a warning."""
    whole = unchanged()
    if (
        not np.isfinite([found.value, found.low, found.high]).all()
        or not found.low <= found.value <= found.high
    ):
        raise Wrong(f"{found} is no measurement")
    if found.warned <= whole.warned and not found.low <= whole.value <= found.high:
        raise Wrong(
            f"{found.value:.0f} mL ({found.low:.0f} to {found.high:.0f}) instead of {whole.value:.0f}"
        )
    return "read"


# ---- the kinds ---------------------------------------------------------------------------------------


def misread(rng, text):
    """One girth, or all, read wrongly by a little or a lot; the heights stay."""
    head, *lines = text.splitlines()
    factor, one = 1 + rng.normal() * pick(rng, (0.01, 0.03, 0.1)), int(rng.integers(-1, len(lines)))
    cells = [line.split(",") for line in lines]
    for number, row in enumerate(cells):
        if one in (-1, number):
            row[1] = f"{float(row[1]) * factor:.0f}"
    return "\n".join([head, *(",".join(row) for row in cells)])


def tape_kind():
    """Tables of girths; measured with the outlines as they are."""
    unchanged()

    def case(rng, scratch):
        text = TAPE
        choice = rng.random()
        if choice < 0.25:
            text = misread(rng, text)
        elif choice < 0.5:
            for _ in range(int(rng.integers(1, 3))):
                text = number_changed(rng, text)
        elif choice < 0.7:
            text = text_changed(rng, text, WORDS)
        elif choice < 0.8:
            head, *lines = text.splitlines(keepends=True)
            text = head + "".join(reorder(rng, [*lines, pick(rng, lines)])[int(rng.integers(2)) :])
        data = text.encode() if choice < 0.8 else bytes_changed(rng, text.encode())
        path = scratch / "tape.csv"
        path.write_bytes(data)
        rows = read_tape(path)
        if rows == read_rows():
            return "read"
        if rng.random() < MEASURED:
            return must_be_right(measured(rows=rows))
        return "read"

    return case


def field_kind():
    """Sheets; measured with the corners as they are."""
    text = field_to_json(ROLL)
    content = json.loads(text)
    unchanged()

    def scaled(rng):
        """Sheets printed at another scale than they say: all of them, or one board."""
        factor, board = rng.normal(1.0, 0.05), int(rng.integers(-1, len(content["boards"])))
        changed = json.loads(text)
        for number, one in enumerate(changed["boards"]):
            if board in (-1, number):
                one["size"] = [side * factor for side in one["size"]]
                for marker in one["markers"]:
                    marker["corners"] = [[factor * x for x in corner] for corner in marker["corners"]]
        return json.dumps(changed)

    def case(rng, scratch):
        choice = rng.random()
        if choice < 0.15:
            data = scaled(rng).encode()
        elif choice < 0.8:
            data = json_changed(rng, text).encode("utf-8", "surrogatepass")
        else:
            data = bytes_changed(rng, text.encode())
        field = field_from_json(data, "field.json")
        if field_to_json(field) != text and rng.random() < MEASURED:
            return must_be_right(measured(field=field))
        return "read"

    return case


def lens_kind():
    """Lens profiles of the phone of the scene; measured with them."""
    camera = scene()[0].cameras[0]
    mean = [camera.lens.focal_px, *map(float, camera.lens.centre_px), camera.lens.k1, camera.lens.k2]
    covariance = np.diag([100.0, 25.0, 25.0, 1e-4, 1e-4]).tolist()
    form = ProfileForm(
        format="lens-profile/1",
        size=camera.size,
        lens_key="one phone",
        parameters=PARAMETERS,
        mean=mean,
        covariance=covariance,
        photos=9,
        rms_px=0.5,
    )
    text = form.model_dump_json()
    assert must_be_right(measured(profile=lens_from_json(text, "lens.json"))) == "read"
    lens_from_json(lens_text(), "lens.json")

    def case(rng, scratch):
        data = json_changed(rng, text).encode("utf-8", "surrogatepass")
        if rng.random() < 0.3:
            data = bytes_changed(rng, text.encode())
        profile = lens_from_json(data, "lens.json")
        return must_be_right(measured(profile=profile)) if rng.random() < MEASURED else "read"

    return case


def plan_kind():
    """Plans of wraps; the wrap is worked out."""
    limb = model_from_bytes(*_model_bytes(), Path("model")).limb
    text = plan_to_toml(suggest_plan(limb))

    def case(rng, scratch):
        choice = rng.random()
        data = (
            number_changed(rng, text)
            if choice < 0.5
            else text_changed(rng, text, WORDS)
            if choice < 0.75
            else "".join(reorder(rng, text.splitlines(keepends=True)))
        ).encode("utf-8", "surrogatepass")
        if choice > 0.85:
            data = bytes_changed(rng, text.encode())
        plan = plan_from_toml(data)
        if plan_from_toml(plan_to_toml(plan).encode()) != plan:
            raise Wrong("a plan changes when it is written and read again")
        sheet = wrap_sheet(limb, plan)
        if not np.isfinite([need.stretched_mm for need in sheet.needs]).all():
            raise Wrong("a bandage without end")
        return "read"

    return case


def _model_bytes():
    model = model_text(measure(from_mm=200.0, to_mm=260.0))
    return model.json, model.limb


def model_kind():
    """Folders of models: figures and limb; sealed, the seal dropped, or the digests made anew."""
    text, limb = _model_bytes()
    whole = model_from_bytes(text, limb, Path("model"))

    def case(rng, scratch):
        found = model_from_bytes(*changed_model(rng, text, limb), Path("model"))
        same_figures(whole.summary, found.summary)
        return "read"

    return case


def changed_model(rng, text, limb):
    """The two files of a model changed: sealed, the seal dropped, or the digests made anew."""
    choice, changed, data = rng.random(), text, limb
    if choice < 0.5:
        changed = json_changed(rng, text)
        if rng.random() < 0.5:
            changed = _without_seal(changed)
    elif choice < 0.7:
        changed = bytes_changed(rng, text.encode())
    elif choice < 0.85:
        data = bytes_changed(rng, limb)
    else:
        data = _other_arrays(rng, limb)
        changed = _without_seal(text, hashlib.sha256(data).hexdigest())
    if isinstance(changed, str):
        changed = changed.encode("utf-8", "surrogatepass")
    return changed, data


def _without_seal(text, digest=None):
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        return text
    if isinstance(content, dict):
        content.pop("seal", None)
        if digest is not None:
            content["limb_sha256"] = digest
    return json.dumps(content)


def _other_arrays(rng, limb):
    with np.load(io.BytesIO(limb)) as stored:
        arrays = {name: stored[name] for name in stored.files}
    name = pick(rng, sorted(arrays))
    array = np.array(arrays[name], float)
    if array.size and rng.random() < 0.7:
        array.flat[int(rng.integers(array.size))] = pick(rng, (0.0, -1.0, 1e9, np.nan, np.inf, 1e-300, 17.0))
    else:
        array = pick(
            rng, (array[..., None], array.astype(np.float32), array[:0] if array.ndim else array * 2)
        )
    arrays[name] = array
    stream = io.BytesIO()
    np.savez(stream, **arrays)
    return stream.getvalue()


def same_figures(whole, found):
    """Heights, girths, areas and volumes with their intervals must be those that were written."""
    pairs = [(whole.volume_ml, found.volume_ml), *zip(whole.volume_ml_95, found.volume_ml_95, strict=True)]
    if len(whole.sections) != len(found.sections):
        raise Wrong("other sections")
    for one, other in zip(whole.sections, found.sections, strict=True):
        for name in ("height_mm", "girth_mm", "area_mm2", "width_mm", "depth_mm"):
            pairs.append((getattr(one, name), getattr(other, name)))
        pairs += zip(one.girth_mm_95, other.girth_mm_95, strict=True)
    wide = (whole.volume_ml_95[1] - whole.volume_ml_95[0]) / whole.volume_ml
    for one, other in pairs:
        # within its interval, relative to the value
        if abs(one - other) > max(wide, 0.02) * abs(one) + 0.01:
            raise Wrong(f"{other} instead of {one}")


def correction_kind():
    """Corrections of outlines."""
    text = json.dumps(
        {
            "format": "outline-correction/1",
            "photo_sha256": "0" * 64,
            "edges": [{"side": "left", "points": [[10.5, 20], [11, 400], [15, 900]]}],
            "polygon": [[10, 10], [100, 10], [100, 800], [10, 800]],
            "strokes": [{"kind": "limb", "width_px": 40, "points": [[50, 50], [60, 70]]}],
        }
    )

    def case(rng, scratch):
        data = json_changed(rng, text).encode("utf-8", "surrogatepass")
        if rng.random() < 0.3:
            data = bytes_changed(rng, text.encode())
        found = correction_from_json(data, "correction.json")
        again = correction_from_json(correction_to_json(found), "correction.json")
        points = [*(e.points for e in found.edges), *(s.points for s in found.strokes)]
        if len(again.edges) != len(found.edges) or not all(np.isfinite(p).all() for p in points):
            raise Wrong("a correction changes when it is written and read again")
        return "read"

    return case


def backup_kind():
    """Backups: bytes changed, or members changed and the seal made anew."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        home = Path(name)
        with Store(home / "records.sqlite") as store:
            model = model_of_visit(tape=read_rows())
            for client in ("K-017", "K-018"):
                taken = datetime(2026, 3, 2, 9, tzinfo=UTC)
                number = store.add_visit(
                    NewVisit(client, "leg", "left", taken, read_rows(), model=model, note="n", places=TAPED)
                )
            store.replace_visit(
                number, NewVisit("K-018", "leg", "right", taken, read_rows(), places=TAPED, clearance=CLEARED)
            )
            store.save_safety("K-017", ANSWERS)
            kept = _contents(store)
            store.backup(home / "b.zip")
        whole = (home / "b.zip").read_bytes()

    def case(rng, scratch):
        sealed_anew = rng.random() < 0.7
        data = _other_members(rng, whole) if sealed_anew else bytes_changed(rng, whole)
        path, place = scratch / "b.zip", scratch / "new/records.sqlite"
        path.write_bytes(data)
        try:
            restore(path, place)
            with Store(place, create=False) as store:
                try:
                    found = _contents(store)
                except DigitiseError:
                    return "refused"  # restored as its seal says, and found to be damaged on reading
            if not sealed_anew and found != kept:
                raise Wrong("other records than were backed up")
            return "read"
        except DigitiseError:
            if place.exists() and not sealed_anew:
                raise Wrong("half a restore is left") from None
            raise
        finally:
            shutil.rmtree(place.parent, ignore_errors=True)

    return case


def _contents(store):
    visits = [store.load_visit(line.id) for line in store.list_visits()]
    models = [store.model(visit.id) for visit in visits if visit.has_model]
    clients = [client.code for client in store.list_clients()]
    told = [(store.safety(code), store.history(code)) for code in clients]
    return store.list_clients(), visits, models, told


def _other_members(rng, whole):
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    rows = sorted(name for name in members if name.endswith(".jsonl") and "models" not in name)
    name = pick(rng, rows if rng.random() < 0.6 else sorted(members))
    choice = rng.random()
    if choice < 0.1:
        del members[name]
    elif name.endswith((".json", ".jsonl")) and choice < 0.8:
        lines = members[name].decode().splitlines()
        if lines:
            at = int(rng.integers(len(lines)))
            lines[at] = json_changed(rng, lines[at], most=1)
        members[name] = (
            "\n".join([*lines, *lines[: int(rng.random() < 0.1)]]).encode("utf-8", "surrogatepass") + b"\n"
        )
    else:
        members[name] = bytes_changed(rng, members[name])
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.comment = b"0" * 64
        for member, data in members.items():
            archive.writestr(member, data)
    data = stream.getvalue()[:-64]
    return data + hashlib.sha256(data).hexdigest().encode()


def photo_kind():
    """Photographs of every type: read, and stripped of what identifies."""
    rng = np.random.default_rng(5)
    image = Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8)).resize((640, 480))
    exif = Image.Exif()
    exif[0x0110] = "Model 1"
    exif.get_ifd(0x8769).update({0x920A: 4.25, 0xA405: 26})
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 52.0, 36.0), 27: b"GPSMETHOD"})
    files = {"photo.heic": heic_bytes(image, exif.tobytes())}
    for name, kind, options in (
        ("base.jpg", "JPEG", {}),
        ("progressive.jpg", "JPEG", {"progressive": True}),
        ("restarts.jpg", "JPEG", {"restart_marker_rows": 1}),
        ("photo.png", "PNG", {"compress_level": 1}),
    ):
        stream = io.BytesIO()
        image.save(stream, kind, exif=exif, **options)
        files[name] = stream.getvalue()
    names = ["base.jpg", "base.jpg", *files]

    def case(rng, scratch):
        name = pick(rng, names)
        data = files[name]
        if rng.random() < 0.4:  # the head, where the structure is
            start = min(len(data), 700)
            data = bytes_changed(rng, data[:start]) + data[start:]
        else:
            data = bytes_changed(rng, data)
        path = scratch / name
        path.write_bytes(data)
        photo = read_photo(path)
        if photo.pixels.dtype != np.uint8 or photo.pixels.ndim != 3 or photo.pixels.shape[2] != 3:
            raise Wrong("no picture")
        stripped = remove_metadata(path)
        if b"GPSMETHOD" in stripped:
            raise Wrong("a place is left")
        path.write_bytes(stripped)
        if read_photo(path).pixels.shape != photo.pixels.shape:
            raise Wrong("another picture is kept")
        return "read"

    return case


KINDS = {
    "tape": Kind(4.0, tape_kind),
    "field": Kind(4.0, field_kind),
    "lens": Kind(1.5, lens_kind),
    "plan": Kind(3.0, plan_kind),
    "model": Kind(3.0, model_kind),
    "correction": Kind(1.5, correction_kind),
    "backup": Kind(1.0, backup_kind),
    "photo": Kind(2.0, photo_kind),
}
