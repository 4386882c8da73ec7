"""Import exported records into a flock: all of them, or none and the reasons."""

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from flockcare.core.starting import in_words
from flockcare.exchange.services import Refused, apply, check, read_folder
from flockcare.people.bylines import Guest
from flockcare.people.models import Flock, Keeper


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser):
        parser.add_argument("path", help="a folder or zip with birds.csv, checks.csv and so on")
        parser.add_argument("--flock", required=True, metavar="NAME")
        parser.add_argument("--create", action="store_true", help="make the flock if there is none")
        parser.add_argument(
            "--owner",
            metavar="SIGN_IN_NAME",
            help="owner of a new flock; one of its keepers, if several flocks have that name",
        )
        parser.add_argument(
            "--time-zone",
            default="UTC",
            help="of a new flock, such as Europe/London, if the files do not say it",
        )

    def handle(self, *, path, flock, create, owner, time_zone, **options):
        owner = self._keeper(owner)
        flock = find_flock(flock, owner) or (create and self._new_flock(flock, time_zone))
        if not flock:
            raise CommandError("There is no flock of that name. Use --create to make it.")
        is_new = flock._state.adding
        # What was kept of a flock that is there holds until a revision says that it is another.
        by = owner or (None if is_new else Guest("the command line"))
        try:
            plan = check(read_folder(path), flock, keepers=[owner] if is_new and owner else None)
            with in_words():
                apply(plan, owner=owner, by=by, whole=is_new)
        except Refused as refused:
            self._refuse(refused)
        for kind, (new, there) in plan.counts().items():
            if new or there:
                self.stdout.write(f"{kind}: {new} new, {there} already there")
        for name in plan.lost:
            self.stderr.write(f"The file of this photo was lost before the export: {name}")
        if is_new and not owner:
            self.stdout.write("The flock has no owner yet, so nobody can open it in the app.")

    def _keeper(self, sign_in_name):
        if not sign_in_name:
            return None
        keeper = Keeper.objects.filter(sign_in_name=sign_in_name.lower()).first()
        if keeper is None:
            raise CommandError(f"There is no keeper with the sign-in name {sign_in_name}.")
        return keeper

    def _new_flock(self, name, time_zone):
        flock = Flock(name=name, time_zone=time_zone)
        try:
            flock.full_clean()
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        return flock

    def _refuse(self, refused):
        for problem in refused.problems:
            self.stderr.write(str(problem))
        count = f"{len(refused.problems)} or more" if refused.more else len(refused.problems)
        raise CommandError(f"Nothing was imported: {count} to fix.")


def find_flock(name: str, owner: Keeper | None = None) -> Flock | None:
    """The only flock of that name (of ``owner``, if given); CommandError for several."""
    flocks = Flock.objects.filter(name=name)
    if owner:
        flocks = flocks.of(owner)
    if len(flocks) > 1:
        raise CommandError("Several flocks have that name. Name one of its keepers with --owner.")
    return flocks[0] if flocks else None
