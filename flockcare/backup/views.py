"""Pages about the installation as a whole."""

import datetime as dt

from django.conf import settings
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.backup import keeping
from flockcare.core.visitors import plain_http
from flockcare.people import attempts, services
from flockcare.people.access import flock_view
from flockcare.people.models import Role

# Older than this, a daily backup is missing.
LATE = dt.timedelta(hours=36)


@require_safe
@flock_view(Role.OWNER, read=Role.OWNER)
def backup(request, flock):
    """When the last backup was made, and how to copy it elsewhere and bring it back."""
    kept = keeping.kept()
    newest = kept[0] if kept else None
    return render(
        request,
        "backup/backup.html",
        {
            "flock": flock,
            "here": "more",
            "kept": kept,
            "newest": newest,
            "late": newest is not None and timezone.now() - newest.made > LATE,
            "failure": keeping.last_failure(),
            "folder": _shown(keeping.folder()),
            "days": keeping.DAYS,
            "weeks": keeping.WEEKS,
        },
    )


def _shown(folder) -> str:
    """As the README names it; where else the data lie is nobody's business but the machine's."""
    if folder.is_relative_to(settings.BASE_DIR):
        return str(folder.relative_to(settings.BASE_DIR))
    return f"{folder.name} in the folder that FLOCKCARE_DATA names"


@require_safe
@flock_view()
def security(request, flock):
    """What is protected and what is not, with the figures that the code goes by."""
    return render(
        request,
        "backup/security.html",
        {
            "flock": flock,
            "here": "more",
            "free_attempts": attempts.FREE,
            "many_attempts": attempts.MANY,
            "longest_wait": attempts.in_words(attempts.LONGEST_WAIT),
            "invitation_days": services.INVITATION_DAYS,
            "password_hours": services.PASSWORD_LINK_HOURS,
            "secure": not plain_http(request),
        },
    )
