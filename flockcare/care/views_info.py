"""The rules behind the advice, medicines and eggs, and how a foot is soaked and dressed."""

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.birds.models import Bird
from flockcare.care import notifiable
from flockcare.care.dressing import NEEDED, PARTS, STEPS, VET_FIRST
from flockcare.care.medicines import ASK, EGGS, LISTS, NOTICES, SILENCE, STEWARDSHIP
from flockcare.care.rows import Row
from flockcare.care.rules import LIMITS, RULES, UNASKED, Advice
from flockcare.care.situation import standing
from flockcare.core.forms import record_keys
from flockcare.people.access import flock_view


@require_safe
@flock_view()
def rules(request, flock):
    groups = [
        (advice, [rule for rule in RULES if rule.advice is advice])
        for advice in sorted(Advice, reverse=True)
    ]
    return render(
        request,
        "care/rules.html",
        {
            "here": "more",
            "unasked": UNASKED,
            "groups": [group for group in groups if group[1]],
            "limits": LIMITS,
            "notifiable": notifiable.SOURCES,
        },
    )


@require_safe
@flock_view()
def medicines(request, flock):
    return render(
        request,
        "care/medicines.html",
        {
            "here": "more",
            "eggs": EGGS,
            "lists": LISTS,
            "notices": NOTICES,
            "stewardship": STEWARDSHIP,
            "silence": SILENCE,
            "ask": ASK,
        },
    )


@require_safe
@flock_view()
def dressing(request, flock):
    """``?bird=``: whose foot it is. The page then leads back to her and says how she stands."""
    keys = record_keys(request.GET.getlist("bird"))
    bird = Bird.objects.filter(flock=flock, pk__in=keys).first()
    if bird:
        bird.flock = flock
    hers = standing(bird, now=timezone.now()) if bird else None
    return render(
        request,
        "care/dressing.html",
        {
            "here": "today",
            "bird": bird,
            "row": hers and Row(bird, hers),
            "vet_first": VET_FIRST,
            "needed": NEEDED,
            "steps": STEPS,
            "parts": PARTS,
        },
    )
