"""Write all records and photos of a flock to a folder, or to a file ending in .zip."""

from django.core.management.base import BaseCommand, CommandError

from flockcare.exchange.management.commands.import_records import find_flock
from flockcare.exchange.services import Refused, export
from flockcare.people.models import Keeper


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser):
        parser.add_argument("path", help="a new folder, or a new file ending in .zip")
        parser.add_argument("--flock", required=True, metavar="NAME")
        parser.add_argument(
            "--owner",
            metavar="SIGN_IN_NAME",
            help="one of its keepers, if several flocks have that name",
        )

    def handle(self, *, path, flock, owner, **options):
        keeper = Keeper.objects.filter(sign_in_name=owner.lower()).first() if owner else None
        if owner and keeper is None:
            raise CommandError(f"There is no keeper with the sign-in name {owner}.")
        found = find_flock(flock, keeper)
        if found is None:
            raise CommandError("There is no flock of that name.")
        try:
            exported = export(found, path)
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        except OSError as error:
            raise CommandError(f"The export cannot be written: {error}") from error
        for name, rows in exported.counts.items():
            self.stdout.write(f"{name}: {rows} rows")
        for name in exported.lost:
            self.stderr.write(f"The file of this photo is lost: {name}")
