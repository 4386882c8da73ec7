"""What commands about one flock share."""

from django.core.management.base import CommandError

from flockcare.people.models import Flock


def flock_called(name: str, owner: str | None = None) -> Flock:
    """The only flock of that name. ``owner``: sign-in name of a keeper, which tells apart several.

    Raises CommandError where there is none, or more than one.
    """
    found = Flock.objects.filter(name=name)
    if owner:
        found = found.filter(membership__keeper__sign_in_name=owner.lower())
    if len(found) != 1:
        raise CommandError(
            f"There is no flock called “{name}”."
            if not found
            else f"{len(found)} flocks are called “{name}”: name a keeper with --owner."
        )
    return found[0]
