"""Restore a backup into an empty installation. Stop Flockcare first.

The whole file is checked before anything is changed. Sign-ins and the signing key are not in a
backup: everybody signs in again, with the password they had.
"""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from flockcare.backup.services import BackupProblem, restore
from flockcare.backup.services import check as checked
from flockcare.core.starting import in_words


class Command(BaseCommand):
    help = __doc__
    requires_system_checks = ()  # They import every page; none is shown here.

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, help="what `backup` wrote")
        parser.add_argument(
            "--replace",
            action="store_true",
            help="replace the records that are here; they are kept in a file with a dated name",
        )
        parser.add_argument(
            "--check", action="store_true", help="only check that the file is whole"
        )

    # The tables need not be there yet.
    requires_migrations_checks = False

    def handle(self, *, file, replace, check: bool, **options):
        try:
            if check:
                self._tell_whole(file)
            else:
                with in_words():
                    self._restore(file, replace)
        except BackupProblem as problem:
            raise CommandError(str(problem)) from problem

    def _tell_whole(self, file: Path):
        about = checked(file)
        self.stdout.write(
            f"{file} is whole: {sum(about['rows'].values())} records and {about['photos']} "
            f"photos as of {about['made'][:16].replace('T', ' ')} UTC."
        )

    def _restore(self, file: Path, replace: bool):
        restored = restore(file, replace=replace)
        if restored.aside:
            self.stdout.write(f"What was here before is kept in {restored.aside}.")
        self.stdout.write(
            f"Restored as of {restored.made:%Y-%m-%d %H:%M} UTC: {restored.rows} records and "
            f"{restored.files} photo files. Everybody has to sign in again."
        )
