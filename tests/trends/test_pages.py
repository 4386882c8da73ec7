"""The pages: who may see them, what they show, that every mark leads to its records."""

import datetime as dt
import io
import json
import re
from xml.etree import ElementTree

import pytest
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils.html import escape

from flockcare.birds.models import Bird
from flockcare.people.services import start_flock
from flockcare.trends import charts, words
from flockcare.trends.answers import build
from flockcare.trends.models import WindowChoice
from flockcare.trends.records import read, told_changes
from flockcare.trends.report import plain
from flockcare.trends.report_cache import report_of
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen
from tests.trends.yard import CHANGED, fill, look

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _empty_cache():
    cache.clear()


@pytest.fixture
def yard(cast):
    fill(cast.flock, keeper=cast.keeper)
    return cast


def page(cast, name="trends:page", *args, **query):
    url = reverse(name, args=[cast.flock.pk, *args])
    return cast.clients.owner.get(url, query)


def window_url(cast):
    house = cast.flock.house_set.get(name="Ark")
    return reverse("trends:window", args=[cast.flock.pk, house.pk, CHANGED.isoformat()])


def change_url(cast):
    house = cast.flock.house_set.get(name="Ark")
    return reverse("trends:change", args=[cast.flock.pk, house.pk, CHANGED.isoformat()])


def test_who_may_look(yard):
    assert seen(yard, change_url(yard)) == READ_PAGE
    assert seen(yard, reverse("trends:page", args=[yard.flock.pk])) == READ_PAGE
    assert seen(yard, reverse("trends:cases", args=[yard.flock.pk])) == READ_PAGE
    assert seen(yard, window_url(yard)) == {**FORM_PAGE, "viewer": 200}


def test_who_may_choose_a_stretch(yard):
    assert refused(yard, window_url(yard), {"window_days": 100, "lag_days": 0}) == NOT_WRITERS
    assert not WindowChoice.objects.exists()


def test_a_viewer_is_not_led_to_what_they_may_not_do(yard):
    url = change_url(yard)
    assert b"Choose another" in yard.clients.keeper.get(url).content
    assert b"Choose another" not in yard.clients.viewer.get(url).content


def test_as_many_queries_for_few_records_as_for_many(yard):
    rows = list(Bird.objects.filter(flock=yard.flock))

    def grow():
        for number in range(20):
            look(yard.flock, rows[0], dt.date(2026, 1, 1) + dt.timedelta(number))

    same_queries(yard.clients.owner, reverse("trends:page", args=[yard.flock.pk]), grow=grow)


def test_an_empty_flock_is_taught(cast):
    text = page(cast).content.decode()
    assert "No foot checked yet." in text and "A first check of both feet" in text
    assert reverse("pick", args=[cast.flock.pk]) in text
    assert page(cast, "trends:cases").status_code == 200


def test_one_look_alone(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Dill")
    look(cast.flock, bird, dt.date(2025, 3, 3))
    text = page(cast).content.decode()
    assert "too little time watched for a rate" in text
    assert "Check every foot a second time" in text


def test_after_the_first_round_the_page_says_that_time_is_missing(cast):
    """House, breed and age are on record, so that it must not say that they are not."""
    fill(cast.flock, weeks=1)
    answer = page(cast)
    text = answer.content.decode()
    assert "Nothing is on record to sort the birds by" not in text
    assert "which birds lived there" not in text and "Write down which house" not in text
    said = "Too little time watched yet: the first check was on 6 Jan 2025."
    assert text.count(said) == 1, "one sentence for all ways of sorting"
    assert not answer.context["groupings"]
    assert "6 birds that lived there" not in text and "3 birds that lived there then" in text
    for title in ("Weight class", "House", "Breed", "Age", "Season"):
        assert f"<strong>{title}</strong>" in text
    assert words.NEEDED in text and "new cases in two of them" in words.NEEDED


def test_a_keeper_reads_no_unit_of_the_trade_and_no_command(yard):
    text = page(yard).content.decode()
    assert "hen-day" not in text and "manage.py" not in text
    assert "A day of watching is one hen for one day" in text


def test_months_are_marked_by_month_however_few(cast):
    fill(cast.flock, birds=1, weeks=6)
    today = dt.date(2025, 2, 20)
    report = build(read(cast.flock, told_changes(cast.flock)), flock="x", today=today)
    drawing = charts.months_chart(report, charts.buckets(report, everything=True), str, "t")
    assert re.findall(r'class="tick-name"[^>]*>([^<]*)<', drawing) == ["Jan", "Feb"]
    assert re.findall(r'class="tick-year"[^>]*>([^<]*)<', drawing) == ["2025"]


def test_the_only_sore_that_healed_took_longer_than_most_are_watched(cast):
    """There is a curve of healing, and not one step in the part of it that is drawn."""
    today = dt.datetime.now(cast.flock.zone).date()

    def seen(bird, days_ago, left):
        look(cast.flock, bird, today - dt.timedelta(days=days_ago), left=left, hour=0)

    for number in range(8):
        bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
        for days_ago, left in ((20, 0), (2, 1), (0, 1)):
            seen(bird, days_ago, left)
    healed = Bird.objects.create(flock=cast.flock, name="Dill")
    for days_ago, left in ((90, 0), (80, 1), (60, 1), (40, 0)):
        seen(healed, days_ago, left)
    assert "Sores not yet seen clear" in page(cast).content.decode()


def svgs(text):
    """The drawings of the page, with those that stand inside them."""
    depth, start, found = 0, 0, []
    for tag in re.finditer(r"<(/?)svg\b", text):
        if tag[1]:
            depth -= 1
            if depth == 0:
                found.append(text[start : text.index(">", tag.end()) + 1])
        else:
            start = start if depth else tag.start()
            depth += 1
    return [drawing for drawing in found if drawing.startswith('<svg class="trend')]


def test_drawings_are_well_formed_and_named(yard):
    drawings = svgs(page(yard).content.decode())
    assert len(drawings) > 5
    for drawing in drawings:
        tree = ElementTree.fromstring(drawing)  # noqa: S314
        assert tree.get("aria-label") or tree.get("aria-hidden")
        assert "nan" not in drawing and "inf%" not in drawing
        for link in tree.iter("{http://www.w3.org/2000/svg}a"):
            assert link[0].tag.endswith("title") and link[0].text


def test_every_mark_opens_its_records(yard):
    text = page(yard).content.decode()
    links = set(re.findall(r'href="([^"]*/trends/cases/[^"]*)"', text))
    assert len(links) > 15
    for link in links:
        assert yard.clients.owner.get(link.replace("&amp;", "&")).status_code == 200
    anchors = set(re.findall(r'href="#([^"]+)"', text))
    assert anchors and all(f'id="{anchor}"' in text for anchor in anchors)


def test_the_cases_of_a_month_are_those_that_may_have_begun_in_it(yard):
    answer = page(yard, "trends:cases", of="months:2025-02-1")
    first, following = dt.date(2025, 2, 1), dt.date(2025, 3, 1)
    found = [row[0] for row in answer.context["rows"]]
    assert found
    assert all(case.found_on >= first and case.clear_on < following for case in found)
    assert "May have begun in February 2025" in answer.content.decode()


@pytest.mark.parametrize(
    "of",
    ["months:2025-13-1", "months:0000-01-1", "change:99", "group:no", "healing:", "x", "bird:"],
)
def test_marks_that_are_none(yard, of):
    assert page(yard, "trends:cases", of=of).status_code == 404


def test_a_case_leads_to_the_bird_and_the_check(yard):
    text = page(yard, "trends:cases", of="change:1").content.decode()
    checks = re.findall(r'href="([^"]*/checks/[^"]*)"', text)
    assert checks and yard.clients.owner.get(checks[0]).status_code == 200


def test_months_without_looks_are_hatched(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Dill")
    for day in (dt.date(2025, 1, 5), dt.date(2025, 1, 19), dt.date(2025, 6, 1)):
        look(cast.flock, bird, day)
    text = page(cast).content.decode()
    assert "March 2025: not watched, so nothing is known" in text
    assert text.count('class="unwatched"') >= 8


def test_choosing_a_stretch(yard):
    url = window_url(yard)
    answer = yard.clients.owner.post(url, {"window_days": 100, "lag_days": 7})
    assert answer.status_code == 302 and answer.headers["Location"] == change_url(yard)
    choice = WindowChoice.objects.get()
    assert (choice.window_days, choice.lag_days, choice.keeper) == (100, 7, yard.owner)
    text = " ".join(yard.clients.owner.get(change_url(yard)).content.decode().split())
    assert "100 days on either side, without the 7 days after the change" in text
    assert "after the answer could be seen; 2 periods tried." in text
    # The same once more is no other try.
    yard.clients.owner.post(url, {"window_days": 100, "lag_days": 7})
    assert WindowChoice.objects.count() == 1


def test_a_stretch_that_cannot_be(yard):
    answer = yard.clients.owner.post(window_url(yard), {"window_days": 5, "lag_days": 0})
    assert answer.status_code == 422
    assert "Compare at least 28 days on either side." in answer.content.decode()


def test_no_stretch_where_nothing_changed(yard):
    house = yard.flock.house_set.get(name="Barn")
    for day in (CHANGED.isoformat(), "2025-02-31", "soon"):
        for name in ("trends:window", "trends:change"):
            url = reverse(name, args=[yard.flock.pk, house.pk, day])
            assert yard.clients.owner.get(url).status_code == 404


# The command


def printed(*args, **options) -> str:
    out = io.StringIO()
    call_command("trends", *args, stdout=out, **options)
    return out.getvalue()


def test_the_command_prints_what_the_pages_say(yard):
    """What was counted for a change stands on its own page."""
    said = json.loads(printed(flock="Hill Flock", json=True))
    today = dt.datetime.now(yard.flock.zone).date()
    assert said == json.loads(json.dumps(plain(report_of(yard.flock, today))))
    own = yard.clients.owner.get(change_url(yard)).content.decode()
    (change,) = said["changes"]
    for sentence in (*change["sentences"], *change["else_changed"], change["tells_more"]):
        assert escape(sentence) in own
    text = page(yard).content.decode()
    sentences = [
        *said["headline"],
        *said["scan"]["sentences"],
        *(line for grouping in said["groupings"] for line in grouping["sentences"]),
        *said["repeats"]["sentences"],
        *said["healing"]["sentences"],
        *(step["sentence"] for step in said["steps"]),
    ]
    assert len(sentences) > 12
    for sentence in sentences:
        assert escape(sentence) in text


def test_the_command_in_sentences(yard):
    assert "What to record next" in printed(flock="Hill Flock")


def test_no_such_flock_or_several(cast):
    with pytest.raises(CommandError, match="no flock called"):
        printed(flock="Nowhere")
    start_flock(owner=cast.owner, name="Elsewhere", time_zone="UTC", units="metric")
    with pytest.raises(CommandError, match="--owner"):
        printed(flock="Elsewhere")
    assert printed(flock="Elsewhere", owner="stranger")


def test_nothing_of_the_charts_is_hidden_on_paper(client, cast):
    """On paper the page's bars were missing: the rules for print hid their class."""
    import re
    from pathlib import Path

    css = Path(__file__, "../../../static/css/print.css").resolve().read_text(encoding="utf-8")
    rules = [rule.split("{") for rule in css.split("}") if "display: none" in rule]
    hidden = {name for names, _ in rules for name in re.findall(r"\.([\w-]+)", names)}
    assert "buttons" in hidden
    fill(cast.flock)
    client.force_login(cast.keeper)
    page = client.get(f"/f/{cast.flock.pk}/trends/").content.decode()
    charts = re.findall(r"<svg.*?</svg>", page, re.S)
    drawn = {
        one
        for chart in charts
        for names in re.findall(r'class="([^"]*)"', chart)
        for one in names.split()
    }
    assert "cases" in drawn and not drawn & hidden
