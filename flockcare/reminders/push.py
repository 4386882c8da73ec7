"""Notices to phones by Web Push: RFC 8030, encrypted by RFC 8291, signed by RFC 8292 (VAPID).

The keys of this installation are made once and lie in the data folder, for its user alone. The
push service that a phone names is a stranger's address: it is asked by HTTPS, in the public
internet only, and is not followed anywhere else.
"""

from __future__ import annotations

import base64
import ipaddress
import json
import logging
import os
import re
import socket
import tempfile
from enum import Enum
from pathlib import Path
from urllib.parse import urlsplit

import requests
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from django.conf import settings
from py_vapid import Vapid
from pywebpush import WebPushException, webpush

from flockcare.reminders.models import Phone

logger = logging.getLogger(__name__)

KEY_FILE = "push-key.pem"
TIMEOUT_SECONDS = 10
# How long the push service keeps it for a phone that is off; then the evening is over.
KEEP_SECONDS = 4 * 3600
GONE = (404, 410)  # RFC 8030, 7.3: the subscription has ended.
CONTACT = "mailto:flockcare@localhost"


class Outcome(Enum):
    SENT, GONE, FAILED = range(3)


def _key() -> Vapid:
    path = Path(settings.DATA_DIR) / KEY_FILE
    if not path.exists():
        _make_key(path)
    return Vapid.from_file(str(path))


def _make_key(path: Path) -> None:
    """Linked into its place when it is whole: of two processes the first one's is taken by both."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    made = Vapid()
    made.generate_keys()
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{KEY_FILE}-")  # 0600
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(made.private_pem())
        os.link(name, path)
    except FileExistsError:
        pass
    finally:
        Path(name).unlink()


def public_key() -> str:
    """For ``applicationServerKey``: the uncompressed point, base64url without padding."""
    point = _key().public_key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return base64.urlsafe_b64encode(point).rstrip(b"=").decode()


def is_public(endpoint: str) -> bool:
    """Whether it is HTTPS, in the public internet alone. OSError: no address of it is found."""
    try:
        url = urlsplit(endpoint)
        port = url.port
    except ValueError:
        return False
    if url.scheme != "https" or not url.hostname or port not in (None, 443) or url.username:
        return False
    found = socket.getaddrinfo(url.hostname, 443, type=socket.SOCK_STREAM)
    return all(ipaddress.ip_address(address[0]).is_global for *_, address in found)


def send(phone: Phone, *, words: str, url: str, topic: str, site: str) -> Outcome:
    """``topic``: what a newer notice takes the place of, at most 32 letters of base64url."""
    with requests.Session() as session:
        session.max_redirects = 0
        try:
            if not is_public(phone.endpoint):
                return Outcome.GONE
            webpush(
                {
                    "endpoint": phone.endpoint,
                    "keys": {"p256dh": phone.p256dh, "auth": phone.auth},
                },
                data=json.dumps({"body": words, "url": url, "tag": topic}),
                vapid_private_key=_key(),
                vapid_claims={"sub": _contact(site)},
                ttl=KEEP_SECONDS,
                headers={"Topic": topic, "Urgency": "normal"},
                timeout=TIMEOUT_SECONDS,
                requests_session=session,
            )
        except WebPushException as problem:
            status = getattr(problem.response, "status_code", None)
            if status in GONE:
                return Outcome.GONE
            logger.warning("The push service of %s answered %s", phone, status)
            return Outcome.FAILED
        except OSError as problem:  # Also those of requests.
            logger.warning("No push to %s: %s", phone, type(problem).__name__)
            return Outcome.FAILED
    return Outcome.SENT


def _contact(site: str) -> str:
    """Whom a push service may turn to (RFC 8292, 2.1)."""
    if settings.MAIL:
        return f"mailto:{settings.DEFAULT_FROM_EMAIL}"
    host = urlsplit(site).hostname or ""
    return f"https://{host}" if re.fullmatch(r"[\w-]+(\.[\w-]+)+", host) else CONTACT
