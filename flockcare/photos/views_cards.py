"""Printed cards: which birds, then the sheets."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from flockcare.drawing.markup import Markup
from flockcare.people.access import flock_view
from flockcare.photos.cards import SPAN, card_svg
from flockcare.photos.forms import CardsForm, PrintForm
from flockcare.photos.measuring import card_code
from flockcare.photos.models import CardPrint, Foot
from flockcare.photos.prints import save_print

USUAL = {"cards_for": CardsForm.BIRD, "paper": "a4", "per_sheet": CardsForm.MOST_ON_A_SHEET}


@require_safe
@flock_view()
def choose(request, flock):
    return _page(request, flock, CardsForm(flock=flock, initial=USUAL))


def _page(request, flock, form, print_form=None, status=200):
    context = {
        "form": form,
        "print_form": print_form or PrintForm(),
        "printed": CardPrint.objects.filter(flock=flock).select_related("keeper").last(),
        "span": SPAN,
        "here": "more",
    }
    return render(request, "photos/cards.html", context, status=status)


@require_POST
@flock_view()
def measure_print(request, flock):
    """Keep how large a printed card is."""
    form = PrintForm(request.POST)
    if not form.is_valid():
        choice = CardsForm(flock=flock, initial=USUAL)
        return _page(request, flock, choice, form, status=422)
    today = timezone.localdate(timezone=flock.zone)
    save_print(flock=flock, keeper=request.user, on=today, **form.cleaned_data)
    messages.success(request, "Saved. Sizes in photos allow for it from now on.")
    return redirect("photos:cards", flock.pk)


@require_safe
@flock_view()
def sheets(request, flock):
    """The chosen cards at their true size, the usual ones where nothing was chosen.

    The form again where something of the choice is missing.
    """
    form = CardsForm(request.GET or USUAL, flock=flock)
    if not form.is_valid():
        return _page(request, flock, form, status=422)
    chosen = form.cleaned_data
    feet = [""] if chosen["cards_for"] == CardsForm.BIRD else list(Foot.values)
    birds = chosen["birds"] or form.fields["birds"].queryset
    many = chosen["per_sheet"]
    cards = [_card(bird, foot) for bird in birds for foot in feet]
    if not cards:
        return redirect("photos:cards", flock.pk)
    context = {
        "sheets": [cards[first : first + many] for first in range(0, len(cards), many)],
        "paper": chosen["paper"],
        "paper_name": CardsForm.PAPERS[chosen["paper"]],
        "here": "more",
    }
    return render(request, "photos/card_sheets.html", context)


def _card(bird, foot: str) -> Markup:
    name = f"{bird.name}, {foot}" if foot else bird.name
    return Markup(card_svg(card_code(bird, foot), name))
