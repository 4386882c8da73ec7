"""The app as a page of the phone: manifest, worker, the pages it keeps, the outbox."""

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from flockcare.offline import shell
from flockcare.people.access import flock_view

GREEN, GROUND = "#1c5536", "#faf6ee"  # as in flockcare.css
ICONS = [
    ("img/icon.svg", "any", "image/svg+xml", "any"),
    ("img/icon-192.png", "192x192", "image/png", "any"),
    ("img/icon-512.png", "512x512", "image/png", "any"),
    ("img/icon-maskable-512.png", "512x512", "image/png", "maskable"),
]


def anybodys(view):
    """The same for everybody: without sign-in, asked for anew each time."""
    return require_safe(login_not_required(cache_control(no_cache=True)(view)))


@anybodys
def manifest(request):
    return JsonResponse(
        {
            "id": "/",
            "name": "Flockcare",
            "short_name": "Flockcare",
            "description": "Foot checks for a flock of hens.",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "theme_color": GREEN,
            "background_color": GROUND,
            "icons": [
                {"src": staticfiles_storage.url(name), "sizes": sizes, "type": kind, "purpose": use}
                for name, sizes, kind, use in ICONS
            ],
        },
        content_type="application/manifest+json",
    )


@anybodys
def worker(request):
    return HttpResponse(shell.worker(), content_type="text/javascript")


@anybodys
def kept(request, name):
    """A page as the worker keeps it."""
    if name not in shell.PAGES:
        raise Http404("There is no such page.")
    return HttpResponse(shell.page(name))


@anybodys
def outbox(request):
    """What waits on this phone. The page holds none of it; the phone fills it."""
    return HttpResponse(shell.page("outbox"))


@require_safe
@flock_view()
def about(request, flock):
    """What happens when there is no signal."""
    return render(request, "offline/about.html", {"here": "more", "own_https": settings.LAN_HTTPS})
