"""A PostgreSQL server of one's own, on loopback, in a folder that goes away with it; to be killed
at will."""

import os
import random
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

import psycopg

from tests.running.served import free_port

DEBIANS = Path("/usr/lib/postgresql")
# The server refuses to run as root; this is whom Debian's package makes for it.
SERVANT = "postgres"


class Missing(Exception):
    """What is needed is not on this machine; says what, in a sentence."""


def _program(name: str) -> str:
    newest = max(DEBIANS.glob(f"*/bin/{name}"), default=None, key=lambda path: path.parts[-3])
    if path := newest or shutil.which(name):
        return str(path)
    raise Missing("This needs a PostgreSQL server: on Debian, `apt install postgresql`.")


class Server:
    """``with Server() as server``: ``server.url`` names an empty database."""

    def __init__(self):
        self.initdb, self.control = _program("initdb"), _program("pg_ctl")
        self.port = free_port()
        self.url = f"postgresql://flockcare@127.0.0.1:{self.port}/postgres"

    def __enter__(self):
        self._folder = tempfile.TemporaryDirectory(prefix="postgresql-", ignore_cleanup_errors=True)
        if os.geteuid() == 0:
            try:
                shutil.chown(self._folder.name, SERVANT, SERVANT)
            except LookupError:
                raise Missing(f"Root needs a user {SERVANT}, as Debian's package makes.") from None
        self._run(self.initdb, "-U", "flockcare", "-A", "trust", "-E", "UTF8", "--no-sync")
        self.start()
        return self

    def __exit__(self, *args):
        self.stop_at_once()
        self._folder.cleanup()

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories=''"
        self._run(self.control, "-w", "-o", options, "-l", f"{self._folder.name}/log", "start")

    def stop_at_once(self) -> None:
        """Without an end to anything; it recovers from its log at the next start."""
        self._run(self.control, "-w", "-m", "immediate", "stop")

    def kill_a_backend(self) -> None:
        """One that serves Flockcare; the server then ends all others and recovers from its log."""
        with psycopg.connect(self.url) as connection:
            rows = connection.execute(
                "SELECT pid FROM pg_stat_activity "
                "WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()"
            ).fetchall()
        if rows:
            os.kill(random.choice(rows)[0], signal.SIGKILL)

    def _run(self, program: str, *options: str) -> None:
        whom = {}
        if os.geteuid() == 0:
            whom = {"user": SERVANT, "group": SERVANT, "extra_groups": []}
        done = subprocess.run(
            [program, "-D", f"{self._folder.name}/data", *options],
            cwd=self._folder.name,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            # Not a pipe: the server inherits it and would hold it open.
            stderr=subprocess.DEVNULL,
            **whom,
        )
        if done.returncode:
            raise RuntimeError(f"{Path(program).name} {options[-1]} ended with {done.returncode}.")
