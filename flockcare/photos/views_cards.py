"""Printed cards: which birds, then the sheets."""

from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from flockcare.drawing.markup import Markup
from flockcare.people.access import flock_view
from flockcare.photos.cards import card_svg
from flockcare.photos.forms import CardsForm
from flockcare.photos.measuring import card_code
from flockcare.photos.models import Foot

USUAL = {"cards_for": CardsForm.BIRD, "paper": "a4", "per_sheet": CardsForm.MOST_ON_A_SHEET}


@require_safe
@flock_view()
def choose(request, flock):
    form = CardsForm(flock=flock, initial=USUAL)
    return render(request, "photos/cards.html", {"form": form, "here": "more"})


@require_safe
@flock_view()
def sheets(request, flock):
    """The chosen cards at their true size, the usual ones where nothing was chosen.

    The form again where something of the choice is missing.
    """
    form = CardsForm(request.GET or USUAL, flock=flock)
    if not form.is_valid():
        return render(request, "photos/cards.html", {"form": form, "here": "more"}, status=422)
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
