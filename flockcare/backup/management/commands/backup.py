"""Write everything in this installation, records and photos, to one file, also while it runs."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from flockcare.backup.keeping import make_daily
from flockcare.backup.services import BackupProblem, Made, make


class Command(BaseCommand):
    help = __doc__
    requires_system_checks = ()  # They import every page; none is shown here.

    def add_arguments(self, parser):
        parser.add_argument("file", nargs="?", type=Path, help="a new file, such as flock.zip")
        parser.add_argument(
            "--daily",
            action="store_true",
            help="today’s, in the folder backups of the data folder, unless it is there "
            "already; old ones are deleted",
        )

    def handle(self, *, file, daily, **options):
        if (file is None) != daily:
            raise CommandError("Name a file to write, or use --daily.")
        try:
            if daily:
                self.stdout.write(str(make_daily() or "Today’s backup is there already."))
            else:
                self._tell(file, make(file.absolute()))
        except BackupProblem as problem:
            raise CommandError(str(problem)) from problem

    def _tell(self, file: Path, made: Made):
        self.stdout.write(
            f"{file}: {made.rows} records and {made.photos} photos, {made.bytes / 1e6:.1f} MB."
        )
        if made.missing:
            self.stderr.write(
                f"{len(made.missing)} photo files are lost from the storage, so not in this "
                f"backup. The first: {made.missing[0]}"
            )
