"""Who may ask the server: pages that it served itself, under an address of this machine; no Streamlit here.

A page of another website can send requests to this machine, and with a name of its own that it lets point
here ("rebinding") it could even read the answers.  Its browser tells in three places where it comes from:
``Host``, ``Origin`` and ``Sec-Fetch-Site``.  All are looked at before anything else of a request, for pages,
sockets, uploads and media alike, and nothing is looked up elsewhere.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

_LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
_HARMLESS = ("GET", "HEAD", "OPTIONS")
# what other than a person's own browser window may never show or load; scripts and styles of the page's
# library are partly written into the page, and its charts make functions of text
_POLICY = (
    "default-src 'self' data: blob: 'unsafe-inline' 'unsafe-eval'; "
    "connect-src 'self' data: blob: {socket}; object-src 'none'; base-uri 'self'; form-action 'self'; "
    "frame-ancestors 'none'"
)
_ANSWER = b"This page is opened at the address that digitise ui tells, and not from another page.\n"


class OwnPagesOnly:
    """Answers 403 to every request that does not come from a page of this server; an ASGI middleware.

    A socket is refused before it is accepted.

    Parameters
    ----------
    app
        The server behind it.
    proxy
        Origin under which a proxy of the clinic shows the page, such as ``https://limbs.example``; empty
        without one.
    """

    def __init__(self, app: Application, proxy: str = "") -> None:
        self._app, self._proxy = app, proxy.lower().rstrip("/")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif not is_own(scope, self._proxy):
            await _refuse(scope, receive, send)
        else:
            await self._app(scope, receive, _with_policy(send, _origin_of(scope["headers"], self._proxy)))


def is_own(scope: Mapping[str, Any], proxy: str = "") -> bool:
    """Tell whether a request comes from a page of this server, or from a person who typed its address.

    Parameters
    ----------
    scope
        The connection as ASGI describes it (version 3): ``type``, ``method``, ``headers``, and ``server``,
        the address and port of this machine that was reached.
    proxy
        As for :class:`OwnPagesOnly`.
    """
    headers = scope["headers"]
    host, origin = _only(headers, b"host"), _only(headers, b"origin")
    shown = proxy.partition("://")[2]
    if host is None or host.lower() not in _own_hosts(scope.get("server")) | ({shown} if shown else set()):
        return False
    socket = scope["type"] == "websocket"
    if origin is None:
        # a browser names the origin of every socket and of every request that changes something
        return not socket and scope["method"] in _HARMLESS and _is_near(headers, scope["method"])
    return origin.lower() == _origin_of(headers, proxy)


def _origin_of(headers: Iterable[tuple[bytes, bytes]], proxy: str) -> str:
    """Return the origin of the page that a request to this host belongs to."""
    host = (_only(headers, b"host") or "").lower()
    return proxy if host == proxy.partition("://")[2] else f"http://{host}"


def _own_hosts(server: tuple[str, int | None] | None) -> set[str]:
    """Return what ``Host`` may say: a loopback name, or the very address that was reached, with its port."""
    if server is None or server[1] is None:
        return set()
    names = {*_LOOPBACK, *_literal(server[0])}
    default = {f"{name}" for name in names} if server[1] == 80 else set()
    return {f"{name}:{server[1]}" for name in names} | default


def _literal(address: str) -> Iterable[str]:
    try:
        found = ipaddress.ip_address(address.split("%", maxsplit=1)[0])
    except ValueError:
        return
    mapped = getattr(found, "ipv4_mapped", None)
    yield str(mapped or found) if mapped or found.version == 4 else f"[{found}]"


def _is_near(headers: Iterable[tuple[bytes, bytes]], method: str) -> bool:
    """Tell whether nothing says that another website asks, save a link that a person followed here."""
    site = _only(headers, b"sec-fetch-site", "none")
    if site in ("none", "same-origin"):
        return True
    followed = _only(headers, b"sec-fetch-mode"), _only(headers, b"sec-fetch-dest")
    return site is not None and method == "GET" and followed == ("navigate", "document")


def _only(headers: Iterable[tuple[bytes, bytes]], name: bytes, absent: str | None = None) -> str | None:
    """Return a header; ``absent`` without it, and what equals nothing when it is given twice."""
    found = [value for key, value in headers if key.lower() == name]
    if not found:
        return absent
    return found[0].decode("latin-1") if len(found) == 1 else "\0"


def _with_policy(send: Send, origin: str) -> Send:
    socket = f"ws{origin.removeprefix('http')}"  # https becomes wss
    own = (
        (b"content-security-policy", _POLICY.format(socket=socket).encode("latin-1")),
        (b"x-frame-options", b"DENY"),
        (b"cross-origin-resource-policy", b"same-origin"),
        (b"referrer-policy", b"no-referrer"),
        (b"x-content-type-options", b"nosniff"),
    )
    names = {name for name, _ in own}

    async def send_with(message: Message) -> None:
        if message["type"] == "http.response.start":
            given = [pair for pair in message.get("headers", ()) if bytes(pair[0]).lower() not in names]
            message["headers"] = [*given, *own]
        await send(message)

    return send_with


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})  # before it is accepted: answered with 403
        return
    await send(
        {
            "type": "http.response.start",
            "status": 403,
            "headers": [
                (b"content-type", b"text/plain; charset=utf-8"),
                (b"content-length", str(len(_ANSWER)).encode()),
                (b"x-frame-options", b"DENY"),
                (b"cross-origin-resource-policy", b"same-origin"),
            ],
        }
    )
    await send({"type": "http.response.body", "body": _ANSWER})
