"""A device that makes and shows passkeys, in so far as WebAuthn Level 2 has it: for answers no browser would give."""

import hashlib
import json
from dataclasses import dataclass, field
from secrets import token_bytes
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from webauthn.helpers import bytes_to_base64url, encode_cbor

PRESENT, VERIFIED, MADE = 0x01, 0x04, 0x40  # flags of authenticator data (6.1)


@dataclass
class Device:
    """`origin` and `host` are what its browser believes to be at; `flags` what it says it looked at."""

    origin: str
    host: str
    flags: int = PRESENT | VERIFIED
    uses: int = 0
    credential_id: bytes = field(default_factory=lambda: token_bytes(32))
    key: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )

    def make(self, options: dict[str, Any]) -> str:
        """The answer to being asked for a new passkey."""
        numbers = self.key.public_key().public_numbers()
        public = {1: 2, 3: -7, -1: 1, -2: numbers.x.to_bytes(32, "big"),
                  -3: numbers.y.to_bytes(32, "big")}  # fmt: skip
        length = len(self.credential_id).to_bytes(2, "big")
        made = bytes(16) + length + self.credential_id + encode_cbor(public)
        data = self._data(MADE) + made
        attested = encode_cbor({"fmt": "none", "attStmt": {}, "authData": data})
        told = self._told("webauthn.create", options["challenge"])
        return self._answer({"clientDataJSON": told, "attestationObject": attested})

    def show(self, options: dict[str, Any]) -> str:
        """The answer to being asked to show it."""
        self.uses += 1
        data, told = self._data(), self._told("webauthn.get", options["challenge"])
        signed = self.key.sign(data + hashlib.sha256(told).digest(), ec.ECDSA(SHA256()))
        answer = {"clientDataJSON": told, "authenticatorData": data, "signature": signed}
        return self._answer(answer)

    def _data(self, more: int = 0) -> bytes:
        host = hashlib.sha256(self.host.encode()).digest()
        return host + bytes([self.flags | more]) + self.uses.to_bytes(4, "big")

    def _told(self, kind: str, challenge: str) -> bytes:
        return json.dumps({"type": kind, "challenge": challenge, "origin": self.origin}).encode()

    def _answer(self, response: dict[str, bytes]) -> str:
        named = bytes_to_base64url(self.credential_id)
        told = {name: bytes_to_base64url(value) for name, value in response.items()}
        return json.dumps({"id": named, "rawId": named, "type": "public-key", "response": told})
