"""Flockcare as gunicorn serves it, in a folder and on a database of its own."""

import http.cookiejar
import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import uuid
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# As in flockcare/DEPLOY.md.
SERVE = ["-m", "gunicorn", "-c", "python:flockcare.gunicorn", "flockcare.wsgi"]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Place:
    """An environment of its own, in which commands run and one process serves."""

    process = None

    def __init__(self, folder: Path, environment: dict[str, str | None]):
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        around = {**os.environ, **environment, "FLOCKCARE_DATA": str(folder)}
        self.environment = {name: value for name, value in around.items() if value is not None}

    def run(self, *command: str) -> str:
        done = subprocess.run(
            [sys.executable, *command],
            cwd=ROOT,
            env=self.environment,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def begin(self, *command: str, **streams) -> None:
        self.process = subprocess.Popen(
            [sys.executable, *command], cwd=ROOT, env=self.environment, **streams
        )

    def stop(self) -> None:
        if self.process:
            self.process.terminate()
            self.process.wait(timeout=60)


class Up(Place):
    """`manage.py up`, which is ready when it says how to stop it."""

    def __init__(self, folder: Path, environment: dict[str, str] | None = None):
        # An installation of its own, whatever the tests themselves run on.
        unset = dict.fromkeys(name for name in os.environ if name.startswith("FLOCKCARE_"))
        super().__init__(folder, {**unset, **(environment or {})})

    def start(self, *arguments: str) -> str:
        """What it prints until it serves."""
        self.begin(
            "manage.py",
            "up",
            "--port",
            str(self.port),
            *arguments,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        printed = ""
        for line in self.process.stdout:
            printed += line
            if "Stop with" in line:
                return printed
        raise AssertionError(f"The server did not start:\n{printed}")


class Served(Place):
    def __init__(self, folder: Path, environment: dict[str, str]):
        super().__init__(folder / "data", {"FLOCKCARE_LOG": "json", **environment})
        self.environment["FLOCKCARE_BIND"] = f"127.0.0.1:{self.port}"
        self.log = folder / "log.txt"

    def start(self) -> None:
        with self.log.open("wb") as log:
            self.begin(*SERVE, stdout=log, stderr=subprocess.STDOUT)
        until = time.monotonic() + 60
        while time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"{self.url}/health/", timeout=5) as answer:  # noqa: S310 (our own)
                    assert answer.status == 200
                    return
            except OSError:
                time.sleep(0.2)
        raise AssertionError(f"The server did not start:\n{self.log.read_text()}")

    def lines(self) -> list[dict]:
        return [json.loads(line) for line in self.log.read_text().splitlines()]


class _Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args):
        return None


class Browser:
    """Just enough of one: cookies, the token of a form, files; redirects are not followed."""

    def __init__(self, url: str, session: str | None = None):
        self.url = url
        self.session = session
        self.cookies = http.cookiejar.CookieJar()
        self.opener = urllib.request.build_opener(
            urllib.request.HTTPCookieProcessor(self.cookies), _Stay
        )

    def ask(self, path: str, data: bytes | None = None, kind: str = "") -> tuple[int, bytes]:
        request = urllib.request.Request(self.url + path, data)  # noqa: S310 (our own)
        if kind:
            request.add_header("Content-Type", kind)
        if self.session:
            request.add_unredirected_header("Cookie", self._cookie())
        try:
            with self.opener.open(request, timeout=60) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as refused:
            with refused:
                return refused.code, refused.read()

    def _cookie(self) -> str:
        named = {cookie.name: cookie.value for cookie in self.cookies}
        return "; ".join(
            f"{name}={value}"
            for name, value in {**named, "flockcare_session": self.session}.items()
        )

    def fill_in(self, path: str, fields: dict, files=None, before=None, to: str = "") -> int:
        """Open the page, send its form there or ``to`` elsewhere; the status of the answer.

        ``before`` is called between the two.
        """
        status, page = self.ask(path)
        assert status == 200, (path, status)
        token = re.search(rb'name="csrfmiddlewaretoken" value="([^"]+)"', page)[1].decode()
        mark = uuid.uuid4().hex
        body = b"".join(
            f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
            for name, value in {**fields, "csrfmiddlewaretoken": token}.items()
        )
        for name, content in (files or {}).items():
            head = f'name="{name}"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
            body += f"--{mark}\r\nContent-Disposition: form-data; {head}".encode() + content
            body += b"\r\n"
        body += f"--{mark}--\r\n".encode()
        if before:
            before()
        return self.ask(to or path, body, f"multipart/form-data; boundary={mark}")[0]
