"""A short guide for keepers, in the order in which they need it."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from flockcare.people.access import flock_view


@require_safe
@flock_view()
def guide(request, flock):
    return render(request, "backup/guide.html", {"flock": flock, "here": "more"})
