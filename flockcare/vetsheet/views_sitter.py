"""The page of whoever keeps the birds for some days, behind a link; and the keepers' page of such
links.
"""

from functools import wraps

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from flockcare.care.dressing import UNTIL_VET, VET_FIRST
from flockcare.core.forms import saved
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.people.views import link_to_show, secret_link
from flockcare.vetsheet import services
from flockcare.vetsheet.forms import SitterForm, SitterNoteForm
from flockcare.vetsheet.models import Purpose, ShareLink, ShareOpening
from flockcare.vetsheet.sitting import sitting
from flockcare.vetsheet.views import GONE, kept_by_nobody, link_rows, links_of

# --- For the keepers


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
@never_cache
def sitters(request, flock):
    """All links for sitters, and a new one, which is shown this once and kept nowhere."""
    form = SitterForm(request.POST if request.method == "POST" else None)
    made = []

    def make(**given):
        made.append(services.share_with_sitter(membership=request.membership, **given))

    if request.method == "POST" and form.is_valid() and saved(form, make, **form.cleaned_data):
        link, token = made[0]
        context = link_to_show(request, reverse("vetsheet:sitter", args=[token]))
        return render(
            request, "vetsheet/sitter_link.html", {**context, "made": link, "here": "more"}
        )
    links = links_of(flock, Purpose.SITTER).prefetch_related("openings")
    context = {"here": "more", "form": form, "links": link_rows(request, links)}
    return render(request, "vetsheet/sitters.html", context, status=422 if form.errors else 200)


def _link_or_404(flock, link_id) -> ShareLink:
    links = ShareLink.objects.in_flock(flock).filter(purpose=Purpose.SITTER)
    link = get_object_or_404(links.select_related("membership__keeper"), pk=link_id)
    link.membership.flock = flock
    return link


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def note(request, flock, link_id):
    """What the keepers tell the sitter, also while the link is in use."""
    link = _link_or_404(flock, link_id)
    form = SitterNoteForm(request.POST if request.method == "POST" else None, instance=link)
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(form, services.change_note, link=link, by=request.user, basis=form.basis)
    ):
        messages.success(request, f"Saved: the note for {link.name}.")
        return redirect("vetsheet:sitters", flock.pk)
    context = {"here": "more", "form": form, "link": link}
    return render(request, "vetsheet/sitter_note.html", context, status=422 if form.errors else 200)


@require_GET
@flock_view(Role.KEEPER, read=Role.KEEPER)
@never_cache
def paper(request, flock, link_id):
    """The sitter's page for all of their days, to be printed before they come."""
    return _page(request, _link_or_404(flock, link_id), on_paper=True)


# --- Behind the link


def sitter_view(view):
    """Wrap ``view(request, token, link)`` so that only a good token gets to it; see
    ``views.shared_view``.
    """

    @wraps(view)
    def wrapper(request, token):
        try:
            link = services.shared(token=token, purpose=Purpose.SITTER)
            with timezone.override(link.flock.zone):
                response = view(request, token, link)
        except services.LinkGone:
            response = render(request, "vetsheet/gone.html", status=GONE)
        return kept_by_nobody(response)

    return secret_link(wrapper)


@require_GET
@sitter_view
def sitter(request, token, link):
    services.note_opening(link=link, token=token, what=ShareOpening.What.PAGE)
    if _is_early(link):
        return render(request, "vetsheet/sitter_early.html", {"link": link})
    return _page(request, link, token=token)


def _is_early(link) -> bool:
    return timezone.localdate() < link.first


def _page(request, link, **more):
    """``token``: with its buttons; ``on_paper``: for all days ahead."""
    context = {
        "link": link,
        # For the number of the vet, and for nothing else of it.
        "flock": link.flock,
        "today": timezone.localdate(),
        "page": sitting(link, now=timezone.now()),
        "vet_first": VET_FIRST,
        "until_vet": UNTIL_VET,
        **more,
    }
    return render(request, "vetsheet/sitter.html", context)


def _answer(request, token, link, service, done: str, **said):
    """After a tap, which is counted as a use of the link: the page anew."""
    services.spend(token=token)
    if _is_early(link):
        return redirect("vetsheet:sitter", token)
    try:
        words = service(link=link, key=request.POST.get("what", ""), **said)
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
    else:
        messages.success(request, f"{done}: {words}.")
    return redirect("vetsheet:sitter", token)


@require_POST
@sitter_view
def tick(request, token, link):
    kind = request.POST.get("kind", "")
    return _answer(request, token, link, services.tick, "Saved", kind=kind)


@require_POST
@sitter_view
def undo(request, token, link):
    return _answer(request, token, link, services.undo_tick, "Undone")
