"""The vet sheet as a page and as a PDF, for keepers and behind a share link."""

from __future__ import annotations

import datetime as dt
from functools import wraps
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Exists, Max, OuterRef
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST, require_safe

from flockcare.birds.models import Bird
from flockcare.care.situation import standings
from flockcare.core.dates import PartialDate
from flockcare.core.files import private_file
from flockcare.drawing.dates import date_words
from flockcare.people.access import flock_view
from flockcare.people.models import Units
from flockcare.people.views import link_to_show, secret_link
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo
from flockcare.vetsheet import pdf as pdf_file
from flockcare.vetsheet import services
from flockcare.vetsheet.forms import PeriodForm, SharingForm
from flockcare.vetsheet.gather import sheet as gather
from flockcare.vetsheet.models import Purpose, ShareLink, ShareOpening
from flockcare.vetsheet.names import Nameless, Names
from flockcare.vetsheet.page import drawn
from flockcare.vetsheet.records import Period, keepers_of, photo_in, read, subjects
from flockcare.vetsheet.sheet import VetSheet

GONE = 410
OPENINGS_SHOWN = 10


# --- For the members of a flock


@require_safe
@flock_view()
def sheet(request, flock, bird_id):
    asked = {"question": request.GET.get("question", "")}
    return _page(request, _bird_or_404(flock, bird_id), SharingForm(initial=asked))


def _page(request, bird: Bird, sharing: SharingForm):
    asked = request.POST if request.method == "POST" else request.GET
    form = PeriodForm(asked, newest=_newest_day(bird))
    found = _own_sheet(request, bird, form)

    def photo_url(photo, size: int) -> str:
        address = reverse("photos:file", args=[bird.flock_id, photo.key, size])
        return f"{address}?v={photo.edition or 0}"

    query = form.as_query()
    context = drawn(found, photo_url) | {
        "bird": bird,
        "form": form,
        "sharing": sharing,
        # The form of the link has the question in a field of its own.
        "kept": {name: value for name, value in query.items() if name != "question"},
        "pdfs": _pdfs(reverse("vetsheet:pdf", args=[bird.flock_id, bird.pk]), bird, query),
        "links": link_rows(request, links_of(bird.flock).filter(bird=bird)),
        "here": "birds",
    }
    wrong = form.errors or sharing.errors
    return render(request, "vetsheet/bird.html", context, status=422 if wrong else 200)


@require_safe
@flock_view()
def pdf(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    form = PeriodForm(request.GET, newest=_newest_day(bird))
    if not form.is_valid():
        # The page says what is wrong.
        return redirect(
            f"{reverse('vetsheet:sheet', args=[flock.pk, bird.pk])}?{request.GET.urlencode()}"
        )
    return _pdf(request, _own_sheet(request, bird, form))


def _own_sheet(request, bird: Bird, form: PeriodForm) -> VetSheet:
    period = form.chosen()
    asked = {"question": form.cleaned_data.get("question", ""), "asked_on": timezone.localdate()}
    return _sheet(bird, period, made_by=request.user.name, **asked)


@require_POST
@flock_view()
@never_cache
def share(request, flock, bird_id):
    """Make a link. It is shown this once and kept nowhere, so the page must not be either."""
    bird = _bird_or_404(flock, bird_id)
    form = PeriodForm(request.POST, newest=_newest_day(bird))
    sharing = SharingForm(request.POST)
    if not (form.is_valid() and sharing.is_valid()):
        return _page(request, bird, sharing)
    period = form.chosen()
    link, token = services.share(
        membership=request.membership,
        bird=bird,
        first=period.first,
        last=period.last,
        **sharing.cleaned_data,
    )
    context = link_to_show(request, reverse("vetsheet:shared", args=[token]))
    context |= {"bird": bird, "made": link, "here": "birds"}
    return render(request, "vetsheet/link.html", context)


@require_safe
@flock_view()
def links(request, flock):
    """Every bird's sheet, and all links that were handed out."""
    birds = list(Bird.objects.filter(flock=flock))
    names = {bird.pk: bird.name for bird in birds}
    context = {
        "here": "more",
        "present": [bird for bird in birds if not bird.left],
        "gone": [bird for bird in birds if bird.left],
        "links": link_rows(request, links_of(flock).prefetch_related("openings"), names),
    }
    return render(request, "vetsheet/links.html", context)


@require_POST
@flock_view()
def revoke(request, flock, link_id):
    link = get_object_or_404(ShareLink.objects.in_flock(flock), pk=link_id)
    if not link.may_be_revoked_by(request.membership):
        raise PermissionDenied(
            "Only whoever made a link, or an owner of the flock, can turn it off."
        )
    services.revoke_share(link=link, by=request.user)
    messages.success(request, "The link is turned off.")
    sitter = link.purpose == Purpose.SITTER
    return redirect("vetsheet:sitters" if sitter else "vetsheet:links", flock.pk)


def links_of(flock, purpose: Purpose = Purpose.SHEET):
    return (
        ShareLink.objects.in_flock(flock)
        .filter(purpose=purpose)
        .select_related("membership__keeper")
        .annotate(opened=Count("openings"), last_opened=Max("openings__at"))
    )


def link_rows(request, links, names=None) -> list[dict]:
    """What a page says of each link.

    With ``names`` of birds: of those that are still there, and when their links were opened.
    """
    now = timezone.now()
    still_open = ShareLink.objects.open(now=now).filter(pk=OuterRef("pk"))
    rows = []
    for link in links.annotate(open=Exists(still_open)):
        if names is not None and link.bird_id not in names:
            continue
        newest = list(link.openings.all())[:OPENINGS_SHOWN] if names else []
        rows.append(
            {
                "link": link,
                "bird": names and names[link.bird_id],
                "open": link.open,
                "state": state_of(link, now),
                "newest": newest,
                "before": link.opened - len(newest),
                "may_end": link.open and link.may_be_revoked_by(request.membership),
            }
        )
    return rows


def state_of(link: ShareLink, now) -> str:
    if link.revoked_at:
        return f"Turned off on {_day(link.revoked_at)}"
    if link.expires_at <= now:
        return f"Expired on {_day(link.expires_at)}"
    if not link.uses_left:
        return "Turned off: opened too often"
    if not link.open:
        return f"Turned off: {link.made_by} may no longer share"
    return f"Works until {_day(link.expires_at)}"


def _day(at) -> str:
    return date_words(timezone.localdate(at))


def _bird_or_404(flock, bird_id) -> Bird:
    bird = get_object_or_404(subjects(flock), pk=bird_id)
    bird.flock = flock
    return bird


def _newest_day(bird: Bird) -> dt.date:
    today = timezone.localdate()
    return min(today, PartialDate.parse(bird.left).last()) if bird.left else today


# --- Behind a share link


def kept_by_nobody(response: HttpResponse) -> HttpResponse:
    response.headers["X-Robots-Tag"] = "noindex"
    response.headers["Cache-Control"] = "private, no-store"
    return response


def shared_view(view):
    """Wrap ``view(request, token, link, bird, …)`` so that only a good token gets to it.

    Everything under a link is kept by nobody, found by no search engine, and passes its address
    on to nobody. The clock is the flock's.
    """

    @wraps(view)
    def wrapper(request, token, **kwargs):
        try:
            link = services.shared(token=token, purpose=Purpose.SHEET)
            bird = subjects(link.flock).get(pk=link.bird_id)
            bird.flock = link.flock
            with timezone.override(link.flock.zone):
                response = view(request, token, link, bird, **kwargs)
        except (services.LinkGone, Bird.DoesNotExist):
            response = render(request, "vetsheet/gone.html", status=GONE)
        except Http404:
            response = render(request, "vetsheet/gone.html", {"alive": True}, status=404)
        return kept_by_nobody(response)

    # Not HEAD, which would have the sheet made without being written down.
    return require_GET(secret_link(wrapper))


@shared_view
def shared(request, token, link, bird):
    services.note_opening(link=link, token=token, what=ShareOpening.What.PAGE)
    found = _shared_sheet(link, bird)

    def photo_url(photo, size: int) -> str:
        address = reverse("vetsheet:shared_photo", args=[token, photo.key, size])
        return f"{address}?v={photo.edition or 0}"

    context = drawn(found, photo_url) | {
        "until": timezone.localtime(link.expires_at),
        "nameless": link.nameless,
        "pdfs": _pdfs(reverse("vetsheet:shared_pdf", args=[token]), bird, {}),
    }
    return render(request, "vetsheet/shared.html", context)


@shared_view
def shared_pdf(request, token, link, bird):
    services.note_opening(link=link, token=token, what=ShareOpening.What.PDF)
    return _pdf(request, _shared_sheet(link, bird))


@shared_view
def shared_photo(request, token, link, bird, photo_id, size):
    """A photo of this bird from this period, in a size that the page shows; the original never."""
    photo = get_object_or_404(Photo, flock=link.flock, bird=bird, pk=photo_id)
    if size not in SIZES or not photo_in(photo, bird, _period_of(link)):
        raise Http404("This photo is not part of what the link shows.")
    tag = f"{photo.sha256[:32]}-{photo.edition}-{size}"
    return private_file(request, photo.path(size), content_type="image/jpeg", tag=tag)


def _period_of(link: ShareLink) -> Period:
    return Period(link.first, link.last)


def _shared_sheet(link: ShareLink, bird: Bird) -> VetSheet:
    return _sheet(
        bird,
        _period_of(link),
        made_by=link.made_by.name,
        nameless=link.nameless,
        question=link.question,
        asked_on=timezone.localdate(link.created_at),
    )


# --- Both


def _sheet(bird: Bird, period: Period, *, nameless: bool = False, **told) -> VetSheet:
    """``told``: by whom it is made and what is asked, as ``gather.sheet`` takes it."""
    records = read(bird, period)
    names = Nameless(keepers_of(bird.flock, records)) if nameless else Names()
    now = timezone.now()
    stands = standings(bird.flock, now=now)
    return gather(records, stands, names, made_on=timezone.localdate(now), **told)


def _pdfs(address: str, bird: Bird, query: dict) -> list[tuple[str, str]]:
    """Name and address of the file for each paper, the likelier one first."""
    papers = [("a4", "A4"), ("letter", "Letter")]
    if bird.flock.units == Units.IMPERIAL:
        papers.reverse()
    return [(name, f"{address}?{urlencode(query | {'paper': key})}") for key, name in papers]


def _pdf(request, found: VetSheet) -> HttpResponse:
    paper = request.GET.get("paper", "a4")
    if paper not in pdf_file.PAPERS:
        raise Http404("Choose A4 or Letter.")
    name = f"Vet sheet {found.name} {timezone.localdate().isoformat()}.pdf"
    return HttpResponse(
        pdf_file.write(found, paper),
        content_type="application/pdf",
        headers={
            "Content-Disposition": content_disposition_header(False, name),
            "Cache-Control": "private, no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )
