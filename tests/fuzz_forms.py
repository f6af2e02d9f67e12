"""What people type and others send: tables of visits, safety answers, drafts, courses, a phone's messages."""

import asyncio
import io
import ipaddress
import json
import logging
import os
import shutil
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from fuzz_kinds import WORDS, Kind, Wrong
from fuzz_mutations import bytes_changed, json_changed, number_changed, pick, reorder, text_changed
from model_folders import model_folder
from PIL import Image
from solid_limbs import cone_with, limb

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.answers_file import answers_from_toml, answers_to_toml
from digitise.care.safety.assess import assess
from digitise.care.safety.signs import CONDITIONS, SIGNS
from digitise.output.course.form import course_form, read_stable
from digitise.workflow.course import follow
from digitise.workflow.many.batch_table import read_table
from digitise.workflow.visits.sources import from_folders, with_others
from ui.draft import Draft, drafts_folder, new_token
from ui.inputs import Inputs
from ui.lengths import CM, INCH
from ui.pairing.networks import Near
from ui.pairing.sealing import NONCE_BYTES, as_text, seal, unseal
from ui.pairing.server import application
from ui.pairing.session import Pairing
from ui.typed import read_typed

# ---- tables of visits to measure -------------------------------------------------------------------------

BATCH = (
    "name,photos,field,tape,limb,side,from_mm,to_mm,lens,lying,landmark\n"
    "K-1,a,field.json,a/tape.csv,leg,left,100,420,,,\n"
    "K-2,b/photo-1.jpg;b/photo-2.jpg,field.json,,leg,right,,,lens.json,,\n"
    "K-3,c,field.json,c/tape.csv,arm,left,,,,palm-down,2;2210;1480\n"
    "K-4,d,field.json,d/tape.csv,leg,left,60.5,,,on-back,1; 880.5; 790\n"
)
BATCH_WORDS = (
    *WORDS,
    "palm-up",
    "on-back",
    "K-1",
    "../x",
    "/etc",
    "CON",
    "..",
    ".",
    "a;b",
    "1;2",
    "leg",
    "arm",
)


def batch_kind():
    """Tables of visits: a line that was not touched says what it said, and no folder lies outside."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as home:
        (Path(home) / "t.csv").write_text(BATCH)
        kept = {job.name: job for job in read_table(Path(home) / "t.csv", Path(home) / "out")}
    lines = {line.split(",")[0]: line for line in BATCH.splitlines()[1:]}

    def case(rng, scratch):
        text, choice = BATCH, rng.random()
        if choice < 0.35:
            text = number_changed(rng, text)
        elif choice < 0.75:
            text = text_changed(rng, text, BATCH_WORDS)
        elif choice < 0.85:
            head, *rest = text.splitlines(keepends=True)
            text = head + "".join(reorder(rng, [*rest, pick(rng, rest)])[int(rng.integers(2)) :])
        data = text.encode() if choice < 0.85 else bytes_changed(rng, text.encode())
        (scratch / "t.csv").write_bytes(data)
        jobs = read_table(scratch / "t.csv", scratch / "out")
        whole = data.decode("utf-8-sig").splitlines()
        for job in jobs:
            if Path(job.out).resolve().parent != (scratch / "out").resolve():
                raise Wrong(f"{job.out} lies outside")
            heights = [at for at in (job.from_mm, job.to_mm) if at is not None]
            if not np.isfinite([*heights, *job.landmark]).all() or bool(job.lying) != bool(job.landmark):
                raise Wrong(f"{job} cannot be")
            if whole[0] == BATCH.splitlines()[0] and lines.get(job.name) in whole:
                _same_job(job, kept[job.name])
        return "read"

    return case


def _same_job(found, kept):
    for name in ("limb", "side", "from_mm", "to_mm", "lying", "landmark"):
        if getattr(found, name) != getattr(kept, name):
            raise Wrong(f"{name} of {found.name} is {getattr(found, name)}")


# ---- safety answers --------------------------------------------------------------------------------------

TODAY = date(2026, 3, 20)
CLEAR = SafetyAnswers(
    "yes",
    "AB",
    signs=tuple((sign.code, False) for sign in SIGNS),
    conditions=tuple((one.code, False) for one in CONDITIONS),
    conditions_asked=date(2026, 3, 2),
    arterial=(
        ArterialCheck("ankle-brachial", 1.02, date(2026, 3, 2), "left", "AB"),
        ArterialCheck("toe-pressure", 75.0, date(2026, 2, 1), "both", "AB"),
    ),
)
ANSWER_WORDS = (
    *WORDS,
    "true",
    "false",
    "yes",
    "no",
    "2062-03-02",
    "1926-03-02",
    "clot",
    "[signs]",
    "[[arterial]]",
)
_AGAINST = {"ankle-brachial": 0.8, "ankle-pressure": 60.0, "toe-pressure": 30.0, "skin-oxygen": 20.0}
"""Below these a check speaks against compression; the program's own limits, which are cited there."""


def answers_kind():
    """Answers with which all may be made: what is made in spite of an answer against it is wrong."""
    text = answers_to_toml(CLEAR)
    assert not assess(CLEAR, "leg", "left", TODAY).withheld

    def case(rng, scratch):
        choice, data = rng.random(), text.encode()
        if choice < 0.2:
            data = answers_to_toml(_misnoted(rng)).encode()
        elif choice < 0.4:
            data = number_changed(rng, text).encode()
        elif choice < 0.6:
            data = text.replace("false", "true", 1 + int(rng.integers(3))).encode()
        elif choice < 0.9:
            data = text_changed(rng, text, ANSWER_WORDS).encode("utf-8", "surrogatepass")
        else:
            data = bytes_changed(rng, data)
        answers = answers_from_toml(data)
        if answers_from_toml(answers_to_toml(answers).encode()) != answers:
            raise Wrong("answers change when they are written and read again")
        for side in ("left", "right"):
            safety = assess(answers, "leg", side, TODAY)
            if not safety.withheld and (reason := _speaks_against(answers, side)):
                raise Wrong(f"not withheld: {reason}")
        return "read"

    return case


def _misnoted(rng):
    """The answers with another result and another day of a check, or another day of the questions."""
    days = timedelta(days=int(rng.integers(-800, 800)))
    if rng.random() < 0.3:
        return replace(CLEAR, conditions_asked=TODAY + days)
    number = int(rng.integers(len(CLEAR.arterial)))
    check = CLEAR.arterial[number]
    other = replace(check, when=TODAY + days, value=check.value * pick(rng, (0.1, 0.5, 0.75, 1.0)))
    kept = CLEAR.arterial if rng.random() < 0.5 else ()
    return replace(CLEAR, arterial=(*kept, other))


def _speaks_against(answers, side):
    """Return what of the answers must withhold; of the checks of a kind, the last one and those to come."""
    if answers.clearance != "yes" or not answers.signs or any(there for _, there in answers.signs):
        urgent = {sign.code for sign in SIGNS if sign.step != "none"}
        if answers.clearance != "yes" or not answers.signs:
            return "not cleared or not asked"
        if any(
            there and (code in urgent or code not in {s.code for s in SIGNS}) for code, there in answers.signs
        ):
            return "a sign"
    if answers.conditions_asked is None or answers.conditions_asked > TODAY:
        return f"conditions asked for on {answers.conditions_asked}"
    own = [check for check in answers.arterial if check.side in (side, "both")]
    for kind, least in _AGAINST.items():
        of_kind = sorted((check for check in own if check.kind == kind), key=lambda check: check.when)
        past = [check for check in of_kind if check.when <= TODAY]
        for check in (*past[-1:], *(each for each in of_kind if each.when > TODAY)):
            # a check that passed may be newer than an old one that did not
            if check.value < least and (check.when > TODAY - timedelta(days=180) or len(past) == 1):
                return f"{check}"
    return "" if any(check.when <= TODAY for check in own) else "no check of the arteries"


# ---- drafts and courses ----------------------------------------------------------------------------------


def draft_kind():
    """What was typed on the page: read as it is, or set aside with words."""
    typed = Inputs(
        client="K-017",
        limb="arm",
        side="left",
        clearance="yes",
        flags=("fever",),
        note="n",
        rows=(("10", "22,5"), ("20", "31.4"), ("", "")),
        places=(("palm", 205.0, 3, None), ("wrist", 168.0, 4, 12.5)),
        axis=(0.0, 0.0, 0.0, 1.0, 2.0, 300.0),
        lies="palm-down",
        landmark=(0, 880.0, 790.0),
        names={"photo-1.jpg": "IMG_1.jpg"},
        seen="0" * 64,
        day="2026-03-02",
        hour="09:15",
    )
    text = typed.model_dump_json()
    old = json.dumps({**json.loads(text), "rows": [[100.0, 225.0], [200.0, None]], "unit": "mm"})

    def case(rng, scratch):
        whole = pick(rng, (text, text, old))
        data = json_changed(rng, whole).encode("utf-8", "surrogatepass")
        if rng.random() < 0.2:
            data = bytes_changed(rng, whole.encode())
        shutil.rmtree(scratch / "draft", ignore_errors=True)
        (scratch / "draft").mkdir()
        (scratch / "draft/draft.json").write_bytes(data)
        there = Draft(scratch / "draft")
        inputs = there.read()
        tape = read_typed(inputs.rows, CM if inputs.unit == "cm" else INCH)
        if not all(50 <= row.girth_mm <= 1500 for row in tape.rows):
            raise Wrong("a girth that cannot be")
        there.write(inputs)
        if there.read() != inputs:
            raise Wrong("a draft changes when it is written and read again")
        return "read"

    return case


def course_kind():
    """Courses that are read for the garment list: whether a limb has levelled off."""
    start = datetime(2026, 3, 2, 9, tzinfo=UTC)
    when = [start + timedelta(weeks=n) for n in range(3)]
    with tempfile.TemporaryDirectory(prefix="fuzz-") as home:
        folders = [
            model_folder(Path(home) / str(n), limb(cone_with((8.0 - n, 0.5, 300.0))), when[n])
            for n in range(3)
        ]
        visits = from_folders(folders, when)
        found, last = follow(with_others(visits, ())), visits[-1].model
    text = course_form(found, "leg", "left").model_dump_json()

    def case(rng, scratch):
        data = json_changed(rng, text).encode("utf-8", "surrogatepass")
        if rng.random() < 0.2:
            data = bytes_changed(rng, text.encode())
        (scratch / "course.json").write_bytes(data)
        if read_stable(scratch / "course.json", last) not in (True, False, None):
            raise Wrong("no verdict")
        return "read"

    return case


# ---- a phone's messages ----------------------------------------------------------------------------------

HERE = Near(ipaddress.IPv4Address("127.0.0.1"), ipaddress.IPv4Network("127.0.0.0/8"), "lo")


def pairing_kind():
    """Heads and photographs that a phone sends: an answer for each, and only photographs are kept."""
    picture = _picture()
    logging.getLogger("digitise.pairing").setLevel(logging.CRITICAL)

    def case(rng, scratch):
        before = os.environ.get("XDG_DATA_HOME")
        os.environ["XDG_DATA_HOME"] = str(scratch)
        try:
            return _one_visit(rng, picture)
        finally:
            shutil.rmtree(drafts_folder(), ignore_errors=True)
            os.environ.pop("XDG_DATA_HOME")
            if before is not None:
                os.environ["XDG_DATA_HOME"] = before

    return case


def _one_visit(rng, picture):
    draft = Draft(drafts_folder() / new_token())
    draft.write(Inputs(client="K-017"))
    pairing = Pairing(draft.folder.name)
    head = json.dumps({"device": "0a" * 16, "photo": "0b" * 8, "name": "IMG_1.jpg"})
    changed, sealed_head, body, headers = rng.random(), None, picture, {}
    if changed < 0.4:
        head = json_changed(rng, head)
    elif changed < 0.6:
        body = bytes_changed(rng, picture)
    sealed_head = seal(pairing.key, head.encode("utf-8", "surrogatepass"), b"photograph")
    sealed = seal(pairing.key, body, b"body " + sealed_head[:NONCE_BYTES])
    text = as_text(sealed_head)
    if 0.6 <= changed < 0.75:
        text = bytes_changed(rng, text.encode()).decode("latin-1")
    elif changed < 0.85:
        sealed = bytes_changed(rng, sealed) if changed >= 0.75 else sealed
    elif changed >= 0.9:
        headers = {"content-length": pick(rng, ("-1", "9" * 30, "", "x", "٣", "1e3"))}
    status, answer = _asked(pairing, {"pairing-head": text, **headers}, sealed)
    kept = draft.photos
    if status == 200:
        said = unseal(pairing.key, answer, b"answer " + sealed_head[:NONCE_BYTES])
        if said is None or json.loads(said)["came"] != 1 or len(kept) != 1:
            raise Wrong("a photograph that came and is not there")
        if b"GPSMETHOD" in kept[0].read_bytes():
            raise Wrong("a place is left")
        return "read"
    if kept or status not in (403, 408, 409, 410, 413, 422):
        raise Wrong(f"status {status} with {len(kept)} photographs kept")
    return "refused"


def _picture():
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({27: b"GPSMETHOD"})
    stream = io.BytesIO()
    noise = np.random.default_rng(5).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    Image.fromarray(noise).resize((640, 480)).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def _asked(pairing, headers, body):
    """Ask the server of a pairing without a socket; return status and body."""
    told = {"host": "127.0.0.1:8781", "origin": "http://127.0.0.1:8781", **headers}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/photograph",
        "raw_path": b"/photograph",
        "query_string": b"",
        "headers": [(name.encode(), value.encode("latin-1", "replace")) for name, value in told.items()],
        "client": ("127.0.0.1", 50_000),
        "server": ("127.0.0.1", 8781),
    }
    sent = []

    async def receive():
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message):
        sent.append(message)

    asyncio.run(application(pairing, HERE)(scope, receive, send))
    return sent[0]["status"], b"".join(message.get("body", b"") for message in sent[1:])


KINDS = {
    "batch": Kind(1.5, batch_kind),
    "answers": Kind(2.0, answers_kind),
    "draft": Kind(1.0, draft_kind),
    "course": Kind(1.0, course_kind),
    "pairing": Kind(1.5, pairing_kind),
}
