"""What a phone can reach: the upload page, a greeting, and a place for photographs; no Streamlit here.

Each message has a head of a few hundred bytes, sealed, in a header.  It is opened before anything of the body
is read, so that whoever does not know the key can make this computer keep nothing.
"""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from string import Template

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route

from digitise.capture.photo.photograph import LARGEST_FILE
from digitise.words import speaking
from ui.origin import Application, Receive, Scope, Send, is_own
from ui.pairing.networks import Near
from ui.pairing.sealing import NONCE_BYTES, TAG_BYTES, from_text, seal, unseal
from ui.pairing.session import Pairing, Refusal, RefusedError
from ui.spoken import text

HEAD = "pairing-head"
_STATIC = Path(__file__).with_name("static")
_KINDS = {".html": "text/html", ".js": "text/javascript", ".css": "text/css"}
_FILES = (
    "upload.js",
    "upload.css",
    *(f"noble/{name}.js" for name in ("chacha", "_arx", "_poly1305", "utils")),
)
_LONGEST_HEAD = 2_000
_LONGEST_BODY = LARGEST_FILE + NONCE_BYTES + TAG_BYTES
_PATIENCE_S = 120.0
_AT_ONCE = 2
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "cache-control": "no-store",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cross-origin-resource-policy": "same-origin",
}
# what is refused is not read to its end
_LAST = {**_HEADERS, "connection": "close"}


class Head(BaseModel):
    """What a phone says of itself and of the photograph that follows."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    device: str = Field(pattern=r"^[0-9a-f]{32}$")
    photo: str = Field(default="", pattern=r"^([0-9a-f]{16})?$")
    name: str = Field(default="", max_length=200)


def application(pairing: Pairing, near: Near) -> Application:
    """Return the server of one pairing, which answers members of one network alone."""
    turns = asyncio.Semaphore(_AT_ONCE)

    async def page(_: Request) -> Response:
        return _answer(upload_page(pairing.language), ".html")

    async def file(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _FILES:
            raise RefusedError(Refusal.UNKNOWN)
        return _answer((_STATIC / name).read_text(encoding="utf-8"), Path(name).suffix)

    async def greeting(request: Request) -> Response:
        head, nonce = _opened_head(pairing, request, "greeting")
        try:
            pairing.admit(head.device)
        except RefusedError as error:
            return _refused(pairing, request, error, nonce)
        return _told(pairing, nonce, 200)

    async def photograph(request: Request) -> Response:
        head, nonce = _opened_head(pairing, request, "photograph")
        try:
            async with asyncio.timeout(_PATIENCE_S), turns:
                # read whatever is decided: a browser that is still sending hears no answer
                sealed = await _body(request)
                pairing.admit(head.device)
                data = unseal(pairing.key, sealed, b"body " + nonce)
                if data is None or not head.photo:
                    raise RefusedError(Refusal.WRONG_CODE)
                await run_in_threadpool(pairing.take, head.photo, head.name, data)
        except TimeoutError:
            return _refused(pairing, request, RefusedError(Refusal.TOO_SLOW), nonce)
        except RefusedError as error:
            return _refused(pairing, request, error, nonce)
        return _told(pairing, nonce, 200)

    async def refuse(request: Request, error: Exception) -> Response:
        known = error if isinstance(error, RefusedError) else RefusedError(Refusal.UNKNOWN)
        return _refused(pairing, request, known)

    routes = [
        Route("/", page),
        Route("/greeting", greeting, methods=["POST"]),
        Route("/photograph", photograph, methods=["POST"]),
        Route("/{name:path}", file),
    ]
    handlers = {RefusedError: refuse, 404: refuse, 405: refuse}
    return NearOnly(Starlette(routes=routes, exception_handlers=handlers), pairing, near)


@dataclass(frozen=True)
class NearOnly:
    """Answers the members of one network, under the address that they reach, while the time lasts.

    Attributes
    ----------
    app
        The server behind it.
    pairing
        The door that it serves.
    near
        The network.
    """

    app: Application
    pairing: Pairing
    near: Near

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or refuse it."""
        refusal = self._refusal(scope) if scope["type"] == "http" else None
        if refusal is None:
            with speaking(self.pairing.language):
                await self.app(scope, receive, send)
            return
        self.pairing.note(refusal, _peer(scope))
        await _silent(refusal)(scope, receive, send)

    def _refusal(self, scope: Scope) -> Refusal | None:
        if not self.near.holds(_peer(scope)):
            return Refusal.FOREIGN
        if not is_own(scope):
            return Refusal.OTHER_PAGE
        return None if self.pairing.left_s else Refusal.EXPIRED


@cache
def upload_page(spoken: str) -> str:
    """Return the upload page with its words in a language."""
    page = Template((_STATIC / "upload.html").read_text(encoding="utf-8"))
    with speaking(spoken):
        words, said = {**text.UPLOAD_WORDS, "largest": LARGEST_FILE}, text.UPLOAD_PAGE
    # no "<" may end the element that the words stand in
    return page.substitute(said, language=spoken, words=json.dumps(words).replace("<", "\\u003c"))


def _peer(scope: Scope) -> str:
    client = scope.get("client")
    return str(client[0]) if client else ""


def _opened_head(pairing: Pairing, request: Request, about: str) -> tuple[Head, bytes]:
    """Return what a message says of itself, and the nonce that names it."""
    sealed = from_text(request.headers.get(HEAD, "")[:_LONGEST_HEAD])
    plain = None if sealed is None else unseal(pairing.key, sealed, about.encode())
    if sealed is None or plain is None:
        raise RefusedError(Refusal.WRONG_CODE)
    try:
        return Head.model_validate_json(plain), sealed[:NONCE_BYTES]
    except ValidationError as error:
        raise RefusedError(Refusal.WRONG_CODE) from error


async def _body(request: Request) -> bytes:
    """Return the body of a request, or refuse it as soon as it is known to be too large."""
    told = request.headers.get("content-length", "0")
    if not told.isdecimal() or int(told) > _LONGEST_BODY:
        raise RefusedError(Refusal.TOO_LARGE)
    body = bytearray()
    try:
        async for piece in request.stream():
            body += piece
            if len(body) > _LONGEST_BODY:
                raise RefusedError(Refusal.TOO_LARGE)
    except ClientDisconnect as error:
        raise RefusedError(Refusal.TOO_SLOW) from error
    return bytes(body)


def _refused(pairing: Pairing, request: Request, error: RefusedError, nonce: bytes | None = None) -> Response:
    """Write a refusal to the log and answer it; what is said is sealed, where the asker has the key."""
    pairing.note(error.refusal, _peer(request.scope))
    if nonce is None:
        return _silent(error.refusal)
    return _told(pairing, nonce, error.refusal.status, error.said)


def _told(pairing: Pairing, nonce: bytes, status: int, said: str = "") -> Response:
    """Return a sealed answer to the message of that nonce."""
    plain = json.dumps({"left_s": round(pairing.left_s), "came": len(pairing.arrived), "said": said}).encode()
    sealed = seal(pairing.key, plain, b"answer " + nonce)
    headers = _HEADERS if status == 200 else _LAST
    return Response(sealed, status, headers, "application/octet-stream")


def _silent(refusal: Refusal) -> Response:
    return Response(status_code=refusal.status, headers=_LAST)


def _answer(content: str, suffix: str) -> Response:
    return Response(content, 200, _HEADERS, _KINDS[suffix])
