"""Run a Python program and write down what it syncs to disk.

    SYNCS=JOURNAL python tests/running/recorded.py manage.py up
    SYNCS=JOURNAL python tests/running/recorded.py -m gunicorn …

A line for each call of fsync or fdatasync that has come back: device, inode, and when that was, in
nanoseconds since 1970.
"""

import os
import runpy
import sys
import time
from pathlib import Path


def recorded(sync, journal: int):
    def synced(file):
        sync(file)
        status = os.fstat(file if isinstance(file, int) else file.fileno())
        os.write(journal, f"{status.st_dev} {status.st_ino} {time.time_ns()}\n".encode())

    return synced


if __name__ == "__main__":
    journal = os.open(os.environ["SYNCS"], os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    os.fsync, os.fdatasync = recorded(os.fsync, journal), recorded(os.fdatasync, journal)
    sys.path[0] = str(Path.cwd())
    del sys.argv[0]
    if sys.argv[0] == "-m":
        del sys.argv[0]
        runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
    else:
        runpy.run_path(sys.argv[0], run_name="__main__")
