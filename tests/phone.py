"""A phone that speaks to an upload page as its script does, with or without the right key."""

import http.client
import json
import secrets
from dataclasses import dataclass, field

from ui.pairing.sealing import NONCE_BYTES, as_text, from_text, seal, unseal


@dataclass
class Phone:
    """A phone that scanned a code."""

    address: str
    device: str = field(default_factory=lambda: secrets.token_hex(16))

    def __post_init__(self):
        place, self.key = self.address.removeprefix("http://").split("/#")
        self.key = from_text(self.key)
        self.host, self.port = place.split(":")[0], int(place.split(":")[1])

    @property
    def own(self):
        return {"Host": f"{self.host}:{self.port}", "Origin": f"http://{self.host}:{self.port}"}

    def head(self, place, **says):
        plain = json.dumps({"device": self.device, **says}).encode()
        return seal(self.key, plain, place.encode())

    def ask(self, method, path, headers=None, body=None):
        there = http.client.HTTPConnection(self.host, self.port, timeout=10)
        try:
            there.request(method, path, body=body, headers={**self.own, **(headers or {})})
            answer = there.getresponse()
            return answer.status, answer.read(), dict(answer.getheaders())
        finally:
            there.close()

    def greet(self):
        return self.sent("greeting", self.head("greeting"), b"")

    def send(self, data, name="IMG_0001.jpg", photo=None):
        head = self.head("photograph", photo=photo or secrets.token_hex(8), name=name)
        return self.sent("photograph", head, seal(self.key, data, b"body " + head[:NONCE_BYTES]))

    def sent(self, place, head, body):
        """Send a message; return the status and what the sealed answer says, None when it says nothing."""
        status, answer, _ = self.ask("POST", f"/{place}", {"pairing-head": as_text(head)}, body)
        plain = unseal(self.key, answer, b"answer " + head[:NONCE_BYTES])
        return status, None if plain is None else json.loads(plain)
