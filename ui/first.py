"""The style that decides where things stand is in the page before the page's library draws anything.

Else the library draws a narrow page first, the style arrives with the page's own parts, and all jumps.
"""

from __future__ import annotations

from pathlib import Path

from ui.origin import Application, Message, Receive, Scope, Send

_STYLE = (Path(__file__).with_name("first.css")).read_text(encoding="utf-8")
_END = b"</head>"
# what would let the server answer with less than the whole page, or with its bytes in another form
_SHORTER = (b"if-none-match", b"if-modified-since", b"range", b"accept-encoding")
_OF_OLD_BYTES = (b"content-length", b"etag", b"last-modified", b"accept-ranges")


class StyleFirst:
    """Puts the first style into each page that is served; an ASGI middleware.

    Parameters
    ----------
    app
        The server behind it.
    """

    def __init__(self, app: Application) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; the answer gets the style when it is a page."""
        if not _may_be_page(scope):
            await self._app(scope, receive, send)
            return
        asked = [pair for pair in scope["headers"] if pair[0].lower() not in _SHORTER]
        await self._app({**scope, "headers": asked}, receive, _with_style(send))


def _may_be_page(scope: Scope) -> bool:
    """Tell whether a request can be for a page: these have addresses without an ending."""
    if scope["type"] != "http" or scope["method"] != "GET":
        return False
    return "." not in scope["path"].rpartition("/")[2] and not scope["path"].startswith("/_stcore/")


def _with_style(send: Send) -> Send:
    start: list[Message] = []
    body = bytearray()

    async def send_styled(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = [(bytes(name).lower(), bytes(value)) for name, value in message.get("headers", ())]
            if dict(headers).get(b"content-type", b"").startswith(b"text/html"):
                start.append({**message, "headers": headers})
                return
        if not start or message["type"] != "http.response.body":
            await send(message)
            return
        body.extend(message.get("body", b""))
        if not message.get("more_body"):
            styled = bytes(body).replace(_END, f"<style>{_STYLE}</style>".encode() + _END, 1)
            kept = [pair for pair in start[0]["headers"] if pair[0] not in _OF_OLD_BYTES]
            length = (b"content-length", str(len(styled)).encode())
            await send({**start[0], "headers": [*kept, length]})
            await send({"type": "http.response.body", "body": styled})

    return send_styled
