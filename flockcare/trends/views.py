"""The page Trends, the records behind each of its marks, and the stretch that is compared."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections import defaultdict
from collections.abc import Iterable
from urllib.parse import urlencode

from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.drawing.dates import add_months, date_words
from flockcare.housing.models import House
from flockcare.people.access import flock_view
from flockcare.trends import answer_rows, charts, scan, thresholds, words
from flockcare.trends.forms import WindowForm
from flockcare.trends.models import WindowChoice
from flockcare.trends.report import CaseLine, ChangeAnswer, Grouping, Report
from flockcare.trends.report_cache import report_of
from flockcare.trends.services import choose_window

_MONTHS = re.compile(r"months:(\d{4})-(\d{2})-([1-3])")


@require_safe
@flock_view()
def page(request, flock):
    """``?all=yes`` draws the whole record where it is longer than three years."""
    report = report_of(flock, timezone.localdate())
    address = _addresses(flock)
    everything = "all" in request.GET
    shown = charts.buckets(report, everything=everything)
    groupings = [_grouping(grouping, address) for grouping in report.groupings]
    rows = answer_rows.rows_of(report)
    return render(
        request,
        "trends/page.html",
        {
            "here": "trends",
            "report": report,
            "rows": rows,
            "little": answer_rows.little(report, rows),
            "said": any(row.says for row in rows),
            "unsaid": sum(not row.says for row in rows),
            "lead": words.lead([(row.mark, row.called) for row in rows]),
            "outbreaks": [(one, address(f"outbreak:{one.house_key}")) for one in report.outbreaks],
            "cautions": report.headline[
                len(report.outbreaks) : report.headline.index(report.summary.sentences[0])
            ],
            "next_change": answer_rows.next_change(report),
            "for_whom": answer_rows.for_whom(report),
            "one_at_a_time": words.ONE_AT_A_TIME,
            "changes": [(one, _address_of(one)) for one in report.changes],
            "buckets": [(bucket, address(f"months:{bucket.key}")) for bucket in shown],
            "months_chart": shown
            and charts.months_chart(
                report, shown, address, "New cases and the time watched, over time"
            ),
            "longer": len(report.months) > charts.MOST_MONTHS,
            "everything": everything,
            "groupings": [one for one in groupings if one["chart"]],
            "too_little": _by_reason(one["answer"] for one in groupings if not one["chart"]),
            "needed": words.NEEDED,
            "repeats_chart": report.repeats.birds
            and charts.repeats_chart(report.repeats, address, "New cases of each bird"),
            "more_birds": max(0, len(report.repeats.birds) - charts.MOST_BIRDS),
            "healing_chart": _healing_chart(report, address),
            "healing": [
                (group, charts.swatch(group.key), address(f"healing:{group.key}"))
                for group in report.healing.groups
            ],
            "all_cases": address("all"),
            "simulations": scan.PERMUTATIONS,
        },
    )


@require_safe
@flock_view()
def change(request, flock, house_id, on):
    """One change: its line, what was counted, what else changed, how we know."""
    report = report_of(flock, timezone.localdate())
    house, found = _change_or_404(flock, report, house_id, on)
    return render(
        request,
        "trends/change.html",
        {
            "here": "trends",
            "house": house,
            "on": on,
            "row": answer_rows.row_of(found, report),
            "answer": found,
            "found": found.found,
            **_drawn_change(found, _addresses(flock)),
        },
    )


def _change_or_404(flock, report: Report, house_id, on: str) -> tuple[House, ChangeAnswer]:
    house = get_object_or_404(House, flock=flock, pk=house_id)
    try:
        day = dt.date.fromisoformat(on)
    except ValueError as error:
        raise Http404("That is not a day.") from error
    found = next((one for one in report.changes if _is_of(one, house, day)), None)
    if found is None:
        raise Http404("Nothing changed in this house on that day.")
    return house, found


def _address_of(change: ChangeAnswer) -> tuple[uuid.UUID, str]:
    """House and day, as the address of its page has them."""
    return uuid.UUID(change.house_key), change.days[0].isoformat()


def _addresses(flock):
    base = reverse("trends:cases", args=[flock.pk])

    def address(of: str) -> str:
        """Where the cases behind a mark are listed."""
        return f"{base}?{urlencode({'of': of})}"

    return address


def _drawn_change(change: ChangeAnswer, address) -> dict:
    ranges = charts.ratio_rows(change, address) if change.found else []
    drawn = any(one.figure for one in ranges)
    return {
        "ranges": ranges,
        "chart": drawn and charts.ratio_chart(ranges, "The rate after over the rate before"),
        "cases": address(f"change:{change.number}"),
    }


def _grouping(grouping: Grouping, address) -> dict:
    drawn = charts.drawn_rows(grouping)
    title = f"{grouping.title}: new cases by group, with their range"
    return {
        "answer": grouping,
        "chart": drawn and charts.group_chart(grouping, address, title),
        "small": [row for row in grouping.rows if row not in drawn],
    }


def _by_reason(refused: Iterable[Grouping]) -> list[tuple[str, list[Grouping]]]:
    """What cannot be drawn, those together of which the same is said."""
    found = defaultdict(list)
    for grouping in refused:
        found[" ".join(grouping.sentences)].append(grouping)
    return list(found.items())


def _healing_chart(report: Report, address):
    if not any(group.points and not group.refusal for group in report.healing.groups):
        return None
    return charts.healing_chart(
        report.healing, address, "Sores not yet seen clear, by days since first seen"
    )


# The cases behind a mark


@require_safe
@flock_view()
def cases(request, flock):
    """``?of=`` names a mark, such as ``months:2025-03-1``, ``change:2`` or ``healing:vet``."""
    report = report_of(flock, timezone.localdate())
    of = request.GET.get("of", "all")
    title, found = _cases_of(report, of)
    rows = [
        (case, uuid.UUID(case.bird), uuid.UUID(case.check))
        for case in sorted(found, key=lambda case: (case.found_on, case.name), reverse=True)
    ]
    return render(
        request,
        "trends/cases.html",
        {
            "here": "trends",
            "title": title,
            "how": _how_many_usual(report, of),
            "rows": rows,
            "not_counted": sum(not case.counted for case in found),
        },
    )


def _how_many_usual(report: Report, of: str) -> str:
    for one in report.outbreaks:
        if of == f"outbreak:{one.house_key}":
            return words.how_many_usual(one.p if one.told else None)
    return ""


def _cases_of(report: Report, of: str) -> tuple[str, list[CaseLine]]:
    """Their title and the cases; 404 for what is no mark of the page."""
    kind, _, key = of.partition(":")
    if kind == "months":
        return _cases_of_months(report, of)
    if of == "all":
        return "All new cases", list(report.cases)
    for name, title, numbers in _marks(report, kind):
        if name == key:
            return title, [report.cases[number] for number in numbers]
    raise Http404("Nothing on the page Trends is called that.")


def _marks(report: Report, kind: str):
    """Key, title and places of the cases of every mark of this kind."""
    if kind == "change":
        for change in report.changes:
            numbers = change.found.numbers if change.found else ()
            yield str(change.number), f"Before and after: {change.title}", numbers
    elif kind == "group":
        for grouping in report.groupings:
            for row in grouping.rows:
                yield row.key, f"{grouping.title}: {row.name}", row.numbers
    elif kind == "bird":
        for bird in report.repeats.birds:
            yield bird.key, f"New cases of {bird.name}", bird.numbers
    elif kind == "outbreak":
        for one in report.outbreaks:
            where = f" in {one.house}" if one.house else ""
            yield one.house_key, f"New cases{where} since {date_words(one.since)}", one.numbers
    elif kind == "healing":
        for group in report.healing.groups:
            yield group.key, f"Healing: {group.name}", group.numbers


def _cases_of_months(report: Report, of: str) -> tuple[str, list[CaseLine]]:
    """Those that may have begun, or were found, in these months."""
    match = _MONTHS.fullmatch(of)
    if not match or not 1 <= int(match[2]) <= 12 or not int(match[1]):
        raise Http404("There are no such months.")
    first = dt.date(int(match[1]), int(match[2]), 1)
    following = add_months(first, int(match[3]))
    found = [case for case in report.cases if case.found_on >= first and case.clear_on < following]
    months = {f"{first:%B %Y}": None, f"{following - dt.timedelta(1):%B %Y}": None}
    return f"May have begun in {' to '.join(months)}", found


# The stretch that is compared


@flock_view()
def window(request, flock, house_id, on):
    """Choose how many days before and after a change are compared."""
    report = report_of(flock, timezone.localdate())
    house, change = _change_or_404(flock, report, house_id, on)
    choice = WindowChoice(
        flock=flock,
        house=house,
        on=dt.date.fromisoformat(on),
        window_days=change.window_days,
        lag_days=change.lag_days,
    )
    form = WindowForm(request.POST or None, instance=choice)
    if request.method == "POST" and form.is_valid():
        choose_window(choice=form.instance, by=request.user)
        return redirect("trends:change", flock.pk, house.pk, on)
    return render(
        request,
        "trends/window.html",
        {
            "here": "trends",
            "house": house,
            "change": change,
            "form": form,
            "on": on,
            "usual": thresholds.WINDOW_DAYS,
        },
        status=422 if form.errors else 200,
    )


def _is_of(change: ChangeAnswer, house: House, day: dt.date) -> bool:
    return change.house_key == house.pk.hex and day in change.days
