"""The rules behind the advice, medicines and eggs, and how a foot is soaked and dressed."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from flockcare.care import notifiable
from flockcare.care.dressing import NEEDED, PARTS, STEPS, VET_FIRST
from flockcare.care.medicines import ASK, EGGS, LISTS, NOTICES, SILENCE, STEWARDSHIP
from flockcare.care.rules import LIMITS, RULES, UNASKED, Advice
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
    return render(
        request,
        "care/dressing.html",
        {
            "here": "today",
            "vet_first": VET_FIRST,
            "needed": NEEDED,
            "steps": STEPS,
            "parts": PARTS,
        },
    )
