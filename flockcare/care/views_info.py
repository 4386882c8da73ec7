"""The rules behind the advice, and what is to be known about medicines and eggs."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from flockcare.care.medicines import ASK, NOTICES, PROHIBITED_US, US_LIST
from flockcare.care.rules import LIMITS, NOTIFIABLE, RULES, UNASKED, Advice
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
            "groups": groups,
            "limits": LIMITS,
            "notifiable": NOTIFIABLE,
            "unasked": UNASKED,
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
            "us_list": US_LIST,
            "prohibited": PROHIBITED_US,
            "notices": NOTICES,
            "ask": ASK,
        },
    )
