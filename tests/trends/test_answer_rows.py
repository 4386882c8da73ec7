"""The line of a change: its mark, its words, its bar; how much there is to read on the page."""

import copy
import datetime as dt
import inspect
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.core.cache import cache
from django.template import Context, Template
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.housing.models import Feature, FeatureState, HousingChange
from flockcare.trends import (
    answer_rows,
    changes,
    charts,
    groups,
    next_steps,
    reasons,
    words,
)
from flockcare.trends.answers import build
from flockcare.trends.management.commands.trends import spoken
from flockcare.trends.records import DropRow
from flockcare.trends.report import Figure, Grouping, GroupRow, Refusal
from flockcare.trends.report_cache import report_of
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, birds_of, flock, simulated
from tests.trends.yard import CHANGED, FIRST, fill, look

TODAY = dt.date(2027, 2, 1)
STATES = ("wide", "similar", "hint", "outnumbered", "some_sign", "clear", "season")


@pytest.fixture(scope="module")
def report():
    """Two years of fortnightly rounds; after the change in the middle a tenth of the rate."""
    return build(simulated(seed=5, birds=40, rate=0.004, ratio=0.1), flock="", today=TODAY)


# What to change, and for which birds


def standing_out(report, key, names):
    """The report with one way of sorting alone, of which the second group has more cases."""
    figure = Figure(3.0, 1.5, 6.0)
    rows = tuple(
        GroupRow(
            *(name, name, 9, 9, 900.0, figure, True, None, figure, figure, False, 9),
            *(0.001 if place else 1.0, 0.004 if place else 1.0, None, None, "", ()),
        )
        for place, name in enumerate(names)
    )
    only = Grouping(key, "", (), names[0], rows, 0.0, 0, (), "")
    return replace(report, changes=(), groupings=(only,))


@pytest.mark.parametrize("key", sorted(words.WAYS))
def test_every_way_of_sorting_has_words_for_what_to_do_and_for_whom(report, key):
    found = standing_out(report, key, ("dry", "wet"))
    assert answer_rows.next_change(found).endswith(".")
    of_birds = [line for line in answer_rows.for_whom(found) if "wet" in line]
    assert bool(of_birds) == (key not in {"season", "wetness", "spell"})


def test_wet_ground_with_more_cases_is_what_to_change(report):
    found = standing_out(report, "wetness", ("dry", "wet"))
    assert answer_rows.next_change(found).startswith("Keep it dry underfoot")


def test_lower_roosts_are_proposed_beside_what_helped_and_never_where_low_ones_are_worse(report):
    told = [change for change in report.changes if change.state == "clear"]
    assert words.mark(told[0]) is words.FEWER
    for worse, better in (("high", "low"), ("low", "high")):
        found = standing_out(report, "drop", (better, worse))
        swapped = found.groupings[0]
        if worse == "low":  # in the order of height
            found = replace(found, groupings=(replace(swapped, rows=swapped.rows[::-1]),))
        alone = answer_rows.next_change(found)
        beside = answer_rows.next_change(replace(found, changes=tuple(told)))
        assert ("Lower the roosts" in alone) == ("Lower the roosts" in beside) == (worse == "high")
        assert told[0].called in beside


def test_whatever_is_missing_is_said_with_little_on_record():
    codes = set(re.findall(r'Step\("(\w+)"', inspect.getsource(next_steps)))
    assert codes == set(words.MISSING)


# Marks and sentences


LATER = dt.date(2027, 12, 24)
AGAIN = [(None, None), *((LATER, chance) for chance in (None, 0.1, 0.4, 0.8))]


def lines_of(change):
    """The change as it would stand in every state, at every ratio that has words of its own."""
    for ratio in (0.0, 0.02, 0.34, 0.62, 0.99, 1.2, 2.4, 4.9, 49.0, 90.0, float("inf")):
        found = replace(change.found, ratio=Figure(ratio, 0.01, 99.0), cases_after=1204)
        for state in STATES:
            for doubts in ((), (words.SAME_THERE,), (words.SEASON_MAY,), (words.KEEPER_MAY,)):
                for day, chance in AGAIN:
                    later = {"again": day, "chance": chance}
                    yield replace(change, state=state, found=found, doubts=doubts, **later)
    for code in reasons.COMPARISON:
        refused = replace(change.found, refusal=Refusal(code, "Why."), straddling=120)
        for day, chance in AGAIN:
            chance = None if code == "no_time" else chance
            yield replace(change, state="refused", found=refused, again=day, chance=chance)
    yield replace(change, state="refused", found=None, again=None)


def test_every_sentence_has_at_most_twenty_words_and_one_full_stop(report):
    (change,) = report.changes
    said = {words.one_line(one, near) for one in lines_of(change) for near in ((), (change,))}
    assert len(said) > 60
    for sentence in said:
        assert len(sentence.split()) <= 20, sentence
        assert re.fullmatch(r"[A-Z0-9][^.]*\.", sentence), sentence


@pytest.mark.parametrize(
    ("ratio", "said"),
    [
        (0.34, "About a third as many new cases."),
        (1.1, "About a tenth more new cases."),
        (1.5, "About half as many new cases again."),
        (99.0, "More than 50 times as many new cases."),
        (0.96, "Almost as many new cases."),
        (0.0, "No new case after it, 40 before."),
    ],
)
def test_the_size_of_a_told_change_in_plain_fractions(report, ratio, said):
    (change,) = report.changes
    found = replace(change.found, ratio=Figure(ratio, 0.01, 99.0), cases_before=40)
    assert words.one_line(replace(change, found=found)) == said


def test_the_mark_is_fewer_or_more_only_where_it_is_told(report):
    (change,) = report.changes
    for one in lines_of(change):
        mark = words.mark(one)
        told = one.state in ("clear", "some_sign")
        assert (mark in (words.FEWER, words.MORE)) == told
        if told:
            assert (mark is words.MORE) == (one.found.ratio.value > 1)
        if mark is words.TOO_EARLY:
            said = words.one_line(one)
            assert one.again
            assert ("look again around 24 Dec 2027" in said) == (one.chance == 0.8)
            assert ("by 24 Dec 2027 a halving would rarely show" in said) == (one.chance == 0.1)
            shown = "by 24 Dec 2027 a halving would show 4 times in 10"
            assert (shown in said) == (one.chance == 0.4)


def test_three_houses_are_listed_as_one_says_them(report):
    (change,) = report.changes
    assert replace(change, houses=("Ark", "Barn", "Shed")).place == "Ark, Barn and Shed"


def test_the_one_change_that_fewer_followed_is_named_first(report):
    fewer, early = words.mark(report.changes[0]), words.TOO_EARLY
    told = [(early, "Feed changed"), (fewer, "Yard drained")]
    assert words.lead(told) == "“Yard drained” may have helped. Records can’t say why."
    # As it is kept for the pages of the houses, and read again.
    assert words.lead([(copy.copy(mark), called) for mark, called in told]) == words.lead(told)
    assert words.lead([*told, (fewer, "Roost lowered")]).startswith("2 of 3 changes may have")
    assert words.lead([(early, "Feed"), (words.MORE, "Bar")]) == (
        "No sign of it. 1 of 2 changes may have done harm."
    )
    for lead in (words.lead(told), words.lead([(words.MORE, "Bar")])):
        assert not {"fewer", "more"} & set(lead.split()), "the line of the change says it"


@pytest.mark.django_db
def test_the_three_answers_stand_before_the_line_of_any_change(yard):
    page = yard.clients.owner.get(reverse("trends:page", args=[yard.flock.pk])).text
    asked = ("Did something help?", "What to change next?", "For which birds?", 'class="answers"')
    assert sorted(asked, key=page.index) == list(asked)


def test_what_can_never_be_told_does_not_ask_to_wait():
    """Nobody checked before the change, so waiting brings nothing."""
    records = simulated(seed=1, birds=8, days=200, change=-30)
    (row,) = answer_rows.rows_of(build(records, flock="", today=dt.date(2025, 8, 1)))
    assert row.mark is words.UNTOLD and "look again" not in row.sentence


def test_a_change_of_last_month_is_too_early_and_says_when():
    records = simulated(seed=3, birds=12, days=400, change=380)
    last = dt.date.fromordinal(DAY_0 + 400)
    (row,) = answer_rows.rows_of(build(records, flock="", today=last))
    assert row.mark is words.TOO_EARLY
    assert re.search(r"; by \d+ \w+ 202[67] a halving would show \d times in 10\.$", row.sentence)


def test_two_changes_close_together_share_the_doubt():
    near = simulated(seed=5, birds=40, rate=0.004, ratio=0.1)
    near.changes.append(near.changes[0]._replace(day=near.changes[0].day + 90))
    rows = answer_rows.rows_of(build(near, flock="", today=TODAY))
    assert any("can’t be told from change" in row.sentence for row in rows)


# Age


def risen(**more):
    """Rises by half, in a flock large enough to tell it."""
    return simulated(seed=2, birds=120, rate=0.0022, ratio=1.6, **more)


def test_a_rise_that_ageing_could_explain_is_not_clear_and_says_so():
    (change,) = changes.answers(Watch.of(risen()))
    assert change.found.p < 0.01 and 1 < change.found.ratio.low < 1.5
    assert change.state == "some_sign" and change.doubts == (words.AGE_MAY,)
    assert words.one_line(change).endswith("; older birds could explain this.")


def test_a_house_left_as_it_was_whose_birds_grew_as_old_takes_that_doubt_away():
    records = simulated(seed=2, birds=160, houses=2, changed=[0], rate=0.0022, ratio=2.0)
    (change,) = changes.answers(Watch.of(records))
    assert change.beside.against_p < 0.05
    assert words.AGE_MAY not in change.doubts


def test_a_fall_is_not_put_down_to_age(report):
    (change,) = report.changes
    assert change.state == "clear" and change.doubts == ()


# Fresh answers


def test_an_answer_is_fresh_for_a_fortnight_and_no_longer():
    records = simulated(seed=5, birds=40, rate=0.004, ratio=0.1)
    days = range(365 + 14, 365 + 300, 14)

    def at(day):
        seen = records.looks.day <= DAY_0 + day
        looks = replace(
            records.looks,
            **{
                name: getattr(records.looks, name)[seen]
                for name in ("bird", "foot", "day", "score", "keeper")
            },
            check=[key for key, one in zip(records.looks.check, seen, strict=True) if one],
        )
        (change,) = changes.answers(Watch.of(replace(records, looks=looks)), DAY_0 + day)
        return change

    told = next(day for day in days if at(day).state in changes.TOLD)
    assert not at(told - 14).fresh and at(told).fresh
    assert not at(told + 14 * 2).fresh


# The bar


def places(drawing, kind):
    return [float(x) for x in re.findall(rf'class="range {kind}" x1="([\d.]+)%"', drawing)]


def test_half_and_twice_lie_equally_far_from_the_same():
    half, same, twice = (
        places(charts.answer_range(Figure(at, at, at), told=True), "told")[0] for at in (0.5, 1, 2)
    )
    assert same == 50 and 0 < same - half == pytest.approx(twice - same, abs=0.02)


def test_what_is_told_is_filled_and_what_goes_beyond_has_a_tip():
    open_ = charts.answer_range(Figure(1.0, 0.0, float("inf")), told=False)
    assert open_.count('class="tip"') == 2 and "told" not in open_
    told = charts.answer_range(Figure(0.5, 0.3, 0.8), told=True)
    assert "tip" not in told and 'class="at told"' in told
    assert "range" not in charts.answer_range(None, told=False).replace("answer-range", "")


def test_no_mark_is_told_by_red_against_green():
    sheet = Path(__file__).parents[2] / "static/css/trends.css"
    assert "oxblood" not in sheet.read_text(encoding="utf-8")


# Groups


def test_the_groups_say_that_they_take_before_and_after_a_told_change_apart(report):
    (change,) = report.changes
    assert report.apart == f"Groups are compared before and after “{change.title}” apart."
    assert report.apart in "\n".join(spoken(report))
    untold = build(simulated(seed=1, birds=12, days=400), flock="", today=TODAY)
    assert untold.changes[0].state not in ("clear", "some_sign") and untold.apart == ""


@pytest.mark.parametrize("key", words.WAYS)
def test_a_difference_told_by_any_way_of_sorting_is_said_of_birds_or_left_out(report, key):
    """Most of all by wet weeks, which stand out in a flock that logs how wet its yard is."""
    grouping = next(one for one in report.groupings if len(one.rows) > 1)
    rows = (
        replace(grouping.rows[0], name="these", adjusted_p=1.0),
        replace(grouping.rows[1], name="those", adjusted_p=0.001, ratio=Figure(3.0, 2.0, 4.0)),
    )
    told = replace(grouping, key=key, base="these", rows=rows)
    said = answer_rows.for_whom(replace(report, groupings=(told,)))
    assert any("those" in line for line in said) == (key not in ("season", "wetness", "spell"))


def test_what_is_proposed_says_when_it_blurs_a_change_that_is_being_watched(report):
    """Only in the houses that are meant: lowering roosts means all of them."""
    (change,) = report.changes
    helped = replace(change, state="clear", houses=("Ark",), adjusted_p=0.01)
    helped = replace(helped, found=replace(helped.found, refusal=None, ratio=Figure(0.2, 0.1, 0.4)))
    later = replace(
        change, number=2, state="refused", called="Treated for mites", again=dt.date(2027, 7, 31)
    )
    blurs = "It would blur the answer on “Treated for mites”."

    def proposed(*changes, lived_in=("Ark", "Barn")):
        bare = replace(report, changes=changes, lived_in=lived_in, groupings=())
        return answer_rows.next_change(bare)

    same = "If Barn has the same fault, do the same there."
    assert proposed(helped) == same
    assert proposed(helped, replace(later, houses=("Ark",))) == same
    assert proposed(helped, replace(later, houses=("Barn",))) == f"{same} {blurs}"
    assert blurs not in proposed(helped, later, lived_in=("Ark",))
    # Of two that helped, the line says which.
    assert f"“{helped.called}”" in proposed(helped, replace(helped, number=3))


# The pages


class Visible(HTMLParser):
    """Words of ``main`` that are seen before anything is opened; a closed fold shows its summary
    only, navigation and what only readers of a screen hear are left out."""

    EMPTY = {"meta", "link", "img", "input", "br", "path", "circle", "line", "rect"}

    def __init__(self):
        super().__init__()
        self.stack, self.words = [], []

    def handle_starttag(self, tag, attrs):
        if tag not in self.EMPTY:
            self.stack.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        while tag not in self.EMPTY and self.stack and self.stack.pop()[0] != tag:
            pass

    def handle_data(self, data):
        tags = [tag for tag, _ in self.stack]
        if "main" in tags and not {"nav", "title", "script"} & set(tags) and not self._hidden():
            self.words += data.split()

    def _hidden(self) -> bool:
        for place, (tag, attrs) in enumerate(self.stack):
            if "visually-hidden" in (attrs.get("class") or "").split():
                return True
            inside = self.stack[place + 1][0] if place + 1 < len(self.stack) else ""
            if tag == "details" and "open" not in attrs and inside != "summary":
                return True
        return False


def visible(cast, name="trends:page", *args) -> list[str]:
    reader = Visible()
    url = reverse(name, args=[cast.flock.pk, *args])
    reader.feed(cast.clients.owner.get(url).content.decode())
    return reader.words


def test_the_reader_of_words_leaves_out_what_is_folded_only():
    reader = Visible()
    reader.feed(
        "<nav>no</nav><main><nav>no</nav>one<details><summary>two</summary><p>no</p>"
        "<details open>no</details></details><details open><summary>three</summary>four<br>five"
        '</details><h2 class="visually-hidden">no</h2><svg><text>six</text><title>no</title></svg>'
        "</main>"
    )
    assert reader.words == ["one", "two", "three", "four", "five", "six"]


@pytest.fixture
def yard(cast):
    cache.clear()
    fill(cast.flock, keeper=cast.keeper)
    return cast


def more_changes(flock):
    """Two more in the other house, with a long note and without one."""
    barn = flock.house_set.get(name="Barn")
    HousingChange.objects.create(
        flock=flock, house=barn, on=CHANGED, kind="drainage", note="Yard drained. " + "Mud " * 99
    )
    step = Feature.objects.create(flock=flock, house=barn, name="Step", kind="step")
    FeatureState.objects.create(
        flock=flock, feature=step, since=CHANGED + dt.timedelta(90), height_cm=30
    )


@pytest.mark.django_db
def test_the_page_with_three_changes_has_at_most_400_words(yard):
    more_changes(yard.flock)
    shown = visible(yard)
    assert " ".join(shown).count("Ark") >= 1 and "helped?" not in shown
    assert 60 < len(shown) <= 400
    assert "Yard drained" in " ".join(shown) and "Mud" not in shown


@pytest.mark.django_db
@pytest.mark.parametrize("weeks", [0, 1, 3])
def test_with_too_little_it_has_at_most_60_words_in_three_lines(cast, weeks):
    cache.clear()
    if weeks:
        fill(cast.flock, weeks=weeks)
    text = " ".join(visible(cast))
    assert len(text.split()) <= 60
    for asked in ("On record", "Missing", "Look again"):
        assert asked in text


@pytest.mark.django_db
def test_the_house_and_the_page_of_the_change_carry_the_same_line(yard):
    house = yard.flock.house_set.get(name="Ark")

    def line(name, *args):
        text = yard.clients.owner.get(reverse(name, args=[yard.flock.pk, *args])).content.decode()
        found = re.search(r'<li class="answer .*?</li>', text, re.DOTALL)
        return found and found[0]

    assert line("housing:house", house.pk) is None, "nothing is worked out there"
    first = line("trends:page")
    assert "Roost lowered to 60 cm" in first
    assert line("housing:house", house.pk) == first
    own = line("trends:change", house.pk, CHANGED.isoformat())
    (sentence,) = re.findall(r'<p class="answer-line">.*?</p>', first)
    assert (
        sentence in own and re.search(r"<svg class=\"trend answer-range.*?</svg>", own)[0] in first
    )


@pytest.mark.django_db
def test_today_has_a_line_for_a_fresh_answer_from_what_is_kept(yard, django_assert_num_queries):
    show = Template('{% include "today_answer.html" %}')
    today = dt.datetime.now(yard.flock.zone).date()
    with django_assert_num_queries(0):
        assert show.render(Context({"flock": yard.flock})).strip() == ""
    report = report_of(yard.flock, today)
    (change,) = report.changes
    assert not change.fresh
    assert show.render(Context({"flock": yard.flock})).strip() == "", "nothing new"
    answer_rows.keep(yard.flock, replace(report, changes=(replace(change, fresh=True),)))
    with django_assert_num_queries(0):
        assert "Roost lowered to 60 cm" in show.render(Context({"flock": yard.flock}))
    assert "New on Trends" in yard.clients.owner.get(f"/f/{yard.flock.pk}/today/").text
    # Kept a month ago: an answer of then is not new.
    old = replace(report, today=today - dt.timedelta(30), changes=(replace(change, fresh=True),))
    answer_rows.keep(yard.flock, old)
    assert "New on Trends" not in yard.clients.owner.get(f"/f/{yard.flock.pk}/today/").text


@pytest.mark.django_db
def test_a_flock_that_measures_in_inches_reads_no_other_unit(yard):
    yard.flock.units = "imperial"
    yard.flock.save()
    house = yard.flock.house_set.get(name="Ark")
    of_change = [yard.flock.pk, house.pk, CHANGED.isoformat()]
    text = "".join(
        yard.clients.owner.get(url).text.split("<main")[1].split('id="thresholds"')[0]
        for url in (
            reverse("trends:page", args=[yard.flock.pk]),
            reverse("trends:change", args=of_change),
        )
    )
    assert "Roost lowered to 23\xa05/8 in" in text and "20 to 39 in" in text
    assert not re.search(r"\d\s*(?:cm|mm|J)\b", text)


@pytest.mark.parametrize(
    ("units", "drop", "energy"),
    [
        # 50.5 cm is 19.9 in; 2 kg × 9.80665 m/s² × 0.505 m = 9.9 J = 7.3 ft·lbf.
        ("metric", "50 to 100 cm", "up to 10 J"),
        ("imperial", "20 to 39 in", "up to 7 ft·lbf"),
    ],
)
def test_the_flocks_units_move_no_bird_to_another_group(units, drop, energy):
    histories = {(0, 0): "000", (0, 1): "000"}
    hen = birds_of(1, adult_grams=[2000])
    fall = [DropRow(0, DAY_0 - 9, 50.5)]
    watch = Watch.of(flock(histories, birds=hen, drops=fall, units=units))
    for way, name in ((groups.by_drop(watch), drop), (groups.by_energy(watch), energy)):
        assert {way.names[code] for code in way.code} == {name}


# How a keeper would call it


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("note", "state_note", "called"),
    [
        ("Roost lowered at last.\nAnd more.", "", "Roost lowered at last"),
        ("", "New bar; old one split. More.", "Roost: new bar; old one split"),
        ("", "", "Roost lowered to 60 cm"),
    ],
)
def test_a_change_is_called_by_the_keepers_own_words_first(cast, note, state_note, called):
    cache.clear()
    fill(cast.flock, birds=2, weeks=2)
    FeatureState.objects.filter(since=CHANGED).update(note=state_note)
    if note:
        house = cast.flock.house_set.get(name="Ark")
        HousingChange.objects.create(flock=cast.flock, house=house, on=CHANGED, note=note)
    (change,) = report_of(cast.flock, dt.date(2026, 1, 10)).changes
    assert change.called == called
    assert change.title == f"{called} (Ark, 1 Jun 2025)"


@pytest.mark.django_db
def test_ground_is_covered_and_other_things_become_otherwise(cast):
    fill(cast.flock, birds=1, weeks=1)
    barn = cast.flock.house_set.get(name="Barn")
    yard = Feature.objects.create(flock=cast.flock, house=barn, name="Yard", kind="landing")
    for since, bedding, damp in ((FIRST, "stone", "wet"), (CHANGED, "wood chip", "dry")):
        FeatureState.objects.create(
            flock=cast.flock, feature=yard, since=since, bedding=bedding, damp=damp
        )
    called = [one.called for one in report_of(cast.flock, dt.date(2026, 1, 10)).changes]
    assert called == ["Roost lowered to 60 cm; Yard covered with wood chip, now dry"]


@pytest.mark.django_db
def test_one_bird_seen_once_is_no_answer(cast):
    cache.clear()
    look(cast.flock, Bird.objects.create(flock=cast.flock, name="Dill"), dt.date(2025, 3, 3))
    text = " ".join(visible(cast))
    assert "1 bird checked since 3 Mar 2025, 0 new cases, 0 changes." in text


def test_a_day_that_is_only_the_last_one_offered_is_no_promise():
    """No case in a hundred days: five of them are no nearer after a year."""
    records = flock({(n, 0): "0" * 15 for n in range(6)})
    report = build(records, flock="", today=dt.date.fromordinal(DAY_0 + 100))
    assert answer_rows.little(report, ()).again == "At this rate in a year or later."
    some = flock({(n, 0): "0001" if n < 3 else "0000" for n in range(6)})
    report = build(some, flock="", today=dt.date.fromordinal(DAY_0 + 60))
    assert answer_rows.little(report, ()).again == "Around 12 Apr 2025."
