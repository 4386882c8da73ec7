"""The whole installation as one file, and back.

``make(path)`` writes a backup while people go on working, ``check(path)`` reads all of one,
``restore(path)`` brings it into an empty installation. Each raises ``BackupProblem`` with a
sentence for whoever runs it. README.md beside this file describes the form.
"""

from flockcare.backup.archive import BackupProblem, check
from flockcare.backup.making import Made, make
from flockcare.backup.restoring import Restored, restore

__all__ = ["BackupProblem", "Made", "Restored", "check", "make", "restore"]
