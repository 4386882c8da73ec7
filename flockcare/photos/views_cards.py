"""Printed cards: which birds, then the sheets."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from flockcare.drawing.markup import Markup
from flockcare.people.access import flock_view
from flockcare.photos.cards import card_svg
from flockcare.photos.forms import CardsForm
from flockcare.photos.measuring import card_code
from flockcare.photos.models import Foot


@require_safe
@flock_view()
def choose(request, flock):
    form = CardsForm(flock=flock, initial={"cards_for": "bird", "paper": "a4", "per_sheet": 10})
    return render(request, "photos/cards.html", {"form": form, "here": "more"})


@require_safe
@flock_view()
def sheets(request, flock):
    """The chosen cards at their true size; the form again where something is missing."""
    form = CardsForm(request.GET, flock=flock)
    if not form.is_valid():
        return render(request, "photos/cards.html", {"form": form, "here": "more"}, status=422)
    chosen = form.cleaned_data
    feet = [""] if chosen["cards_for"] == CardsForm.BIRD else list(Foot.values)
    birds = chosen["birds"] or form.fields["birds"].queryset
    many = chosen["per_sheet"]
    cards = [_card(bird, foot) for bird in birds for foot in feet]
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
