"""Drafts on the disk, the gate, the memory of results, the palette, what the server is told."""

import os
import socket
import threading
import time
import urllib.request
from collections import OrderedDict
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from digitise.anatomy import Side
from digitise.cli.app import app
from digitise.errors import OutputError, PhotoError, RecordError
from ui import draft as drafts
from ui import palette, state
from ui.gate import LOCKED_S, MOST_FAILURES, Gate
from ui.inputs import merged
from ui.memo import Memo
from ui.serve import keep_upload_answers, settings

# ---- drafts ----------------------------------------------------------------------------------------


@pytest.fixture
def draft(home):
    return drafts.draft_of(drafts.new_token())


def photograph(colour):
    import io

    stream = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "Maker"
    exif[0xA431] = "serial-12345"
    Image.new("RGB", (800, 600), colour).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def test_draft_keeps_inputs_photographs_and_corrections(draft):
    inputs = drafts.Inputs(client="K-017", limb="leg", rows=(("10", "31,9"), ("", "4")))
    draft.write(inputs)
    first = draft.add_photo(photograph("red"), "one.jpg")
    second = draft.add_photo(photograph("blue"), "two.jpg")
    draft.write_correction(second, '{"format": "outline-correction/1"}')
    again = drafts.draft_of(draft.folder.name)
    assert again.read() == inputs
    assert again.photos == (first, second)
    assert again.correction(first) is None
    assert "outline-correction/1" in again.correction(second)
    again.remove_photo(second)
    assert again.photos == (first,)
    assert not list(draft.folder.glob("correction-*"))


def test_photographs_are_stripped_as_they_come_in(draft):
    path = draft.add_photo(photograph("red"), "one.jpg")
    assert b"serial-12345" not in path.read_bytes()
    assert not [item for item in draft.folder.iterdir() if item.is_dir()]


def test_a_file_that_is_no_photograph_is_refused_and_leaves_nothing(draft):
    with pytest.raises(PhotoError):
        draft.add_photo(b"no photograph", "../../letter.jpg")
    assert draft.photos == ()


@pytest.mark.parametrize("token", ["", "short", "../../../../etc/passwd", "a" * 60, "sixteen-chars-or/"])
def test_names_of_drafts_lead_nowhere_else(token, home):
    assert drafts.draft_of(token) is None


def test_damaged_inputs_are_told_once_and_set_aside(draft):
    draft.write(drafts.Inputs(client="K-1"))
    (draft.folder / "draft.json").write_text("{")
    with pytest.raises(RecordError, match="damaged"):
        draft.read()
    assert draft.read() == drafts.Inputs()
    # nobody can tell whose it is
    assert drafts.forget_client("K-2") == 1
    assert not draft.folder.exists()


def test_two_tabs_of_one_draft_lose_nothing(draft):
    start = drafts.Inputs(client="K-1", rows=(("10", ""), ("20", ""), ("30", "")))
    draft.write(start)
    here = start.model_copy(update={"rows": (("10", "31"), ("20", ""), ("30", "40")), "note": "a"})
    there = start.model_copy(update={"rows": (("10", ""), ("20", "35"), ("30", "41")), "side": Side.LEFT})
    draft.keep(there, start)
    draft.keep(here, start)
    both = draft.read()
    assert both.rows == (("10", "31"), ("20", "35"), ("30", "40"))
    assert (both.client, both.side, both.note) == ("K-1", "left", "a")
    assert merged(start, here, there).clashes == ("row 3",)


@pytest.mark.skipif(os.name == "nt", reason="folders have no such permissions there")
def test_only_the_owner_can_read_a_draft(draft):
    draft.write(drafts.Inputs(client="K-1"))
    assert draft.folder.stat().st_mode & 0o077 == 0
    assert (draft.folder / "draft.json").stat().st_mode & 0o077 == 0


def test_old_drafts_go_and_recent_ones_stay(home):
    ages = {
        "a" * 20: (20, {}),
        "b" * 20: (2, {}),
        "c" * 20: (2, {"saved": 7}),
        "d" * 20: (2, {"cleared": True}),
    }
    for token, (days, said) in ages.items():
        kept = drafts.draft_of(token)
        kept.write(drafts.Inputs(client="K-1", **said))
        then = time.time() - days * 86400
        os.utime(kept.folder / "draft.json", (then, then))
    drafts.remove_old()
    assert [kept.folder.name for kept in drafts.all_drafts()] == ["b" * 20]


# ---- gate ------------------------------------------------------------------------------------------


def test_gate_locks_after_failures_and_opens_again():
    now = [0.0]
    gate = Gate("right words", lambda: now[0])
    assert not gate.is_open
    assert gate.try_passphrase("right words")
    for _ in range(MOST_FAILURES):
        assert not gate.try_passphrase("wrong")
    assert not gate.try_passphrase("right words")
    assert gate.locked_s == LOCKED_S
    now[0] += LOCKED_S
    assert gate.try_passphrase("right words")
    assert Gate("").is_open


# ---- memory ----------------------------------------------------------------------------------------


def test_memory_keeps_the_last_and_not_what_failed():
    memo, made = Memo(2), []

    def make(value):
        made.append(value)
        return value

    for key in (1, 2, 1, 3, 1, 2):
        assert memo.get(key, lambda key=key: make(key)) == key
    assert made == [1, 2, 3, 2]
    with pytest.raises(ZeroDivisionError):
        memo.get("bad", lambda: 1 / 0)
    assert not memo.has("bad")


def test_two_who_want_the_same_wait_for_one_making():
    memo, made = Memo(2), []

    def make():
        time.sleep(0.05)
        made.append(1)
        return 1

    threads = [threading.Thread(target=lambda: memo.get("key", make)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == [1]


def test_a_result_is_kept_before_the_next_may_make_it():
    """Whoever comes while the result is being put away must find it."""

    class Slow(OrderedDict):
        def __setitem__(self, key, made):
            asked.set()
            time.sleep(0.05)
            super().__setitem__(key, made)

    memo, made, asked = Memo(2), [], threading.Event()
    memo._kept = Slow()
    first = threading.Thread(target=lambda: memo.get("key", lambda: made.append(1)))
    first.start()
    asked.wait()
    memo.get("key", lambda: made.append(2))
    first.join()
    assert made == [1]


def test_after_a_failure_those_who_wait_make_it_one_at_a_time():
    memo, busy, most = Memo(2), [], []

    def make():
        busy.append(1)
        most.append(len(busy))
        time.sleep(0.01)
        busy.pop()
        raise ZeroDivisionError

    def ask():
        with pytest.raises(ZeroDivisionError):
            memo.get("key", make)

    threads = [threading.Thread(target=ask) for _ in range(5)]
    for thread in threads:
        thread.start()
        time.sleep(0.004)
    for thread in threads:
        thread.join()
    assert most == [1] * 5


def test_what_is_being_made_while_all_is_forgotten_is_not_kept():
    memo = Memo(2)

    def make():
        memo.forget()
        return "of a forgotten client"

    assert memo.get("key", make) == "of a forgotten client"
    assert not memo.has("key")


# ---- colours and settings --------------------------------------------------------------------------


def light(colour):
    """Relative luminance, WCAG 2.2."""
    part = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("ink", "page"), [(palette.LIGHT, "#FBFAF6"), (palette.DARK, "#12181D")])
def test_figures_contrast_with_the_page(ink, page):
    # WCAG 2.2 AA: 4.5 for text, 3 for what a chart needs
    assert contrast(ink.text, page) >= 4.5
    for colour in (ink.line, ink.mark, palette.LIMB_EARLIER):
        assert contrast(colour, page) >= 3


def test_change_map_gets_lighter_to_the_middle_and_darker_after():
    lights = [light(colour) for _, colour in palette.CHANGE]
    middle = len(lights) // 2
    assert lights[: middle + 1] == sorted(lights[: middle + 1])
    assert lights[middle:] == sorted(lights[middle:], reverse=True)


def test_server_is_told_to_keep_to_itself():
    told = settings()
    for name, value in {
        "browser.gatherUsageStats": False,
        "server.enableXsrfProtection": True,
        "server.maxUploadSize": 60,
        "client.toolbarMode": "viewer",
        "global.minCachedMessageSize": 1e12,
        "logger.hideWelcomeMessage": True,
    }.items():
        assert told[name] == value, name
    assert "http" not in str(told)


def test_the_answer_before_an_upload_outlives_the_start_of_a_run(monkeypatch):
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
    from streamlit.runtime.forward_msg_queue import ForwardMsgQueue

    monkeypatch.setattr(ForwardMsgQueue, "clear", ForwardMsgQueue.clear)  # put back afterwards
    keep_upload_answers()
    answer, drawn, started = ForwardMsg(), ForwardMsg(), ForwardMsg()
    answer.file_urls_response.response_id = "one"
    drawn.delta.new_element.markdown.body = "of the run before"
    started.new_session.name = "started"
    queue = ForwardMsgQueue()
    for message in (answer, drawn, started):
        queue.enqueue(message)
    queue.clear(retain_lifecycle_msgs=True)
    assert [message.WhichOneof("type") for message in queue._queue] == ["new_session", "file_urls_response"]
    queue.clear(retain_lifecycle_msgs=True, fragment_ids_this_run=["other"])
    assert [message.WhichOneof("type") for message in queue.flush()] == ["new_session", "file_urls_response"]
    assert queue.is_empty()


# ---- the command -----------------------------------------------------------------------------------


def test_other_addresses_need_a_passphrase(tmp_path):
    assert CliRunner().invoke(app, ["ui", "--address", "0.0.0.0"]).exit_code == 2
    assert CliRunner().invoke(app, ["ui", "--proxy", "https://limbs.example"]).exit_code == 2
    for port in ("-1", "0", "70000"):
        assert CliRunner().invoke(app, ["ui", "--port", port]).exit_code == 2
    short = tmp_path / "short.txt"
    short.write_text("abc\n")
    for file in (short, tmp_path / "none.txt"):
        refused = CliRunner().invoke(app, ["ui", "--passphrase-file", str(file), "--no-browser"])
        assert isinstance(refused.exception, OutputError)
        assert "passphrase" in str(refused.exception)


def test_the_page_is_served_on_this_machine_only_and_ends_with_its_command(tmp_path, server):
    with urllib.request.urlopen(server.url, timeout=10) as answer:
        assert answer.status == 200
    with socket.socket() as probe:
        probe.settimeout(2)
        others = socket.gethostbyname(socket.gethostname())
        if not others.startswith("127."):
            assert probe.connect_ex((others, server.port)) != 0


def test_an_uploaded_file_that_was_taken_over_is_no_longer_kept_in_memory(monkeypatch):
    from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
    from streamlit.runtime.uploaded_file_manager import UploadedFileRec

    kept = MemoryUploadedFileManager("/upload")
    for name in ("one", "two"):
        kept.add_file("a-tab", UploadedFileRec(name, f"{name}.jpg", "image/jpeg", b"\xff" * 1000))
    context = SimpleNamespace(uploaded_file_mgr=kept, session_id="a-tab")
    monkeypatch.setattr(state, "get_script_run_ctx", lambda: context)
    state.let_go("one")
    assert [file.file_id for file in kept.get_files("a-tab", ["one", "two"])] == ["two"]
    state.let_go("one")  # once more does no harm
    monkeypatch.setattr(state, "get_script_run_ctx", lambda: None)
    state.let_go("two")
    assert len(kept.get_files("a-tab", ["two"])) == 1
