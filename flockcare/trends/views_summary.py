"""The summary of a flock, to be pooled with those of others."""

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.trends.summary import summary_of


@require_safe
@flock_view(Role.KEEPER, read=Role.KEEPER)
def download(request, flock):
    """Counts without names or days; the name of the file says nothing of the flock either."""
    return HttpResponse(
        summary_of(flock),
        content_type="application/json",
        headers={
            "Content-Disposition": 'attachment; filename="flock-summary.json"',
            "Cache-Control": "no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )
