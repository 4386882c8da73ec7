"""What if: a scratch copy of a house, and which one change of it helps most."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import get_text_list

from flockcare.drawing.dates import date_words
from flockcare.housing import changes, elevation, flags, landing, services, whatif
from flockcare.housing.drawn import is_heavy
from flockcare.housing.forms import DayField
from flockcare.housing.forms_whatif import LimitForm, ScratchForm
from flockcare.housing.layout import Layout
from flockcare.housing.models import Feature, House, HousingChange, PlannedState
from flockcare.housing.overlaps import new_overlaps
from flockcare.housing.routes import Route, ways_down
from flockcare.housing.states import NotRecorded, record_of
from flockcare.housing.units import length_text, number_text
from flockcare.housing.views import house_or_404
from flockcare.housing.views_landing import landings_context
from flockcare.people.access import flock_view

ADVICE_SHOWN = 6
NAMED = 4  # So many birds are named before they are counted.


@flock_view()
def what_if(request, flock, house_id):
    """A scratch copy of the house. Nothing is kept unless it is posted as a plan."""
    house = house_or_404(flock, house_id)
    today = timezone.localdate()
    try:
        pairs = record_of(house).on(today)
    except NotRecorded as error:
        return render(
            request,
            "housing/whatif.html",
            {"here": "houses", "house": house, "refused": str(error)},
        )
    now = landing.layout_of(house, today, pairs)
    form = ScratchForm(request.POST or request.GET, pairs=pairs, layout=now, units=flock.units)
    tried = Tried(house, now, pairs, form)
    if request.method == "POST":
        return _keep_plan(request, house, tried)
    context = {"here": "houses", "house": house, "form": form, **_compared(request, tried)}
    return render(
        request, "housing/whatif_piece.html" if request.htmx else "housing/whatif.html", context
    )


def _made(request, change: HousingChange, states, today: dt.date) -> str:
    """It is done already: the sketch becomes a change of a day."""
    day = DayField(today=today).clean(request.POST.get("on", ""))
    services.make_change(change=change, states=states, on=day, by=request.user, today=today)
    return f"Saved: a change of the house from {date_words(day)} on."


class Tried:
    """The house as it is and as it would be."""

    def __init__(self, house: House, now: Layout, pairs, form: ScratchForm):
        self.house, self.now, self.pairs, self.form = house, now, pairs, form
        form.is_valid()
        self.then = whatif.scratch(
            self.now,
            changed=form.changed(),
            removed=form.removed(),
            step=form.step(),
            before_name=form.step_before(),
        )

    def problems(self) -> list[str]:
        """What could not be read, and what cannot stand so."""
        return [*self.form.problems(), *new_overlaps(self.now, self.then)]

    def states(self) -> list[PlannedState]:
        """What each feature would become, where it differs."""
        flock = self.house.flock
        places = {place.name: place for place in self.then.places}
        found = []
        for feature, state in self.pairs:
            values = {name: getattr(state, name) for name in services.DESCRIPTION}
            new = landing.values_of(places[feature.name]) if feature.name in places else None
            if new is None:
                values["gone"] = True
            elif all(values[name] == value for name, value in new.items()):
                continue
            found.append(PlannedState(flock=flock, feature=feature, **(values | (new or {}))))
        if step := self.form.step():
            values = landing.values_of(places[step.name])
            found.append(PlannedState(flock=flock, name=step.name, kind=step.kind, **values))
        return found

    def words(self) -> list[str]:
        """``Top roost 130 → 100 cm`` for each difference."""
        units = self.house.flock.units
        states = {feature.pk: state for feature, state in self.pairs}
        found = []
        for planned in self.states():
            feature = planned.feature or Feature(name=planned.name, kind=planned.kind)
            before = states.get(planned.feature_id)
            found += changes.differences(feature, before, planned, units=units).words
        return found


def _keep_plan(request, house: House, tried: Tried):
    page = redirect("housing:what_if", house.flock_id, house.pk)
    # What was sketched is sketched still after an error.
    sketch = redirect(f"{page.url}?{urlencode(_kept(tried.form))}")
    if problems := tried.problems():
        messages.error(request, " ".join(problems))
        return sketch
    states = tried.states()
    if not states:
        messages.error(request, "This is the house as it is. Change something to plan it.")
        return page
    change = HousingChange(
        flock=house.flock, house=house, keeper=request.user, note=request.POST.get("note", "")
    )
    try:
        if "done" in request.POST:
            words = _made(request, change, states, tried.now.on)
        else:
            services.plan_change(change=change, states=states)
            words = "Saved as a plan. The house’s record is unchanged."
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return sketch
    messages.success(request, words)
    return redirect("housing:house", house.flock_id, house.pk)


def _compared(request, tried: Tried) -> dict:
    units = tried.house.flock.units
    landers = landing.landers_on(tried.house, tried.now.on)
    sizes = (elevation.IN_SIGHT, elevation.HALF)
    then = landings_context(tried.then, landers, units, sizes=sizes)
    limit_form = LimitForm(request.GET, units=units)
    answer = Answer(tried, landers, limit_form.limit())
    return {
        **then,
        "today": tried.now.on,
        "words": tried.words(),
        "problems": tried.problems(),
        "lost": _lost(tried.now, then["found"], is_heavy(landers)),
        "new_keys": _new_keys(tried.now, then["found"], is_heavy(landers)),
        "compared": compared_rows(landers, ways_down(tried.now), then["routes"], units),
        "limit_form": limit_form,
        "explained": _explained(units),
        "kept": _kept(tried.form),
        "answer": answer,
        "advice": _advice(request, tried, answer),
    }


def _explained(units: str) -> str:
    lengths = {
        "roost": whatif.LOWEST_ROOST_CM,
        "step": whatif.HIGHEST_STEP_CM,
        "head": whatif.HEAD_ROOM_CM,
        "least": whatif.LEAST_CM,
        "new": whatif.NEW_STEP_CM,
    }
    words = {name: length_text(cm, unit="cm", units=units) for name, cm in lengths.items()}
    return whatif.EXPLAINED.format(steps=whatif.GRID_WORDS[units], **words)


def _kept(form: ScratchForm) -> list[tuple[str, str]]:
    """What the form for keeping the plan sends again."""
    return [(name, form.data[name]) for name in form.changed_data] if form.is_bound else []


def _lost(now: Layout, found: list[flags.Finding], heavy: bool) -> list[flags.Rule]:
    """The rules that held of the house and would no longer."""
    left = {finding.rule.key for finding in found}
    held = {flag.rule.key: flag.rule for flag in flags.flags_of(now, heavy=heavy)}
    return [rule for key, rule in held.items() if key not in left]


def _new_keys(now: Layout, found: list[flags.Finding], heavy: bool) -> set[str]:
    """The rules that hold of a place of which neither they nor a harsher one held."""
    before = {(flag.rule.key, flag.place) for flag in flags.flags_of(now, heavy=heavy)}

    def held(key: str, place: str) -> bool:
        return any((one, place) in before for one in (key, *flags.HARSHER.get(key, ())))

    return {
        finding.rule.key
        for finding in found
        if not all(held(finding.rule.key, flag.place) for flag in finding.flags)
    }


class Answer:
    """What would change and for which birds, in a sentence or two.

    Every bird counts against a drop; an energy asks for her weight, so who has none is left out.
    """

    def __init__(self, tried: Tried, landers: list[landing.Lander], limit: whatif.Limit | None):
        self.limit, self.units = limit, tried.house.flock.units
        self.routes = ways_down(tried.then)
        self.now, self.then = (
            _largest(routes, self.units) for routes in (ways_down(tried.now), self.routes)
        )
        self.counted = [one for one in landers if one.grams or (limit and limit.energy_j is None)]
        self.uncounted = [one.bird for one in landers if one not in self.counted]
        self.over = self._over(tried.then)

    def _over(self, layout: Layout) -> list[landing.Lander]:
        """Those beyond the limit, the heaviest first."""
        if self.limit is None:
            return []
        found = whatif.lands_over(layout, [one.mass_kg for one in self.counted], self.limit)
        over = [one for one, is_over in zip(self.counted, found, strict=True) if is_over]
        return sorted(over, key=lambda one: -(one.grams or 0))

    @property
    def drop(self) -> str:
        if not self.then:
            return ""
        moved = f"{self.now} → {self.then}" if self.now != self.then else self.then
        return f"Largest drop: {moved}."

    @property
    def straight(self) -> str:
        """What the highest place is to a bird that leaves the steps out; empty where none can."""
        routes = [route for route in self.routes if len(route.legs) > 1]
        drop = max((route.straight_cm for route in routes), default=0)
        return length_text(drop, unit="cm", units=self.units) if drop else ""

    @property
    def birds(self) -> str:
        if not (self.limit and self.counted):
            return ""
        many, energy = len(self.over) > 1, self.limit.energy_j
        if energy is None:
            limit = length_text(self.limit.drop_cm, unit="cm", units=self.units)
            verb = "drop farther" if many else "drops farther"
        else:
            limit = landing.energy_text(energy, self.units)
            verb = "land harder" if many else "lands harder"
        return f"{self._who} {verb} than your limit ({limit})."

    @property
    def _who(self) -> str:
        count = len(self.over)
        if not count:
            return "No bird"
        if count == len(self.counted) and count > 1:
            return f"All {count} birds"
        names = [str(one.bird) for one in self.over]
        if count > NAMED:
            names = [*names[: NAMED - 1], f"{count - NAMED + 1} more"]
        return get_text_list(names, "and")


def _largest(routes: list[Route], units: str) -> str:
    drop = max((route.hardest.drop_cm for route in routes), default=None)
    return length_text(drop, unit="cm", units=units)


@dataclass(frozen=True, slots=True)
class ComparedRow:
    lander: landing.Lander
    now: str
    then: str
    change: str


def compared_rows(
    landers: list[landing.Lander], now: list[Route], then: list[Route], units: str
) -> list[ComparedRow]:
    """The hardest landing of each bird as it is and as it would be; see ``_hardest``."""
    before = {row.lander.bird.pk: _hardest(row) for row in landing.landings(landers, now)}
    rows = []
    for row in landing.landings(landers, then):
        old, new = before[row.lander.bird.pk], _hardest(row)
        change = f"{100 * (new / old - 1):+.0f}%".replace("-", "−") if old else ""
        words = (_landing_text(row.lander, value, units) for value in (old, new))
        rows.append(ComparedRow(row.lander, *words, "same" if old == new else change))
    return rows


def _hardest(row: landing.Landings) -> float:
    """Her largest energy, or drop in cm where no weight of hers is known."""
    drops = row.lander.mass_kg is None
    found = (way.route.hardest.drop_cm if drops else way.energy_j for way in row.ways)
    return max(found, default=0.0)


def _landing_text(lander: landing.Lander, value: float, units: str) -> str:
    if lander.mass_kg is None:
        return length_text(value, unit="cm", units=units)
    return landing.energy_text(value, units)


@dataclass(frozen=True, slots=True)
class Advice:
    words: str
    effect: str
    still: str
    query: str


def _advice(request, tried: Tried, answer: Answer) -> list[Advice]:
    """What helps most for its height, counted on the house as it stands in the drawing."""
    if answer.limit is None or not answer.counted:
        return []
    units = tried.house.flock.units
    found = whatif.suggestions(
        tried.then,
        [one.mass_kg for one in answer.counted],
        answer.limit,
        grid_cm=whatif.GRID_CM[units],
    )
    return [
        Advice(
            _suggested(one, units),
            _effect(one, len(answer.counted), units),
            _still_marked(one) if one.helped else "",
            _query(request, tried, one, units),
        )
        for one in _shown(found)
    ]


def _shown(found: list[whatif.Suggestion]) -> list[whatif.Suggestion]:
    """The first ones; what helps all birds in place of the last, where none of them does."""
    shown = found[:ADVICE_SHOWN]
    if all(one.over for one in shown):
        shown[-1:] = [one for one in found if not one.over][:1] or shown[-1:]
    return shown


def _suggested(one: whatif.Suggestion, units: str) -> str:
    words = [_moved(move, units) for move in one.moves]
    return " and ".join([words[0], *(each[0].lower() + each[1:] for each in words[1:])])


def _moved(move: whatif.Move, units: str) -> str:
    height = length_text(move.height_cm, unit="cm", units=units)
    if move.new_step:
        return f"Add a step at {height}, before {move.place.name}"
    by = length_text(abs(move.change_cm), unit="cm", units=units)
    action = "Lower" if move.change_cm < 0 else "Raise"
    return f"{action} {move.place.name} by {by}, to {height}"


def _effect(one: whatif.Suggestion, counted: int, units: str) -> str:
    if not one.helped:
        drop = length_text(one.worst_cm, unit="cm", units=units)
        return f"largest drop then {drop}, not enough yet"
    if not one.over:
        return "then no bird is over your limit"
    return f"then {one.over} of {counted} birds {'is' if one.over == 1 else 'are'} over your limit"


def _still_marked(one: whatif.Suggestion) -> str:
    """Which published figures of height the house would still exceed; the limit is the keeper's."""
    rules = {
        flag.rule.key: flag.rule
        for flag in flags.flags_of(one.after)
        if flag.rule.key in flags.OF_HEIGHTS
    }
    return "; ".join(rule.gist for rule in rules.values())


def _query(request, tried: Tried, one: whatif.Suggestion, units: str) -> str:
    """The address with this change made in the scratch copy; empty where it has no room for it."""
    keys = {feature.name: f"h-{feature.pk.hex}" for feature, _ in tried.pairs}
    query = request.GET.copy()
    for move in one.moves:
        if move.new_step and tried.form.step():
            return ""
        key = "step" if move.new_step else keys.get(move.place.name, "step")
        if move.new_step:
            query["step_before"] = keys.get(move.place.name, "h-")[2:]
        query[key] = number_text(move.height_cm, unit="cm", units=units)
    return query.urlencode()
