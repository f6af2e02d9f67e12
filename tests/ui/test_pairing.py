"""From the phone into the open visit: what is let in, and all that is refused, over real sockets."""

import asyncio
import hashlib
import html
import io
import ipaddress
import logging
import secrets
import socket
import threading
import time

import cv2
import numpy as np
import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from phone import Phone
from PIL import Image
from ui_support import ROOT, page, words

from ui import draft as drafts
from ui import text
from ui.components import pairing as component
from ui.components import sample
from ui.inputs import Inputs
from ui.pairing import listening, networks
from ui.pairing.networks import Near
from ui.pairing.sealing import NONCE_BYTES, as_text, from_text, new_key, seal, unseal
from ui.pairing.server import application
from ui.pairing.session import Pairing

HERE = Near(ipaddress.IPv4Address("127.0.0.1"), ipaddress.IPv4Network("127.0.0.0/8"), "lo")
CLIENT = "K-0815"
NAME = "Maria-Muster.jpg"


def photo(seed=1, kind="JPEG"):
    """A small photograph with a place in it."""
    noise = np.random.default_rng(seed).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({27: b"GPSMETHOD"})
    exif.get_ifd(0x8769)[0x9003] = "2026:03:02 09:15:00"
    file = io.BytesIO()
    Image.fromarray(noise).resize((640, 480)).save(file, kind, exif=exif)
    return file.getvalue()


@pytest.fixture
def visit(home):
    """A visit that is being entered."""
    draft = drafts.Draft(drafts.drafts_folder() / drafts.new_token())
    draft.write(Inputs(client=CLIENT))
    return draft


@pytest.fixture
def door(visit, caplog):
    """Its door, on this computer alone."""
    caplog.set_level(logging.INFO, "digitise.pairing")
    yield listening.open_door(visit.folder.name, HERE)
    listening.close_door(visit.folder.name)


@pytest.fixture
def phone(door):
    return Phone(door.address)


def refused(caplog):
    return [record.getMessage() for record in caplog.records if "refused" in record.getMessage()]


def test_photographs_come_into_the_visit_without_their_place(visit, door, phone):
    assert phone.greet() == (200, {"left_s": 600, "came": 0, "said": ""})
    assert door.pairing.is_claimed
    given_photo = photo()
    assert b"GPSMETHOD" in given_photo
    assert phone.send(given_photo, NAME)[0] == 200
    assert phone.send(photo(2, "PNG"), "IMG_2.png")[1]["came"] == 2
    assert [path.name for path in visit.photos] == ["photo-1.jpg", "photo-2.jpg"]
    assert b"GPSMETHOD" not in b"".join(path.read_bytes() for path in visit.photos)
    first = door.pairing.arrived[0]
    assert (first.file, first.name) == ("photo-1.jpg", NAME)
    assert f"{first.taken:%Y-%m-%d %H:%M}" == "2026-03-02 09:15"


def test_sent_twice_counts_once(visit, phone):
    number, data = secrets.token_hex(8), photo()
    head = phone.head("photograph", photo=number, name=NAME)
    body = seal(phone.key, data, b"body " + head[:NONCE_BYTES])
    # the same bytes again, as one who listens could send them; and a new message after an answer was lost
    assert [phone.sent("photograph", head, body)[0] for _ in range(2)] == [200, 200]
    assert phone.send(data, photo=number)[0] == 200
    assert len(visit.photos) == 1


@pytest.mark.parametrize(
    "what", ["key", "no head", "no base64", "long", "changed", "other place", "not asked"]
)
def test_a_wrong_code_is_refused_and_noted(what, visit, phone, caplog):
    right = phone.head("photograph", photo="0" * 16, name=NAME)
    wrong = {
        "key": seal(new_key(), b'{"device": "00"}', b"photograph"),
        "no head": b"",
        "long": right * 30,
        "changed": right[:-1] + bytes([right[-1] ^ 1]),
        "other place": phone.head("greeting", photo="0" * 16),
        "not asked": seal(phone.key, b'{"device": "../../etc", "more": 1}', b"photograph"),
    }
    head = "%%%" if what == "no base64" else as_text(wrong[what])
    status, answer, _ = phone.ask("POST", "/photograph", {"pairing-head": head}, photo())
    assert (status, answer) == (403, b"")
    assert refused(caplog) == ["refused: a wrong code, from 127.0.0.1"]
    assert not visit.photos


def test_a_body_belongs_to_its_head(visit, phone, caplog):
    one, other = (phone.head("photograph", photo=sign * 16, name=NAME) for sign in "ab")
    assert phone.sent("photograph", one, seal(phone.key, photo(), b"body " + other[:NONCE_BYTES]))[0] == 403
    assert refused(caplog) == ["refused: a wrong code, from 127.0.0.1"]
    assert not visit.photos


def test_a_used_code_is_refused(visit, door, phone, caplog):
    assert phone.greet()[0] == 200
    other = Phone(door.address)
    assert other.greet()[0] == 409
    assert other.send(photo())[0] == 409
    assert phone.send(photo())[0] == 200  # the first phone goes on
    assert refused(caplog) == ["refused: a code that was used, from 127.0.0.1"] * 2
    assert len(visit.photos) == 1


def test_a_code_ends_by_itself(visit, caplog):
    caplog.set_level(logging.INFO, "digitise.pairing")
    door = listening.open_door(visit.folder.name, HERE, lifetime_s=0.6)
    phone = Phone(door.address)
    assert phone.greet()[0] == 200
    end = time.monotonic() + 10
    while is_listening(phone):
        assert time.monotonic() < end, "it still listens"
        time.sleep(0.05)
    assert listening.door_of(visit.folder.name) is None
    assert caplog.messages[-1] == "closed; 0 photographs came"


def is_over(ask):
    """Whether a door that was closed refuses: by its answer, or because nothing listens by now."""
    try:
        return ask()[0] == 410
    except ConnectionError:
        return True


def is_listening(phone):
    with socket.socket() as there:
        return there.connect_ex((phone.host, phone.port)) == 0


def test_an_expired_code_is_refused_while_the_door_still_stands(visit, caplog):
    now = [0.0]
    pairing = Pairing(visit.folder.name, clock=lambda: now[0])
    now[0] = 599.0
    assert asked(pairing)[0] == 200
    now[0] = 600.0
    assert asked(pairing)[0] == 410
    assert refused(caplog) == ["refused: a code that has expired, from 127.0.0.1"]


def asked(pairing, peer="127.0.0.1", method="GET", path="/", near=HERE, **headers):
    """Ask the server of a pairing without a socket; return status and body."""
    told = {"host": "127.0.0.1:8781", **headers}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [(name.encode(), value.encode()) for name, value in told.items()],
        "client": (peer, 50_000),
        "server": ("127.0.0.1", 8781),
    }
    sent = []

    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message):
        sent.append(message)

    asyncio.run(application(pairing, near)(scope, receive, send))
    return sent[0]["status"], b"".join(message.get("body", b"") for message in sent[1:])


@pytest.mark.parametrize("peer", ["203.0.113.9", "10.0.0.7", "192.168.2.20", "::1", "", "evil"])
def test_a_foreign_address_is_refused(peer, visit, caplog):
    near = Near(ipaddress.IPv4Address("192.168.1.20"), ipaddress.IPv4Network("192.168.1.0/24"), "wlan0")
    for path in ("/", "/upload.js", "/greeting"):
        assert asked(Pairing(visit.folder.name), peer, path=path, near=near) == (403, b"")
    assert refused(caplog) == [f"refused: a foreign address, from {peer}"] * 3
    assert asked(Pairing(visit.folder.name), "192.168.1.77", near=near)[0] == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Host": "evil.example:{port}", "Origin": "http://evil.example:{port}"},
        {"Host": "127.0.0.1:9"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:{port}"},
    ],
)
def test_other_websites_get_nothing(headers, phone, caplog):
    headers = {name: value.replace("{port}", str(phone.port)) for name, value in headers.items()}
    assert phone.ask("GET", "/", headers)[:2] == (403, b"")
    headers |= {"pairing-head": as_text(phone.head("greeting"))}
    assert phone.ask("POST", "/greeting", headers, b"")[:2] == (403, b"")
    assert set(refused(caplog)) == {"refused: another page or another name of this computer, from 127.0.0.1"}


def test_200_mb_are_refused_before_they_are_read(visit, phone, caplog):
    head = as_text(phone.head("photograph", photo="0" * 16))
    lines = ["POST /photograph HTTP/1.1", *(f"{name}: {value}" for name, value in phone.own.items())]
    lines += [f"pairing-head: {head}", f"Content-Length: {200 * 10**6}", "", ""]
    with socket.create_connection((phone.host, phone.port), timeout=10) as there:
        there.sendall("\r\n".join(lines).encode())
        assert there.recv(100).split()[1] == b"413"
    assert refused(caplog) == ["refused: a file that is too large, from 127.0.0.1"]
    assert not visit.photos


def test_200_mb_of_untold_length_are_cut_short(visit, phone, caplog):
    head = as_text(phone.head("photograph", photo="0" * 16))
    lines = ["POST /photograph HTTP/1.1", *(f"{name}: {value}" for name, value in phone.own.items())]
    lines += [f"pairing-head: {head}", "Transfer-Encoding: chunked", "", ""]
    piece = b"100000\r\n" + bytes(2**20) + b"\r\n"
    sent = 0
    with socket.create_connection((phone.host, phone.port), timeout=10) as there:
        there.sendall("\r\n".join(lines).encode())
        try:
            for _ in range(200):
                there.sendall(piece)
                sent += 1
        except OSError:
            pass
    # 60 MB are read, and what stands in the buffers of both sides is sent besides
    assert sent < 100
    assert refused(caplog) == ["refused: a file that is too large, from 127.0.0.1"]
    assert not visit.photos


def test_nothing_but_uploading_can_be_reached(phone, caplog):
    own = ("/", "/upload.js", "/upload.css", "/noble/chacha.js", "/noble/_arx.js", "/noble/_poly1305.js")
    for path in (*own, "/noble/utils.js"):
        status, _, headers = phone.ask("GET", path)
        assert status == 200
        assert headers["content-security-policy"].startswith("default-src 'none'")
        assert headers["cache-control"] == "no-store"
    for path in (
        *("/visit", "/records", "/_stcore/health", "/_stcore/stream", "/media/x.jpg", "/static/js/index.js"),
        *(
            "/noble/LICENSE",
            "/upload.html",
            "/../server.py",
            "/%2e%2e/server.py",
            "/noble/../../server.py",
            "/docs",
        ),
        *("/photograph", "/greeting"),
    ):
        assert phone.ask("GET", path)[:2] == (404, b""), path
    for method in ("PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"):
        assert phone.ask(method, "/photograph")[0] == 404
    assert phone.ask("POST", "/")[0] == 404
    assert set(refused(caplog)) == {"refused: nothing is at that place, from 127.0.0.1"}


def test_what_is_no_photograph_is_told_to_the_phone(visit, phone, caplog):
    status, answer = phone.send(b"%PDF-1.7 no picture", "letter.jpg")
    assert status == 422
    assert "letter.jpg" not in answer["said"]
    assert answer["said"].count(".") >= 1
    for number in range(drafts.MOST_PHOTOS):
        assert phone.send(photo(number))[0] == 200
    status, answer = phone.send(photo(99))
    assert (status, answer["said"]) == (422, text.TOO_MANY_PHOTOS)
    assert len(visit.photos) == drafts.MOST_PHOTOS
    assert refused(caplog) == ["refused: a file that cannot be used, from 127.0.0.1"] * 2


def test_a_disk_that_takes_nothing_is_told_to_the_phone(visit, phone, caplog, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device", str(visit.folder))

    monkeypatch.setattr(drafts.Draft, "_write", full)
    status, answer = phone.send(photo())
    assert (status, answer["said"]) == (507, text.UPLOAD_NOT_KEPT)
    assert refused(caplog) == ["refused: a file that this computer's disk did not take, from 127.0.0.1"]
    assert visit.folder.name not in caplog.text
    monkeypatch.undo()
    assert not visit.photos


@pytest.mark.parametrize("change", [{"saved": 3}, {"cleared": True}])
def test_a_visit_that_is_done_takes_nothing(change, visit, phone, caplog):
    assert phone.greet()[0] == 200
    visit.write(Inputs(client=CLIENT, **change))
    assert phone.send(photo())[0] == 410
    assert refused(caplog) == ["refused: a visit that is not open any more, from 127.0.0.1"]
    assert not visit.photos


def test_the_log_holds_nothing_of_a_client(visit, door, phone, caplog):
    assert phone.send(photo(), NAME)[0] == 200
    phone.send(b"no picture", NAME)
    Phone(door.address).send(photo(), NAME)
    phone.ask("POST", "/photograph", {"pairing-head": "x"}, b"")
    for _ in range(100):  # a flood
        phone.ask("GET", f"/{CLIENT}")
    listening.close_door(visit.folder.name)
    assert len(refused(caplog)) == 51
    for secret in (CLIENT, NAME, "Maria", visit.folder.name, phone.address.split("#")[1], phone.device):
        assert secret not in caplog.text


def test_photographs_from_page_and_phone_at_once_keep_apart(visit, phone):
    seen = [photo(number) for number in range(6)]
    page = threading.Thread(target=lambda: [visit.add_photo(data, "page.jpg") for data in seen[:3]])
    page.start()
    for data in seen[3:]:
        assert phone.send(data)[0] == 200
    page.join()
    assert len({path.read_bytes() for path in visit.photos}) == 6


def test_doors_of_two_visits_stand_apart(home, visit, door, phone):
    other = drafts.Draft(drafts.drafts_folder() / drafts.new_token())
    other.write(Inputs(client="K-2"))
    second = listening.open_door(other.folder.name, HERE)
    try:
        assert Phone(second.address).send(photo())[0] == 200
        crossed = Phone(door.address.split("#")[0] + "#" + second.address.split("#")[1])
        assert crossed.send(photo())[0] == 403
    finally:
        listening.close_door(other.folder.name)
    assert (len(visit.photos), len(other.photos)) == (0, 1)
    assert phone.send(photo())[0] == 200


def test_forgetting_a_client_closes_the_door(visit, door, phone):
    assert phone.send(photo())[0] == 200
    sample.forgotten(CLIENT)
    assert not visit.folder.exists()
    assert listening.door_of(visit.folder.name) is None
    assert is_over(lambda: phone.send(photo(2)))
    assert not visit.folder.exists()


def test_a_new_code_ends_the_old_one(visit, door, phone):
    again = listening.open_door(visit.folder.name, HERE)
    assert again.address.split("#")[1] != door.address.split("#")[1]
    assert Phone(again.address).greet()[0] == 200
    assert not door.pairing.left_s


@given(st.binary(max_size=300), st.binary(max_size=30), st.data())
def test_what_is_sealed_opens_only_as_it_was(plain, about, data):
    key = new_key()
    sealed = seal(key, plain, about)
    assert unseal(key, sealed, about) == plain
    at = data.draw(st.integers(0, len(sealed) - 1))
    bit = data.draw(st.integers(0, 7))
    changed = sealed[:at] + bytes([sealed[at] ^ 1 << bit]) + sealed[at + 1 :]
    assert unseal(key, changed, about) is None
    assert unseal(key, sealed, about + b"x") is None
    assert unseal(key, sealed[:at], about) is None
    assert from_text(as_text(sealed)) == sealed


@given(st.text(max_size=60))
def test_any_text_is_bytes_or_nothing(words):
    found = from_text(words)
    assert found is None or isinstance(found, bytes)


def test_own_networks_are_private_and_up(monkeypatch):
    class Address:
        def __init__(self, address, netmask, family=socket.AF_INET):
            self.address, self.netmask, self.family = address, netmask, family

    class State:
        def __init__(self, isup):
            self.isup = isup

    there = {
        "lo": [Address("127.0.0.1", "255.0.0.0")],
        "wlan0": [Address("192.168.7.20", "255.255.254.0"), Address("fe80::1", None, socket.AF_INET6)],
        "eth0": [Address("10.1.2.3", "255.0.0.0")],
        "ppp0": [Address("93.184.216.34", "255.255.255.0")],
        "off": [Address("192.168.9.9", "255.255.255.0")],
    }
    monkeypatch.setattr(networks.psutil, "net_if_addrs", lambda: there)
    monkeypatch.setattr(
        networks.psutil, "net_if_stats", lambda: {name: State(name != "off") for name in there}
    )
    found = {str(near.address): near for near in networks.own_networks()}
    assert set(found) == {"192.168.7.20", "10.1.2.3"}
    # a /23 reaches from 192.168.6.0 to 192.168.7.255
    near = found["192.168.7.20"]
    assert [near.holds(peer) for peer in ("192.168.6.1", "192.168.7.255", "192.168.8.1")] == [
        True,
        True,
        False,
    ]


def pressed(test, label):
    next(button for button in test.button if button.label == label).click().run()
    return test


@pytest.fixture
def near(home, monkeypatch):
    """The page on a computer with one network: this computer alone."""
    monkeypatch.setattr(component, "own_networks", lambda: (HERE,))


def test_the_page_opens_a_door_when_asked_and_shows_what_comes(near):
    test = page("visit")
    name = test.session_state["draft_token"]
    assert listening.door_of(name) is None  # off by default
    pressed(test, text.PAIR)
    door = listening.door_of(name)
    assert text.PAIR_WHAT in words(test)
    assert "Ends by itself in" in words(test)
    phone = Phone(door.address)
    assert phone.send(photo(), "IMG_0042.jpg")[0] == 200
    test.run()
    assert text.PAIR_CLAIMED in words(test)
    assert text.PAIR_CAME_ONE in words(test)
    assert "IMG_0042.jpg" in words(test)
    # an old photograph dates the visit, as one that is chosen on the page does
    assert test.text_input(key=f"visit-{name}-day").value == "2026-03-02"
    pressed(test, text.PAIR_END)
    assert listening.door_of(name) is None
    assert is_over(phone.greet)
    assert text.PAIR_AGAIN in [button.label for button in test.button]


def test_another_visit_in_the_same_tab_closes_the_door(near):
    test = pressed(page("visit"), text.PAIR)
    name = test.session_state["draft_token"]
    assert Phone(listening.door_of(name).address).send(photo())[0] == 200
    test.run()
    pressed(test, text.START_OVER)
    assert test.session_state["draft_token"] != name
    assert listening.door_of(name) is None


def test_the_page_can_be_started_with_the_code_or_without_the_way(near, monkeypatch):
    monkeypatch.setattr(component, "_wanted_at_once", [True])
    test = page("visit")
    name = test.session_state["draft_token"]
    assert listening.door_of(name) is not None
    listening.close_door(name)
    assert listening.door_of(page("visit").session_state["draft_token"]) is None  # once
    monkeypatch.setenv(component.VARIABLE, "0")
    assert text.PAIR not in [button.label for button in page("visit").button]


def test_several_networks_are_chosen_from_and_none_is_told(home, monkeypatch):
    other = Near(ipaddress.IPv4Address("127.0.0.2"), ipaddress.IPv4Network("127.0.0.0/8"), "lo")
    monkeypatch.setattr(component, "own_networks", lambda: (HERE, other))
    test = page("visit")
    next(box for box in test.selectbox if box.label == text.PAIR_NETWORK).select(other).run()
    pressed(test, text.PAIR)
    name = test.session_state["draft_token"]
    assert listening.door_of(name).address.startswith("http://127.0.0.2:")
    listening.close_door(name)
    monkeypatch.setattr(component, "own_networks", lambda: ())
    test = pressed(page("visit"), text.PAIR)
    assert text.PAIR_NO_NETWORK in words(test)
    assert "cable" in words(test)


def test_the_code_is_read_by_another_reader(near):
    address = "http://192.168.100.200:8781/#" + as_text(new_key())
    drawn = segno.make(address, error="m", micro=False)
    file = io.BytesIO()
    drawn.save(file, kind="png", scale=5, border=4)
    picture = cv2.imdecode(np.frombuffer(file.getvalue(), np.uint8), cv2.IMREAD_GRAYSCALE)
    # one reader finds no code at all in some 2 of 100 drawings (keys are random) that the other reads
    readers = (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco())
    assert {reader.detectAndDecode(picture)[0] for reader in readers} - {""} == {address}
    assert drawn.svg_data_uri(scale=5, border=4, dark="#000", light="#fff") in html.unescape(
        component._code(address)
    )


CIPHER = {
    "_arx.js": "ead142ba410404c0698bb80e0d6f77780799bb77a9e3b098cf0f9fca1c486e37",
    "_poly1305.js": "5d2afd73b40dbafb7b6740c6e6388e7123c79a4e57306861b28c5734925fa84d",
    "chacha.js": "5f1c00575e227b75163f4bac50b79442dec50ee3047c46c18887808ba8af0a69",
    "utils.js": "a443ec1f60d1aaa25d1b7d8c102d33c0e8e6d683ada1ad17be9c32e69170ff95",
}


def test_the_cipher_that_the_phone_loads_is_the_published_one():
    """SHA-256 of the files of @noble/ciphers 2.4.0 as the npm registry gives them."""
    folder = ROOT / "ui/pairing/static/noble"
    found = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("*.js")}
    assert found == CIPHER
    assert "MIT License" in (folder / "LICENSE").read_text()
