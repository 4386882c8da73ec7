"""Phones that send to a real server, as the outbox does it, until all is acknowledged, whatever
happens to the server and the line meanwhile."""

import contextlib
import http.client
import json
import random
import threading
import time
import uuid
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from urllib.parse import urlencode

from tests.offline.entries import AGAIN, DOUBLE, PAGE_FIRST, TWICE, TWO_KEYS, TWO_WORDS, Entry

# What may happen to a request, and is tried again.
FAILED = (OSError, http.client.HTTPException, ValueError)
PAGES = {
    "check": ("birds/{}/check/", "check_id"),
    "step": ("care/birds/{}/step/", "step_id"),
    "weighing": ("birds/{}/weighings/", "weighing_id"),
}


class Phone(threading.Thread):
    """Sends its entries, oldest first: the record, then its photos."""

    def __init__(self, port: int, flock: str, session: str, entries: list[Entry], patience=240):
        super().__init__(daemon=True)
        self.port, self.flock, self.session, self.entries = port, flock, session, entries
        self.failures = 0
        self.answers: Counter[int] = Counter()
        self.ways: Counter[str] = Counter()
        self.give_up_at = time.monotonic() + patience
        self.hello: dict = {}
        self.cookies = ""

    def run(self):
        for entry in self.entries:
            while not entry.is_done and time.monotonic() < self.give_up_at:
                try:
                    self._send(entry)
                except FAILED:
                    self.failures += 1
                    time.sleep(random.uniform(0.02, 0.2))

    def _send(self, entry: Entry):
        self._greet()
        entry.first_sent = entry.first_sent or time.time_ns()
        if entry.key not in entry.acknowledged:
            self._send_record(entry)
        if entry.photos and not entry.refused:
            self._send_photos(entry)
        if not entry.is_done and len(entry.taken) == 1:
            self._record(entry, other=True not in entry.taken)

    def _greet(self):
        self.cookies = f"flockcare_session={self.session}"
        with contextlib.closing(self._begin("GET", "/outbox/hello/")) as server:
            _, self.hello, given = self._finish(server)
        if given:
            self.cookies += f"; {given}"

    # --- Records

    def _send_record(self, entry: Entry):
        if entry.way == TWO_WORDS:
            self.ways[TWO_WORDS] += 1
            _at_once(
                lambda: self._record(entry, other=False), lambda: self._record(entry, other=True)
            )
            return
        if entry.way == PAGE_FIRST and not entry.by_the_page:
            entry.by_the_page = True
            self._to_the_page(entry)
        # What the page stored, and whose answer was lost, was corrected meanwhile.
        self._record(entry, other=entry.way == PAGE_FIRST and True not in entry.told)

    def _record(self, entry: Entry, *, other: bool):
        body = {
            "kind": entry.kind,
            "keeper": self.hello["keeper"],
            "bird": entry.bird,
            "clock": datetime.now(UTC).isoformat(),
            "fields": entry.fields(self.hello["keeper"], other=other),
        }
        address = f"/f/{self.flock}/outbox/records/{entry.key}/"
        headers = self._headers("application/json")
        server = self._begin("POST", address, json.dumps(body).encode(), headers)
        status, said = self._answered(server, entry.key)
        if status == 201:
            entry.taken.add(other)
            entry.acknowledged.setdefault(entry.key, time.time_ns())
        elif status == 409 and other not in entry.taken:
            self.ways["other words refused"] += 1
            entry.told.add(other)
            if entry.told == {True, False}:
                entry.refused += said["reasons"]
        else:
            entry.refused += [f"{status} for a {entry.kind}: {said['reasons'][0]}"]

    def _to_the_page(self, entry: Entry):
        self.ways[PAGE_FIRST] += 1
        page, key = PAGES[entry.kind]
        fields = {**dict(entry.fields(self.hello["keeper"], other=False)), key: entry.key}
        kind = "application/x-www-form-urlencoded"
        headers = self._headers(kind) | {"HX-Request": "true"}
        address = f"/f/{self.flock}/{page.format(entry.bird)}"
        server = self._begin("POST", address, urlencode(fields).encode(), headers)
        with contextlib.closing(server):
            server.getresponse().read()

    # --- Photos

    def _send_photos(self, entry: Entry):
        waiting = [key for key in entry.photos if key not in entry.acknowledged]
        if entry.photo_way in DOUBLE:
            self.ways[entry.photo_way] += len(waiting)
        if entry.photo_way == TWO_KEYS:
            _at_once(*(lambda key=key: self._photo(entry, key) for key in waiting))
            return
        for key in waiting:
            if entry.photo_way == TWICE:
                _at_once(*[lambda key=key: self._photo(entry, key)] * 2)
            elif entry.photo_way == AGAIN:
                with contextlib.closing(self._begin_photo(entry, key)):
                    time.sleep(random.uniform(0.01, 0.2))
                    self._photo(entry, key)
            else:
                self._photo(entry, key)

    def _photo(self, entry: Entry, key: str):
        status, said = self._answered(self._begin_photo(entry, key), key)
        if status == 201:
            entry.acknowledged.setdefault(key, time.time_ns())
        else:
            entry.refused += [f"{status} for a photo: {said['reasons'][0]}"]

    def _begin_photo(self, entry: Entry, key: str):
        fields = {"kind": entry.kind, "keeper": self.hello["keeper"]}
        fields |= {"record": entry.key, "foot": "left"}
        body, kind = multipart(fields, entry.photos[key])
        address = f"/f/{self.flock}/outbox/photos/{key}/"
        return self._begin("POST", address, body, self._headers(kind))

    # --- Requests

    def _headers(self, kind: str) -> dict[str, str]:
        return {"Content-Type": kind, "X-CSRFToken": self.hello["token"]}

    def _answered(self, server, key: str) -> tuple[int, dict]:
        """Status and what was said; nothing counts that does not name the key."""
        with contextlib.closing(server):
            status, said, _ = self._finish(server)
        if said.get("key") != key:
            raise ValueError("Not an answer to this.")
        return status, said

    def _begin(self, method: str, address: str, body=None, headers=None):
        server = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        server.request(method, address, body, {**(headers or {}), "Cookie": self.cookies})
        return server

    def _finish(self, server) -> tuple[int, dict, str]:
        """Status, what was said, and the cookie that was given."""
        answer = server.getresponse()
        self.answers[answer.status] += 1
        said = json.loads(answer.read())
        if answer.status not in (200, 201, 400, 409, 422):
            raise ValueError(f"Answer {answer.status}.")
        return answer.status, said, answer.headers.get("Set-Cookie", "").split(";")[0]


def _at_once(*deeds) -> None:
    """All of them, as nearly at once as can be; raises what one of them does."""
    if not deeds:
        return
    gate = threading.Barrier(len(deeds))

    def one(deed):
        gate.wait()
        deed()

    with ThreadPoolExecutor(len(deeds)) as pool:
        for done in [pool.submit(one, deed) for deed in deeds]:
            done.result()


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
