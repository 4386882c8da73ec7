"""Kill a process the moment a file of some size appears in a folder.

    python tests/running/kill_at.py FOLDER PART BYTES TARGET SECONDS

PART: what the file's path contains; BYTES: how much of it is there at least; TARGET: a process, or
a group with a minus before it. Ends with 1 where no such file came within SECONDS.
"""

import os
import signal
import sys
import time
from pathlib import Path


class Watched:
    """A folder and all below it. Looks again only into folders that changed."""

    def __init__(self, root: Path):
        self.folders: dict[str, int] = {str(root): 0}
        self.files: set[str] = set()
        self.new()

    def new(self) -> set[str]:
        """Files that were not there the last time."""
        found: set[str] = set()
        for folder in [*self.folders]:
            try:
                changed = os.stat(folder).st_mtime_ns  # noqa: PTH116 (looked at without pause)
                # A change within the same tick of the file system's clock would not show.
                if changed != self.folders[folder] or time.time_ns() - changed < 50_000_000:
                    self.folders[folder] = changed
                    found |= self._look_into(folder)
            except FileNotFoundError:
                if len(self.folders) > 1:
                    del self.folders[folder]
        found -= self.files
        self.files |= found
        return found

    def _look_into(self, folder: str) -> set[str]:
        found = set()
        with os.scandir(folder) as entries:
            for entry in entries:
                if not entry.is_dir(follow_symlinks=False):
                    found.add(entry.path)
                elif entry.path not in self.folders:
                    self.folders[entry.path] = 0
                    found |= self._look_into(entry.path)
        return found


def comes(root: Path, part: str, size: int, seconds: float) -> bool:
    """Wait until a new file has grown to this size."""
    watched, young, until = Watched(root), set(), time.monotonic() + seconds
    while time.monotonic() < until:
        young |= {path for path in watched.new() if part in path}
        for path in [*young]:
            try:
                if Path(path).stat().st_size >= size:
                    return True
            except FileNotFoundError:
                young.remove(path)
        time.sleep(0.0003)
    return False


if __name__ == "__main__":
    folder, part, size, target, seconds = sys.argv[1:]
    if not comes(Path(folder), part, int(size), float(seconds)):
        sys.exit(1)
    os.kill(int(target), signal.SIGKILL)
