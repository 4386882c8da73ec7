"""Which flock, which role: a stranger gets 404, a member without the right gets 403.

Views never look for a flock themselves: ``flock_view`` hands them the one in the address.
"""

from functools import wraps

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone

from flockcare.people.models import Membership, Role


def membership_or_404(keeper, flock_id) -> Membership:
    try:
        return Membership.objects.select_related("flock").get(keeper=keeper, flock=flock_id)
    except Membership.DoesNotExist:
        raise Http404("No such flock.") from None


def flock_view(role: Role = Role.KEEPER, *, read: Role = Role.VIEWER):
    """Wrap ``view(request, flock, …)`` served under ``<uuid:flock_id>``.

    ``role`` is needed to change something (any method but GET and HEAD), ``read`` to look.
    Inside the view the clock is the flock's, and ``request.membership`` is set.
    """

    def decorate(view):
        @wraps(view)
        def wrapper(request, flock_id, **kwargs):
            membership = membership_or_404(request.user, flock_id)
            needed = read if request.method in ("GET", "HEAD") else role
            if not membership.can(needed):
                raise PermissionDenied(
                    f"You are a {Role(membership.role).label.lower()} here; this needs the role "
                    f"of {Role(needed).label.lower()}."
                )
            request.membership = membership
            with timezone.override(membership.flock.zone):
                return view(request, membership.flock, **kwargs)

        wrapper.flock_role, wrapper.flock_read = role, read
        return wrapper

    return decorate


def membership_context(request):
    """For templates: the flock of this page and what the keeper may do in it."""
    membership = getattr(request, "membership", None)
    if membership is None:
        return {}
    return {
        "flock": membership.flock,
        "may_write": membership.can(Role.KEEPER),
        "is_owner": membership.can(Role.OWNER),
    }
