"""Making, opening and ending links to a bird's sheet."""

from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from flockcare.core.models import Token, token_hash
from flockcare.people import history
from flockcare.people.models import Keeper, Membership
from flockcare.people.services import LinkGone
from flockcare.vetsheet.models import ShareLink, ShareOpening

SHARE_DAYS = (7, 30, 90)
# Each opening is written down: whoever has the link must not be able to fill the database.
SHARE_OPENINGS = 1000


def share(
    *, membership: Membership, bird, first, last, days: int, nameless: bool
) -> tuple[ShareLink, str]:
    """A new link to one bird from ``first`` (None: ever) to ``last``, and its token, not kept."""
    token = Token.new()
    link = ShareLink(
        membership=membership,
        bird=bird,
        first=first,
        last=last,
        nameless=nameless,
        token_hash=token_hash(token),
        expires_at=timezone.now() + timedelta(days=days),
        uses_left=SHARE_OPENINGS,
    )
    link.save(force_insert=True)
    return link, token


def shared(*, token: str) -> ShareLink:
    """The link of this token, with its flock and maker. LinkGone when it opens nothing any more."""
    links = ShareLink.objects.usable(token, now=timezone.now())
    link = links.select_related("membership__flock", "membership__keeper").first()
    if link is None:
        raise LinkGone("This link has been withdrawn or has run out. Ask for a new one.")
    return link


def note_opening(*, link: ShareLink, token: str, what: str) -> None:
    """Write down that the link was opened. LinkGone when it ended in this very moment."""
    # No transaction: one of the two without the other does no harm, and a vet waits for neither.
    if not ShareLink.objects.use(token, now=timezone.now()):
        raise LinkGone("This link has been withdrawn or has run out. Ask for a new one.")
    ShareOpening.objects.create(link=link, what=what)


@transaction.atomic
def revoke_share(*, link: ShareLink, by: Keeper) -> None:
    if link.revoked_at is None:
        link.revoked_at = timezone.now()
        history.change(link, by=by)
