"""Whatever is on record of a bird, every page says of it what ``today --json`` says.

Flocks are made by chance, the same for each seed. ``FLOCKS=200`` reads as many as that.
"""

import html
import io
import json
import os
import re
from dataclasses import dataclass
from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.urls import reverse
from icalendar import Calendar

from flockcare.birds.models import Bird, Sex
from flockcare.care.holds import UNTIL_KNOWN
from flockcare.care.rules import Advice
from flockcare.feet.cases import cases_of_bird
from flockcare.feet.models import Check, RoundBird
from flockcare.vetsheet.services import share_with_sitter
from tests.care.flocks import make_flock
from tests.care.steps import day, today
from tests.conftest import client_of

pytestmark = pytest.mark.django_db
# Together they have each course, eggs of every kind, plans, turns, one day called both ways.
USUAL = (29, 46, 57, 28)
FEET = ("left", "right")
SCORES = {0: "clear", 1: "mild", 2: "swollen"}
LEVEL = re.compile(r'<span class="level level-(\w+)">([^<]*)</span>')
UNTIL = r"(?:up to and including (\d+ \w+(?: 20\d\d)?))?(?:,? ?(?:and then )?"
UNTIL += f"({UNTIL_KNOWN}))?"
HER_EGGS = re.compile(rf"on’t eat (?:her|its) eggs(?: or (?:her|its) meat)? {UNTIL}")
NEVER = "no check since"  # Of what is so late that nobody counts the days.


def plain(markup: str) -> str:
    """The words of a page, with ¶ where a block ends; drawings have none."""
    markup = re.sub(r"(?s)<(script|style|svg|title)\b.*?</\1>", "", markup)
    markup = re.sub(r'<span[^>]*"[^">]*\b(line|quiet|course)\b[^>]*>|<br>', " ¶ ", markup)
    markup = re.sub(r"</?(a|strong|b|em|i|span)\b[^>]*>", "", markup)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ¶ ", markup)).split())


def short(on: date) -> str:
    return f"{on.day} {on:%b}" + (f" {on.year}" if on.year != today().year else "")


def cut(markup: str, start: str, end: str) -> str:
    return markup.split(start, 1)[1].split(end, 1)[0]


def named(markup: str, each: str) -> dict[str, str]:
    """Rows of a list by the bird that each is of."""
    rows = markup.split(each)[1:]
    return {re.search(r"<strong>([^<]*)</strong>", row)[1]: row for row in rows}


@dataclass(frozen=True)
class Due:
    foot: str
    what: str
    on: date
    who: str | None

    @property
    def now(self) -> bool:
        return self.on <= today()

    @property
    def when(self) -> str:
        days = (today() - self.on).days
        late = f"{days} day{'' if days == 1 else 's'} late"
        return late if days > 0 else "today" if not days else f"by {self.on:%a} {short(self.on)}"

    def is_said(self, words: str) -> bool:
        if self.what == "check":
            return self.when in words or NEVER in words
        which = f"{self.foot} foot: {self.what}" if self.foot else self.what
        return bool(re.search(rf"{re.escape(which)}\W+{re.escape(self.when)}", words, re.I))


class Told:
    """One bird, as the command tells of her."""

    def __init__(self, bird: Bird, said: dict):
        self.bird, self.name, self.said = bird, bird.name, said
        self.feet, self.advice = said["feet"], Advice[said["advice"]]
        self.concerns = [foot for foot in FEET if self.feet[foot]["advice"]]
        every = [Due("", one["what"], *self._when(one)) for one in said["due"]]
        for foot, hers in self.feet.items():
            every += [Due(foot, one["what"], *self._when(one)) for one in hers["due"]]
        # One check covers both feet; of two days the earlier counts.
        first = min(
            (one for one in every if one.what == "check"), key=lambda one: (one.on, not one.who)
        )
        self.check, self.care = first, [one for one in every if one.what != "check"]

    @staticmethod
    def _when(one: dict) -> tuple[date, str | None]:
        return date.fromisoformat(one["on"]), one["who"]

    @property
    def dues(self) -> list[Due]:
        return [*self.care, self.check]

    @property
    def due_now(self) -> list[Due]:
        return [one for one in self.dues if one.now]

    @property
    def badge(self) -> str:
        """A bird of which nothing but her general state was ever checked is checked again."""
        plan = self.said["vet_plan_until"]
        if plan and not self.advice.is_urgent:
            return f"Vet’s plan until {short(date.fromisoformat(plan))}"
        checked = Check.objects.filter(bird=self.bird).exists()
        return self.advice.words if checked or self.advice else "Check first"

    @property
    def under_care(self) -> bool:
        said = self.said
        return bool(self.concerns or said["signs"] or said["vet_plan_until"] or self.care)

    @property
    def eggs(self) -> list[tuple[str, str]]:
        """As a sentence about her eggs ends: the last day, or that nobody knows it."""
        if self.said["eggs"] == "free":
            return []
        if self.said["eggs"] == "not known":
            return [("", UNTIL_KNOWN)]
        return [(short(date.fromisoformat(self.said["eggs_until"])), "")]

    def foot_words(self, foot: str) -> str:
        hers = self.feet[foot]
        assert hers["score"], (self.name, foot)
        return f"{SCORES[hers['score']]}.* sore since {short(date.fromisoformat(hers['since']))}\\b"

    def course(self, foot: str) -> str | None:
        course = self.feet[foot]["course"]
        return None if course in (None, "not known") else course


# --- What every piece about one bird has


def has_level(where: str, hers: Told, piece: str, *, calm: bool = True) -> None:
    """``calm``: that there is nothing to do need not be said."""
    found = LEVEL.findall(piece)
    if found:
        level, badge = found[0][0], html.unescape(found[0][1])
        assert (level.upper(), badge) == (hers.advice.name, hers.badge), (where, hers.name)
    else:
        quiet = (Advice.LEAVE, Advice.HOME) if calm else (Advice.LEAVE,)
        assert hers.advice in quiet and hers.badge == hers.advice.words, (where, hers.name)


def has_eggs(where: str, hers: Told, piece: str) -> None:
    ends = HER_EGGS.findall(plain(piece))
    # Where nobody knows, what is known of it may stand before.
    ends = [("", unknown) if unknown else (until, "") for until, unknown in ends]
    assert ends == hers.eggs, (where, hers.name)


def has_feet(where: str, hers: Told, piece: str, line: str = 'class="standing-foot"') -> None:
    found = {}
    for part in piece.split(line)[1:]:
        part = part.split("</p>")[0]
        if foot := re.match(r"\W*(left|right) foot: ", plain(f"<p {part}"), re.I):
            found.setdefault(foot[1].lower(), part)
    assert sorted(found) == sorted(hers.concerns), (where, hers.name)
    for foot, part in found.items():
        course = re.search(r'class="course course-([\w-]+)"', part)
        words = re.search(r"\b(Better|Same|Worse)\b", plain(part))
        said = {(course and course[1]), (words and words[1].lower())}
        assert said == {hers.course(foot)}, (where, hers.name, foot, said)
        if hers.feet[foot]["state"] == "case":
            assert re.search(hers.foot_words(foot), plain(part), re.I), (where, hers.name, foot)


def has_all(where: str, hers: Told, piece: str) -> None:
    """The head of her page, and what is made as that is."""
    words = plain(piece)
    has_level(where, hers, piece, calm=False)
    has_eggs(where, hers, piece)
    has_feet(where, hers, piece)
    if not hers.said["vet_plan_until"]:
        for reason in hers.said["reasons"]:
            assert reason.lower() in words.lower(), (where, hers.name, reason)
    for sign in hers.said["signs"]:
        seen = f"{sign['sign']}, seen {short(date.fromisoformat(sign['on']))} by {sign['by']}"
        assert seen.lower().removesuffix(" by ") in words.lower(), (where, hers.name, seen)
    first = min(hers.dues, key=lambda due: (due.on, due.what))
    for due in hers.due_now or [first]:
        assert due.is_said(words), (where, hers.name, due)


# --- Words

PRONOUNS = {
    Sex.HEN: r"\b(he|him|his|its (eggs|meat|feet))\b",
    Sex.COCK: r"\b(she|her|hers)\b",
    Sex.UNKNOWN: r"\b(he|him|his|she|her|hers)\b",
}
# Of any bird: which eggs may be whose.
OF_ANY = re.compile(r"(?i)cannot tell which eggs are hers\?|“[^”]*”")
ODD = (
    *(r"\.\s*\.(?!\.)", r"\(\s*\)", r"\bin -\d", r"(?<!\d)-\d+", r"\bnan\b", r"’s’s"),
    *(r" [,.;:](?!\w)", r",\s*[,.;¶]", r"[;:]\s*[.,;]", r"\bNone\b(?! (yet|so far|with))"),
    *(r"(?<!–)\b1 (days|birds|things|checks|cases)\b", r"(least|lasted) 0 days?\b"),
)


def reads_well(where: str, words: str) -> None:
    # Where a block begins, what belongs to a hidden label may begin with its comma.
    words = re.sub(r"¶ [,:] ", "¶ ", words)
    for pattern in ODD:
        if odd := re.search(pattern, words):
            around = words[max(0, odd.start() - 60) : odd.end() + 40]
            pytest.fail(f"{where}, {pattern}: …{around}…")


def speaks_of(where: str, hers: Told, piece: str) -> None:
    words = OF_ANY.sub("", plain(piece))
    assert not re.search(PRONOUNS[hers.bird.sex], words, re.I), (where, hers.name, words)


# --- The pages


class Reader:
    def __init__(self, seed: int):
        made = make_flock(seed)
        self.flock, self.keepers = made.flock, made.keepers
        self.keeper, self.client = made.keepers[0], client_of(made.keepers[0])
        out = io.StringIO()
        call_command("today", flock=self.flock.name, json=True, stdout=out)
        said = {one["bird"]: one for one in json.loads(out.getvalue())["birds"]}
        birds = Bird.objects.filter(flock=self.flock, name__in=said).select_related("flock")
        self.told = {bird.name: Told(bird, said[bird.name]) for bird in birds}

    def get(self, view: str, *args) -> str:
        address = view if view.startswith("/") else reverse(view, args=[self.flock.pk, *args])
        page = self.client.get(address)
        assert page.status_code == 200, address
        reads_well(view, plain(page.text[page.text.index("<main") :]))
        return page.text

    def today(self, where: str, page: str) -> None:
        """Today, also as a phone keeps it."""
        self.answer(where, plain(cut(page, '<div class="answer">', "</div>")))
        rows = named(page, '<li class="standing-row">')
        listed = {}
        if 'aria-labelledby="due"' in page:
            listed = named(cut(page, 'aria-labelledby="due"', "</section>"), "<li>")
        assert set(rows) == {name for name, hers in self.told.items() if hers.under_care}, where
        checks = {n for n, hers in self.told.items() if hers.check.now and not hers.under_care}
        assert set(listed) == checks, where
        for name, row in listed.items():
            assert self.told[name].check.is_said(plain(row)), (where, name)
        for name, row in rows.items():
            hers, row = self.told[name], row.split("</section>")[0].split('"care-done"')[0]
            standing = row.split('<div class="standing">')[1]
            has_level(where, hers, standing)
            has_eggs(where, hers, standing)
            has_feet(where, hers, standing)
            speaks_of(where, hers, row)
            self.due_lines(where, hers, row)

    def due_lines(self, where: str, hers: Told, row: str) -> None:
        lines = [plain(line.split("</p>")[0]) for line in row.split('<div class="due-line')[1:]]
        # Without signal a check that is due has a line of its own only where it can be logged.
        assert where != "today" or len(lines) == len(hers.due_now), (where, hers.name, lines)
        for due in hers.due_now if lines else ():
            what = due.what.removesuffix(", as the vet said")
            fit = [line for line in lines if due.what == "check" or what.lower() in line.lower()]
            fit = [line for line in fit if due.when in line or NEVER in line or due.on == today()]
            own = where == "today" and due.who == self.keeper.name
            who = r"\bYou" if own else due.who or ""
            fit = [line for line in fit if re.search(who, line)]
            assert fit, (where, hers.name, due, lines)
        if not hers.due_now:
            first = min(hers.dues, key=lambda one: (one.on, one.what))
            assert first.is_said(plain(row)) and "Next:" in plain(row), (where, hers.name)

    def answer(self, where: str, words: str) -> None:
        lines = words.split("¶")
        for starts, names in (
            ("Vet today:", {n for n, h in self.told.items() if h.advice is Advice.NOW}),
            ("Vet within days:", {n for n, h in self.told.items() if h.advice is Advice.SOON}),
            ("Due tonight:", {n for n, h in self.told.items() if h.due_now and h.under_care}),
        ):
            mine = " ".join(line for line in lines if starts in line)
            said = {name for name in self.told if re.search(rf"\b{name}\b", mine)}
            more = sum(map(int, re.findall(r"and (\d+) more", mine)))
            assert said <= names and len(said) + more == len(names), (where, starts, mine)
        self.not_eaten(where, words)

    def not_eaten(self, where: str, words: str, unknown: str = UNTIL_KNOWN) -> None:
        """Each hen by name, or her whole house until the last of its hens."""
        lines = [line for line in words.split("¶") if "Don’t eat" in line]
        homes = {}
        for name, hers in self.told.items():
            stay = hers.bird.stay_set.filter(until=None).select_related("house").first()
            homes[name] = stay.house.name if stay else "no house"
        for name, hers in self.told.items():
            if hers.bird.sex == Sex.COCK:
                continue
            by_name = [line for line in lines if re.search(rf"\b{name}\b", line)]
            of_house = [line for line in lines if f"any egg from {homes[name]}" in line]
            assert len(by_name + of_house) == bool(hers.eggs), (where, name, lines)
            end = hers.eggs[0][0] or unknown if hers.eggs else ""
            if of_house:
                hens = [one for one in self.told.values() if homes[one.name] == homes[name]]
                hens = [one for one in hens if one.bird.sex != Sex.COCK]
                states = {one.said["eggs"] for one in hens}
                assert "free" not in states, (where, name)
                last = max(one.said["eggs_until"] or "" for one in hens)
                end = unknown if "not known" in states else short(date.fromisoformat(last))
            assert end in "".join(by_name + of_house), (where, name, end, lines)

    def rows_of_birds(self, where: str, page: str) -> None:
        rows = named(page, '<li><a class="row"')
        assert set(rows) == set(self.told), where
        for name, row in rows.items():
            hers = self.told[name]
            has_level(where, hers, row)
            has_eggs(where, hers, row)
            has_feet(where, hers, row.replace("</span>\n", "</span></p>\n"), '<span class="line"')
            speaks_of(where, hers, row)

    def pick(self) -> None:
        rows = named(self.get("pick"), '<li><a class="row"')
        assert set(rows) == set(self.told)
        for name, row in rows.items():
            hers, words = self.told[name], plain(row)
            assert ("tag due" in row) == hers.check.now, name
            never = "never checked" in words
            assert not hers.check.now or never or hers.check.is_said(words), name
            sore = re.findall(r"\b(left|right)\b", words)
            assert sore == [foot for foot in FEET if hers.feet[foot]["state"] == "case"], name

    def of_bird(self, hers: Told) -> None:
        key, section = hers.bird.pk, '<section id="care"'
        page = self.get("bird", key)
        has_all("bird", hers, cut(page, section, "</section>"))
        speaks_of("bird", hers, page.split("<main", 1)[1])
        has_all("care", hers, self.get("care:bird", key).split('<div class="standing">')[1])
        form = self.get("check_bird", key)
        sheet = self.get("vetsheet:sheet", key)
        speaks_of("sheet", hers, cut(sheet, '<article class="vet-sheet">', "</article>"))
        head = plain(cut(sheet, '<div class="vet-top">', '<dl class="vet-facts vet-asked"'))
        has_eggs("sheet", hers, cut(sheet, '<dl class="vet-facts vet-holds"', "</dl>"))
        for foot in FEET:
            if hers.feet[foot]["state"] != "case":
                continue
            known = plain(re.search(rf"(?s)<b>{foot}:</b>.*?</p>", form, re.I)[0])
            score = re.search(rf'data-was="{foot}"\s+data-score="(\d)"', form)[1]
            assert int(score) == hers.feet[foot]["score"], (hers.name, foot)
            line = next(one for one in head.split("¶") if f"{foot} foot: " in one.lower())
            for where, words in (("form", known), ("sheet", line)):
                assert re.search(hers.foot_words(foot), words, re.I), (where, hers.name, words)
                course = re.search(r"\b(Better|Same|Worse):", words)
                assert (course and course[1].lower()) == hers.course(foot), (where, hers.name)
        for case in cases_of_bird(hers.bird):
            page = self.get("care:case", key, case.foot, case.first.check_id)
            if case.current:
                has_all("case", hers, cut(page, '<div class="standing">', "What happened"))
        current = {case.foot for case in cases_of_bird(hers.bird) if case.current}
        assert current == {foot for foot in FEET if hers.feet[foot]["state"] == "case"}, hers.name

    def sitter(self) -> None:
        membership = self.flock.membership_set.get(keeper=self.keeper)
        days = {"first": today(), "last": day(9)}
        token = share_with_sitter(membership=membership, name="Sam", **days)[1]
        page = self.get(reverse("vetsheet:sitter", args=[token]))
        head = plain(cut(page, '<div class="answer">', "</div>"))
        self.not_eaten("sitter", head, "until the keepers say so")
        cards = page.split('<section class="card" aria-labelledby="bird-')[1:]
        heads = [plain(card.split("</h2>")[0]) for card in cards]
        for name, hers in self.told.items():
            mine = [card for card, head in zip(cards, heads, strict=True) if name in head.split()]
            # A check of both feet is a keeper's; where somebody left a foot to be watched, not.
            due = [one for one in hers.care if one.now]
            assert len(mine) <= 1 and (mine or not (due or hers.advice.is_urgent)), name
            for card in mine:
                card = card.split("</section>")[0]
                assert all(one.is_said(plain(card)) for one in due), (name, due)
                assert card.count('"sitter-thing"') in (len(due), len(due) + hers.check.now), name
                speaks_of("sitter", hers, card)
                if hers.advice.is_urgent:
                    has_level("sitter", hers, card)

    def without_signal(self) -> None:
        told = self.client.get(reverse("birds", args=[self.flock.pk])[:-6] + "outbox/birds/").json()
        self.today("kept today", told["today"])
        self.rows_of_birds("kept birds", told["list"])
        assert {one["name"] for one in told["birds"]} == set(self.told)
        for one in told["birds"]:
            hers = self.told[one["name"]]
            reads_well("kept bird", plain(one["html"]))
            has_all("kept bird", hers, one["html"].split('<div class="standing">')[1])
            assert one["sore"] == [foot for foot in FEET if hers.feet[foot]["score"]], hers.name

    def holds(self) -> None:
        page = self.get("care:holds")
        rows = named(page, '<li><a class="row"')
        for name, hers in self.told.items():
            if name in rows:
                has_eggs("holds", hers, rows[name].split("</li>")[0])
            else:
                # Those nobody knows the days of stand with their product.
                assert hers.said["eggs"] != "withdrawn", name
                assert not hers.eggs or re.search(rf"\b{name}\b", plain(page)), name

    def calendar(self, keeper) -> None:
        file = client_of(keeper).get(reverse("reminders:calendar_file", args=[self.flock.pk]))
        checks, care, eggs = {}, [], {}
        for event in Calendar.from_ical(file.content).walk("VEVENT"):
            summary, about = str(event["summary"]), str(event.get("description", ""))
            start, last = event.decoded("dtstart"), event.decoded("dtend") - timedelta(1)
            reads_well("calendar", f"{summary} ¶ {about}")
            if summary.startswith("Check feet"):
                checks |= dict.fromkeys(about.split(", "), start)
            elif "egg withdrawal" in summary:
                end = ("", UNTIL_KNOWN) if UNTIL_KNOWN in summary else (short(last), "")
                for name in re.findall(r"\w+", f"{summary.split(':')[0]} {about}"):
                    eggs.setdefault(name, []).append(end)
            elif re.match(rf"({'|'.join(self.told)})\b", summary) and "withdrawal" not in summary:
                care.append((re.sub(r" \((due since|Ros|Ted|Ines)\b.*", "", summary), start))
        wanted, called = (
            [],
            {"vet visit": "next visit to the vet", "dressing": "check the dressing"},
        )
        for name, hers in self.told.items():
            for due in hers.dues:
                if due.who not in (None, keeper.name):
                    continue
                start = max(due.on, today())
                if due.what == "check":
                    assert checks.pop(name) == start, (name, keeper)
                    continue
                foot = f", {due.foot} foot" if due.foot else ""
                wanted.append((f"{name}{foot}: {called.get(due.what, due.what)}", start))
            # What is known to withhold stands beside what nobody knows.
            ends = [end for end in eggs.get(name, []) if end[1] or hers.said["eggs"] != "not known"]
            assert ends == hers.eggs, (name, eggs)
        assert (sorted(care), checks) == (sorted(wanted), {}), keeper

    def round(self, page: str) -> None:
        offered = re.search(r"Start a round \((\d+) due\)", page)
        if offered:
            self.client.post(reverse("pages:round_start", args=[self.flock.pk]))
            assert RoundBird.objects.filter(round__flock=self.flock).count() == int(offered[1])


@pytest.mark.parametrize("seed", range(int(os.environ.get("FLOCKS", "0"))) or USUAL)
def test_every_page_says_the_same_of_every_bird(seed):
    reader = Reader(seed)
    page = reader.get("today")
    reader.today("today", page)
    reader.rows_of_birds("birds", reader.get("birds"))
    reader.pick()
    for hers in reader.told.values():
        reader.of_bird(hers)
    reader.sitter()
    reader.without_signal()
    reader.holds()
    for keeper in reader.keepers:
        reader.calendar(keeper)
    reader.round(page)
