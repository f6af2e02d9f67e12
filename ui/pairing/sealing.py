"""Messages between phone and computer, sealed: nobody on the network between reads or changes them.

ChaCha20-Poly1305 (RFC 8439) with a random nonce for each message.  What a message is about is sealed with
it, so that none can stand for another: a head is not a body, and an answer answers one head alone.
"""

from __future__ import annotations

import base64
import binascii
import secrets

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

KEY_BYTES, NONCE_BYTES, TAG_BYTES = 32, 12, 16
_FORM = b"digitise-pairing/1 "


def new_key() -> bytes:
    """Return a key that nobody can guess: 32 random bytes."""
    return secrets.token_bytes(KEY_BYTES)


def as_text(data: bytes) -> str:
    """Return bytes as they stand in an address or a header: base64 with ``-`` and ``_``, without padding."""
    return base64.urlsafe_b64encode(data).decode("ascii").rstrip("=")


def from_text(text: str) -> bytes | None:
    """Return the bytes that :func:`as_text` wrote; None when it is no such text."""
    try:
        # the decoder passes over signs that are no base64
        data = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        return None
    return data


def seal(key: bytes, plain: bytes, about: bytes) -> bytes:
    """Return a nonce and the sealed message.

    Parameters
    ----------
    key
        32 bytes that both sides know.
    plain
        The message.
    about
        What it is: sealed with it, not in it.
    """
    nonce = secrets.token_bytes(NONCE_BYTES)
    return nonce + ChaCha20Poly1305(key).encrypt(nonce, plain, _FORM + about)


def unseal(key: bytes, sealed: bytes, about: bytes) -> bytes | None:
    """Return the message; None when it was sealed with another key, about something else, or changed."""
    if len(sealed) < NONCE_BYTES + TAG_BYTES:
        return None
    try:
        return ChaCha20Poly1305(key).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], _FORM + about)
    except InvalidTag:
        return None
