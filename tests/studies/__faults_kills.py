"""The part of ``outbox_faults.py`` that kills: the server, its processes and its database, at any
moment and while a file is written."""

import random
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from tests.running.killable import LARGE, Killable, TwoProcesses

ANY_MOMENT, NEW_FILE, IN_A_FILE = "at any moment", "as a file appears", "inside a large file"
WORKER, BACKEND, DATABASE = "one of two processes", "a backend", "the whole database"
AIMS = {
    "sqlite": (ANY_MOMENT, IN_A_FILE, NEW_FILE),
    "postgresql": (IN_A_FILE, BACKEND, NEW_FILE, DATABASE, WORKER, ANY_MOMENT),
    "s3": (ANY_MOMENT,),
}


def half_written(folder: Path) -> set[str]:
    """Files that do not end as a JPEG does (ITU-T T.81, B.1.1.3: EOI is FF D9)."""
    found = set()
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb") as file:
                file.seek(max(0, path.stat().st_size - 2))
                if file.read() != b"\xff\xd9":
                    found.add(str(path))
    return found


class Killer:
    """Kills in turn in each way there is, and lets the server come back each time.

    ``done``: how often in which way. ``inside``: how many of the kills left a file half written.
    """

    def __init__(self, place: Killable, database, on: str):
        self.place, self.database, self.aims = place, database, AIMS[on]
        self.done: Counter[str] = Counter()
        self.inside = 0
        self.dice = random.Random(1)

    def run(self, kills: int, share_done: Callable[[], float], *, patience: float) -> None:
        """Spread over the work, of which ``share_done`` says how much is done (0 to 1)."""
        until = time.monotonic() + patience
        for number in range(kills):
            while share_done() < number / kills and time.monotonic() < until:
                time.sleep(0.02)
            if share_done() >= 1 or time.monotonic() > until:
                return
            aim = self.aims[number % len(self.aims)]
            self.kill(aim)
            self.done[aim] += 1

    def kill(self, aim: str) -> None:
        if aim in (WORKER, BACKEND, DATABASE):
            time.sleep(self.dice.uniform(0.1, 1))
            return self._kill_a_part(aim)
        before = half_written(self.place.data / "files")
        if aim == ANY_MOMENT:
            time.sleep(self.dice.uniform(0.1, 1))
        else:
            self.place.kill_at(part="/files/", size=LARGE if aim == IN_A_FILE else 0, seconds=8)
        self.place.kill()
        self.inside += bool(half_written(self.place.data / "files") - before)
        return self.place.start()

    def _kill_a_part(self, aim: str) -> None:
        if aim == WORKER:
            assert isinstance(self.place, TwoProcesses)
            self.place.kill_a_worker()
        elif aim == BACKEND:
            self.database.kill_a_backend()
        else:
            self.database.stop_at_once()
            time.sleep(self.dice.uniform(0, 1))
            self.database.start()
