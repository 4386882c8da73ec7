"""``manage.py sweep_files``: look over the files of photos now, as is done at each start."""

import datetime as dt

from django.core.management import BaseCommand

from flockcare.exchange.pictures import clear_left
from flockcare.photos.checking import OLD, check_files


class Command(BaseCommand):
    help = "Repair damaged photos or list them, and delete files that no record names."

    def add_arguments(self, parser):
        parser.add_argument(
            "--older-than",
            type=int,
            default=int(OLD.total_seconds()),
            metavar="SECONDS",
            help="delete files without a record from this age on; less than a day only while "
            "nobody sends photos (default: a day)",
        )

    def handle(self, *, older_than, **options):
        old = dt.timedelta(seconds=older_than)
        clear_left(old)
        self.stdout.write(str(check_files(old=old)))
