"""The line between a phone and the server, which can be cut at any step of a request."""

import contextlib
import http.client
import random
import re
import socket
import threading
import time
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

# Before: nothing reaches the server. After: the server has done its part, nothing comes back.
# Half: the answer breaks off. Trouble: 503, as from a proxy. Strange: a page of somebody else's
# network, such as one to sign in to it. Besides these, by name only, dropped: the line was gone as
# soon as all had been sent, and the server, which does not know, goes on with it.
FAULTS = ("before", "after", "half", "trouble", "strange")
HEAD_BYTES = 200  # of a page, before anything in it is seen
NOT_KEPT = ("Cache-Control", "no-store")
HOP_BY_HOP = {"connection", "keep-alive", "transfer-encoding", "content-length"}


@dataclass
class Asked:
    """A request that the server got; seconds of one clock, None while it is at work."""

    request: str
    begun: float
    ended: float | None = None
    status: int | None = None


class Line:
    """``with Line(port) as line``: ``line.url`` leads to the server on ``port``.

    ``line.down``: no signal. ``line.cut(pattern, *faults)``: the next requests whose method and
    path match meet these faults, one each.
    """

    def __init__(self, port: int):
        self.port, self.down = port, False
        self.slow = 0  # seconds until the server hears of a page that is opened
        self.pause = 0  # seconds between the head of an answer and the rest
        self.newer = b""  # what a newer version of the worker has at its end
        self.chance, self.dice = 0.0, random.Random(0)  # of any fault at any request of an outbox
        self.met: list[str] = []
        self.asked: list[Asked] = []
        self._faults: list[tuple[str, str]] = []
        self._lock = threading.Lock()
        line = self

        class Handler(BaseHTTPRequestHandler):
            def handle_one_request(self):
                line._serve(self)

            def log_message(self, *args):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}"

    def __enter__(self):
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *args):
        self._server.shutdown()
        self._server.server_close()

    def cut(self, pattern: str, *faults: str) -> None:
        with self._lock:
            self._faults += [(pattern, fault) for fault in faults]

    def mend(self) -> None:
        """No fault is left to be met, and there is signal."""
        with self._lock:
            self._faults, self.down, self.slow, self.newer = [], False, 0, b""

    def _fault(self, request: str) -> str:
        with self._lock:
            for number, (pattern, fault) in enumerate(self._faults):
                if re.search(pattern, request):
                    del self._faults[number]
                    self.met.append(fault)
                    return fault
            if "/outbox/" in request and self.dice.random() < self.chance:
                self.met.append(self.dice.choice(FAULTS))
                return self.met[-1]
        return ""

    def _serve(self, handler) -> None:
        handler.close_connection = True
        handler.raw_requestline = handler.rfile.readline()
        if self.down or not handler.raw_requestline or not handler.parse_request():
            return _hang_up(handler)
        length = int(handler.headers.get("Content-Length") or 0)
        body = handler.rfile.read(length)
        fault = self._fault(f"{handler.command} {handler.path}")
        if fault == "before":
            return _hang_up(handler)
        if fault == "trouble":
            return _send(handler, 503, [("Content-Type", "text/plain")], b"Try later.")
        if fault == "strange":
            return _send(handler, 200, [("Content-Type", "text/html")], b"<h1>Guest network</h1>")
        if "text/html" in handler.headers.get("Accept", ""):
            time.sleep(self.slow)
        if fault == "dropped":
            _hang_up(handler)
        try:
            status, headers, content = self._ask(handler, body)
        except (OSError, http.client.HTTPException):
            return _hang_up(handler)
        if fault in ("after", "dropped") or self.down:
            return _hang_up(handler)
        if handler.path == "/worker.js":
            content += self.newer
        if self.pause:  # also of a script that came with the page before
            headers = [*((k, v) for k, v in headers if k != "Cache-Control"), NOT_KEPT]
        with contextlib.suppress(OSError):  # it has hung up
            _send(handler, status, headers, content, half=fault == "half", pause=self.pause)

    def _ask(self, handler, body: bytes):
        asked = Asked(f"{handler.command} {handler.path}", time.monotonic())
        self.asked.append(asked)
        server = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        left_out = {"Connection", "Accept-Encoding"}
        headers = {name: text for name, text in handler.headers.items() if name not in left_out}
        server.request(handler.command, handler.path, body, headers)
        answer = server.getresponse()
        content = answer.read()
        server.close()
        asked.status, asked.ended = answer.status, time.monotonic()
        kept = [(key, value) for key, value in answer.getheaders() if key.lower() not in HOP_BY_HOP]
        return answer.status, kept, content


def _send(handler, status: int, headers, content: bytes, *, half=False, pause=0) -> None:
    handler.send_response_only(status)
    for name, value in headers:
        handler.send_header(name, value)
    handler.send_header("Content-Length", str(len(content)))
    handler.send_header("Connection", "close")
    handler.end_headers()
    first = len(content) // 2 if half else HEAD_BYTES
    handler.wfile.write(content[:first])
    if not half:
        time.sleep(pause)
        handler.wfile.write(content[first:])


def _hang_up(handler) -> None:
    with contextlib.suppress(OSError):
        handler.connection.shutdown(socket.SHUT_RDWR)
