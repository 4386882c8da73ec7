"""Installations that are killed at chosen moments and started again."""

import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from tests.browser.conftest import Installation
from tests.running.served import ROOT, Served

LARGE = 256 * 1024


class Killable:
    """Before ``Installation`` or ``Served``: it can be killed whole, and its syncs are recorded."""

    def prepare(self, folder: Path) -> None:
        self.journal, self.log_of_errors = folder / "syncs", folder / "errors.txt"
        # What a killed process leaves of an upload must not stay on this computer.
        scratch = folder / "scratch"
        scratch.mkdir()
        self.environment |= {"SYNCS": str(self.journal), "TMPDIR": str(scratch)}

    def begin(self, *command: str, **streams) -> None:
        with self.log_of_errors.open("ab") as log:
            streams = {"stderr": log, **streams, "start_new_session": True}
            super().begin("tests/running/recorded.py", *command, **streams)

    @property
    def data(self) -> Path:
        return Path(self.environment["FLOCKCARE_DATA"])

    def kill(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def end(self) -> None:
        """Nothing of it goes on, whatever state it is in."""
        if self.process:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()

    def kill_at(self, *, part: str, size: int, target: int | None = None, seconds=10.0) -> bool:
        """Kill at the moment when a new file with this in its path has this size."""
        # By a process of its own: this one is busy with the phones.
        command = ["tests/running/kill_at.py", str(self.data), part, str(size)]
        command += [str(target or -self.process.pid), str(seconds)]
        done = subprocess.run([sys.executable, *command], cwd=ROOT, stderr=subprocess.DEVNULL)
        return done.returncode == 0


class Home(Killable, Installation):
    """``manage.py up``, one process on SQLite."""

    def __init__(self, folder: Path, environment: dict[str, str]):
        super().__init__(folder / "data")
        self.environment |= environment
        self.prepare(folder)


class TwoProcesses(Killable, Served):
    """gunicorn with two processes."""

    def __init__(self, folder: Path, environment: dict[str, str]):
        super().__init__(folder, {"FLOCKCARE_PROCESSES": "2", **environment})
        self.prepare(folder)

    def worker(self) -> int | None:
        """One of the processes that serve."""
        task = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        workers = task.read_text().split()
        return int(random.choice(workers)) if workers else None

    def kill_a_worker(self) -> None:
        """The others go on, and gunicorn begins another."""
        if worker := self.worker():
            os.kill(worker, signal.SIGKILL)


def wait_for_quiet(storage, *, seconds: float = 3, at_most: float = 120) -> None:
    """Until nobody has written a file for so long: requests go on whose phones have hung up."""
    until, before, since = time.monotonic() + at_most, None, time.monotonic()
    while time.monotonic() < until and time.monotonic() - since < seconds:
        time.sleep(0.5)
        if (now := storage.state()) != before:
            before, since = now, time.monotonic()


def sweep(place) -> bool:
    """Remove files that belong to no photo, however young; whether there is such a command."""
    command = [sys.executable, "manage.py", "sweep_files", "--older-than", "0"]
    done = subprocess.run(
        command, cwd=ROOT, env=place.environment, capture_output=True, text=True, check=False
    )
    if "Unknown command" in done.stderr:
        return False
    if done.returncode:
        raise RuntimeError(f"The sweep failed: {done.stderr}")
    return True
