"""A push service (RFC 8030) and a phone that subscribed there, for tests."""

import base64
import json
import os
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer

import http_ece
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

CURVE = ec.SECP256R1()
A_DAY = 24 * 3600


def encoded(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def decoded(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


@dataclass
class Subscription:
    """What a browser makes: a key pair and a secret of its own, and where it is reached."""

    endpoint: str
    private: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(CURVE)
    )
    auth: bytes = field(default_factory=lambda: os.urandom(16))

    def said(self) -> dict:
        point = self.private.public_key().public_bytes(
            Encoding.X962, PublicFormat.UncompressedPoint
        )
        return {"endpoint": self.endpoint, "p256dh": encoded(point), "auth": encoded(self.auth)}

    def read(self, body: bytes) -> dict:
        """Decrypted by RFC 8291; fails where it was meant for another phone."""
        return json.loads(
            http_ece.decrypt(
                body, private_key=self.private, auth_secret=self.auth, version="aes128gcm"
            )
        )


@dataclass
class Service:
    """Answers ``status`` to what is right, 4xx to what the standards forbid, and keeps it."""

    address: str = ""
    status: int = 201
    key: str = ""  # of the sender, as the subscription was made for
    came: list = field(default_factory=list)
    refused: list = field(default_factory=list)

    def subscription(self, name="one") -> Subscription:
        return Subscription(f"{self.address}/{name}")

    def problem(self, headers) -> str:
        """By RFC 8292 (who sends) and RFC 8030 (TTL, topic); empty where all is right."""
        scheme, _, rest = headers.get("Authorization", "").partition(" ")
        parts = dict(part.strip().split("=", 1) for part in rest.split(",") if "=" in part)
        if scheme != "vapid" or set(parts) != {"t", "k"}:
            return "no vapid"
        if parts["k"] != self.key:
            return "another sender"
        signed, _, signature = parts["t"].rpartition(".")
        head, claims = (json.loads(decoded(part)) for part in signed.split("."))
        raw = decoded(signature)
        whole = (int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
        public = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, decoded(parts["k"]))
        public.verify(encode_dss_signature(*whole), signed.encode(), ec.ECDSA(SHA256()))
        if head.get("alg") != "ES256" or claims["aud"] != self.address:
            return "not for here"
        if not time.time() < claims["exp"] <= time.time() + A_DAY:
            return "for too long"
        if not claims["sub"].startswith(("mailto:", "https://")):
            return "nobody to turn to"
        if not headers.get("TTL", "").isdigit() or headers.get("Content-Encoding") != "aes128gcm":
            return "no time or no encryption"
        return "" if len(headers.get("Topic", "")) <= 32 else "topic too long"


@contextmanager
def serving():
    service = Service()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            try:
                problem = service.problem(self.headers)
            except Exception as error:
                problem = repr(error)
            if problem:
                service.refused.append(problem)
            else:
                said = {name.lower(): value for name, value in self.headers.items()}
                service.came.append((self.path, said, body))
            self.send_response(403 if problem else service.status)
            if service.status == 307:
                self.send_header("Location", f"{service.address}/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    service.address = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, args=[0.05], daemon=True)
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)
