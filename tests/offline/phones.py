"""Phones that send checks with photos to a real server, as the outbox does it, until each is
acknowledged, whatever happens to the server and the line meanwhile."""

import contextlib
import http.client
import json
import random
import sqlite3
import threading
import time
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from tests.offline.sends import picture

# What may happen to a request, and is tried again.
FAILED = (OSError, http.client.HTTPException, ValueError)


@dataclass
class Entry:
    """One check with its photos, and what the server has acknowledged of it."""

    bird: str
    key: str = field(default_factory=lambda: str(uuid.uuid4()))
    photos: dict[str, bytes] = field(default_factory=dict)
    at: str = ""
    acknowledged: set[str] = field(default_factory=set)

    @property
    def keys(self) -> set[str]:
        return {self.key, *self.photos}


class Phone(threading.Thread):
    """Sends its entries, oldest first: the record, then its photos."""

    def __init__(self, port: int, flock: str, session: str, entries: list[Entry]):
        super().__init__(daemon=True)
        self.port, self.flock, self.session, self.entries = port, flock, session, entries
        self.tries = self.failures = 0
        self.refused: list[str] = []
        self.give_up_at = time.monotonic() + 240

    def run(self):
        for entry in self.entries:
            while entry.acknowledged != entry.keys and time.monotonic() < self.give_up_at:
                try:
                    self._send(entry)
                except FAILED:
                    self.failures += 1
                    time.sleep(random.uniform(0.02, 0.2))

    def _send(self, entry: Entry):
        hello, cookies = self._ask("GET", "/outbox/hello/", cookies=self._cookies())
        token = hello["token"]
        common = {"kind": "check", "keeper": hello["keeper"]}
        base = f"/f/{self.flock}/outbox"
        if entry.key not in entry.acknowledged:
            said = {
                **common,
                "bird": entry.bird,
                "clock": datetime.now(UTC).isoformat(),
                "fields": [["at", entry.at], ["verdict", "both clear"]],
            }
            address = f"{base}/records/{entry.key}/"
            kind = "application/json"
            self._post(address, json.dumps(said).encode(), kind, token, cookies, entry, entry.key)
        for key, content in entry.photos.items():
            if key not in entry.acknowledged:
                body, kind = multipart({**common, "record": entry.key, "foot": "left"}, content)
                address = f"{base}/photos/{key}/"
                self._post(address, body, kind, token, cookies, entry, key)

    def _post(self, address, body, kind, token, cookies, entry, key):
        headers = {"Content-Type": kind, "X-CSRFToken": token}
        answer, _ = self._ask("POST", address, body, headers, cookies=cookies)
        if answer.get("key") != key:
            raise ValueError("Not an answer to this.")
        if "reasons" in answer:
            self.refused += answer["reasons"]
        entry.acknowledged.add(key)

    def _cookies(self, more: str = "") -> str:
        return f"flockcare_session={self.session}{more}"

    def _ask(self, method, address, body=None, headers=None, *, cookies):
        self.tries += 1
        server = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        with contextlib.closing(server):
            server.request(method, address, body, {**(headers or {}), "Cookie": cookies})
            answer = server.getresponse()
            said = json.loads(answer.read())
            if answer.status not in (200, 201, 409, 422):
                raise ValueError(f"Answer {answer.status}.")
            given = answer.headers.get("Set-Cookie", "").split(";")[0]
            return said, self._cookies(f"; {given}" if given else "")


def multipart(fields: dict[str, str], photo: bytes) -> tuple[bytes, str]:
    """RFC 7578: the body of a form with one photo, and its content type."""
    edge = uuid.uuid4().hex
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    parts.append(
        f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="foot.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n".encode()
    )
    return b"".join(
        [*parts, photo, f"\r\n--{edge}--\r\n".encode()]
    ), f"multipart/form-data; boundary={edge}"


def entries_for(birds: list[str], count: int, seed: int) -> list[Entry]:
    """Checks of different birds, each with one photo that no other has."""
    dice = random.Random(seed)
    found = []
    for number in range(count):
        colour = tuple(dice.randrange(256) for _ in range(3))
        content = picture(colour, size=(320 + number, 240)).getvalue()
        at = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M")
        photos = {str(uuid.uuid4()): content}
        found.append(Entry(bird=dice.choice(birds), photos=photos, at=at))
    return found


def database(folder: str | Path) -> Path:
    return Path(folder) / "flockcare.sqlite3"


def stored(folder) -> dict[str, list]:
    """What the database holds: keys of checks, of receipts, and (photo, check or None)."""
    with contextlib.closing(sqlite3.connect(database(folder))) as connection:
        questions = {
            "checks": "SELECT id FROM feet_check",
            "receipts": "SELECT id FROM offline_receipt",
            "photos": "SELECT p.id, c.check_id FROM photos_photo p "
            "LEFT JOIN feet_check_photos c ON c.photo_id = p.id",
        }
        return {name: connection.execute(text).fetchall() for name, text in questions.items()}


def hexed(keys) -> set[str]:
    """Keys as SQLite stores them."""
    return {key.replace("-", "") for key in keys}


def losses_and_doubles(folder, before: dict[str, list], phones: list[Phone]) -> list[str]:
    """What is wrong with what is stored, given what was acknowledged; empty when all is well."""
    now, wrong = stored(folder), []
    entries = [entry for phone in phones for entry in phone.entries]
    acknowledged = hexed(key for entry in entries for key in entry.acknowledged)
    records = hexed(entry.key for entry in entries)
    photos = hexed(key for entry in entries for key in entry.photos)
    new_checks = [row[0] for row in now["checks"] if row not in before["checks"]]
    new_photos = [row for row in now["photos"] if row not in before["photos"]]
    receipts = {row[0] for row in now["receipts"]}
    for name, wanted, found in (
        ("checks", acknowledged & records, new_checks),
        ("photos", acknowledged & photos, [photo for photo, _ in new_photos]),
    ):
        if lost := wanted - set(found):
            wrong.append(f"{len(lost)} acknowledged {name} are not stored")
        if len(found) != len(set(found)) or set(found) - records - photos:
            wrong.append(f"{name} stand there double or came from nowhere")
    if alone := [photo for photo, check in new_photos if check not in set(new_checks)]:
        wrong.append(f"{len(alone)} photos have no record")
    if without := (set(new_checks) | {photo for photo, _ in new_photos}) - receipts:
        wrong.append(f"{len(without)} records have no receipt")
    return wrong
