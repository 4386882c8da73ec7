"""Visitors that hold a server up: connections that stay idle, and requests that never end."""

import contextlib
import http.client
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

# Each connection sends one byte so often, which keeps timeouts of silence away.
EVERY_SECONDS = 1.0
LONG = 100_000
# For all answers to those that stay idle; a server that is full does not answer them.
PATIENCE_SECONDS = 20


class Held:
    """Connections that are held open; `closed`: how many of them the server has ended."""

    def __init__(self, url: str):
        parts = urlsplit(url)
        self._place = (parts.hostname, parts.port)
        self._tls = _unverified() if parts.scheme == "https" else None
        self._dribbling: list[socket.socket] = []
        self._idle: list[socket.socket] = []
        self._ended = threading.Event()
        self.closed = 0

    def idle(self, count: int) -> None:
        """Connections that were answered once, as a browser keeps them for the next time."""
        asked = b"GET /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
        opened = [self._connect(asked) for _ in range(count)]
        until = time.monotonic() + PATIENCE_SECONDS
        for one in opened:
            one.settimeout(max(0.01, until - time.monotonic()))
            with contextlib.suppress(OSError):
                one.recv(65536)
        self._idle += opened

    def heads(self, count: int) -> None:
        """Requests whose headers never end."""
        begun = b"GET /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: "
        self._dribbling += [self._connect(begun) for _ in range(count)]

    def bodies(self, count: int) -> None:
        """Forms whose fields never end; with the cookie without which they are not read."""
        begun = (
            "POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            f"Cookie: flockcare_csrf={'a' * 32}\r\n"
            f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {LONG}\r\n\r\n"
        ).encode()
        self._dribbling += [self._connect(begun) for _ in range(count)]

    def open_for(self, most: float) -> float:
        """Seconds until the server has closed all idle ones, or ``most``."""
        start = time.monotonic()
        for one in self._idle:
            one.settimeout(max(0.1, most - (time.monotonic() - start)))
            with contextlib.suppress(TimeoutError):
                while one.recv(65536):
                    pass
        return time.monotonic() - start

    def _connect(self, begun: bytes) -> socket.socket:
        one = socket.create_connection(self._place, timeout=10)
        if self._tls:
            one = self._tls.wrap_socket(one)
        one.sendall(begun)
        return one

    def dribble(self) -> None:
        while not self._ended.wait(EVERY_SECONDS):
            for one in list(self._dribbling):
                try:
                    one.sendall(b"a")
                except OSError:
                    self._dribbling.remove(one)
                    self.closed += 1

    def end(self) -> None:
        self._ended.set()
        for one in [*self._dribbling, *self._idle]:
            one.close()


def _unverified() -> ssl.SSLContext:
    context = ssl.create_default_context()
    context.check_hostname = False  # How long it takes is asked here, not who answers.
    context.verify_mode = ssl.CERT_NONE
    return context


@contextlib.contextmanager
def held(url: str) -> Iterator[Held]:
    connections = Held(url)
    dribbling = threading.Thread(target=connections.dribble, daemon=True)
    dribbling.start()
    try:
        yield connections
    finally:
        connections.end()
        dribbling.join()


def seconds_to_answer(url: str, *, path: str = "/sign-in/", timeout: float = 20) -> float:
    """How long a new visitor waits for a page; infinite where none comes within the timeout."""
    parts = urlsplit(url)
    start = time.perf_counter()
    if parts.scheme == "https":
        visitor = http.client.HTTPSConnection(
            parts.hostname, parts.port, timeout=timeout, context=_unverified()
        )
    else:
        visitor = http.client.HTTPConnection(parts.hostname, parts.port, timeout=timeout)
    try:
        visitor.request("GET", path)
        if visitor.getresponse().status >= 500:
            return float("inf")
    except OSError:
        return float("inf")
    finally:
        visitor.close()
    return time.perf_counter() - start
