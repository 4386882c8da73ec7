"""Pool the summaries of several flocks, by kind of change (see flockcare/trends/README.md)."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from flockcare.trends import pooling


class Command(BaseCommand):
    help = __doc__
    requires_system_checks = ()

    def add_arguments(self, parser):
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="summaries")

    def handle(self, *, files, **options):
        summaries, refused = pooling.read_all(files)
        for line in refused:
            self.stderr.write(line)
        if not summaries:
            raise CommandError("No file can be used.")
        self.stdout.write("\n".join(pooling.spoken(summaries, pooling.pool(summaries))))
