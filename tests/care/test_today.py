"""Tonight's list: what is due, who does it, and the piece that renews itself."""

import json
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep, KitItem
from flockcare.care.rows import checks_due, rows_of
from flockcare.care.situation import standings
from flockcare.feet.models import Check
from flockcare.pages.leaving import leave_flock
from tests.care.steps import ago, day, look, step, today, url
from tests.care.test_one_answer import text

pytestmark = pytest.mark.django_db

HTMX = {"HX-Request": "true"}


def piece(client, cast, query="", **headers):
    return client.get(url(cast, "today_panel") + query, headers={**HTMX, **headers})


def tag_of(answer) -> str:
    return answer.headers["ETag"].strip('"')


def test_without_script_the_link_leads_to_the_list(cast, birds):
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/today/").content.decode()
    assert url(cast, "list") in page
    answer = cast.clients.keeper.get(url(cast, "today_panel"))
    assert answer.headers["Location"] == url(cast, "list")


def test_while_nothing_changes_the_answer_is_empty_and_cheap(cast, birds):
    step(cast, birds["Dill"], "dressing on", days_ago=1)
    first = piece(cast.clients.owner, cast)
    assert first.status_code == 200 and "Dill" in first.content.decode()
    with CaptureQueriesContext(connection) as queries:
        again = piece(cast.clients.owner, cast, **{"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    # Session, keeper, membership, and one for the state.
    assert len(queries) == 4
    # As htmx reads it.
    headers = re.search(r"hx-headers='(.*?)'", first.content.decode())[1]
    assert json.loads(headers) == {"If-None-Match": first.headers["ETag"]}


def test_a_packed_answer_is_known_again_by_its_weak_tag(cast, birds):
    """RFC 9110, section 13.1.2: If-None-Match is compared weakly. Packing makes a tag weak."""
    step(cast, birds["Dill"], "dressing on", days_ago=1)
    packed = {"Accept-Encoding": "gzip"}
    first = piece(cast.clients.owner, cast, **packed)
    assert first.headers["ETag"].startswith("W/")
    packed["If-None-Match"] = first.headers["ETag"]
    assert piece(cast.clients.owner, cast, **packed).status_code == 304


@pytest.mark.parametrize(
    "deed",
    ["a step", "a claim", "an undone step", "a check", "a bird that left", "a mended step"],
)
def test_every_change_is_seen_by_the_other_keeper(cast, birds, deed):
    due = step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    before = piece(cast.clients.owner, cast)
    client = cast.clients.keeper
    if deed == "a step":
        client.post(url(cast, "done", due.pk))
    elif deed == "a claim":
        client.post(url(cast, "claim", due.pk), {"do": "claim"})
    elif deed == "an undone step":
        client.post(url(cast, "undo", due.pk))
    elif deed == "a check":
        look(cast, birds["Mace"], left={"score": 2})
    elif deed == "a bird that left":
        birds["Dill"].left, birds["Dill"].left_reason = str(today()), "died"
        leave_flock(bird=birds["Dill"], by=cast.keeper)
    else:
        client.post(url(cast, "drop", due.pk), {"because": "Healed."})
    after = piece(cast.clients.owner, cast, **{"If-None-Match": before.headers["ETag"]})
    assert after.status_code == 200
    assert after.content != before.content


def test_each_keeper_and_each_choice_has_a_state_of_its_own(cast, birds):
    tags = {
        tag_of(piece(client, cast, query))
        for client in (cast.clients.owner, cast.clients.keeper, cast.clients.viewer)
        for query in ("", "?mine")
    }
    assert len(tags) == 6


def test_claimed_by_one_seen_by_all_and_left_to_others_again(cast, birds):
    due = step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    answer = cast.clients.keeper.post(url(cast, "claim", due.pk), {"do": "claim"}, headers=HTMX)
    assert "You said you will do it" in answer.content.decode()
    assert "Keeper will do it" in " ".join(piece(cast.clients.owner, cast).content.decode().split())
    # Too late for the owner, who tapped an old list; taking it over is said as such.
    answer = cast.clients.owner.post(url(cast, "claim", due.pk), {"do": "claim"}, headers=HTMX)
    assert "Keeper has said so already." in answer.content.decode()
    cast.clients.owner.post(url(cast, "claim", due.pk), {"do": "release"})
    due.refresh_from_db()
    assert due.claimed_by == cast.keeper
    cast.clients.owner.post(url(cast, "claim", due.pk), {"do": "take"})
    due.refresh_from_db()
    assert due.claimed_by == cast.owner
    cast.clients.owner.post(url(cast, "claim", due.pk), {"do": "release"})
    due.refresh_from_db()
    assert due.claimed_by is None


def test_mine_leaves_out_what_another_has_taken_on(cast, birds):
    step(cast, birds["Dill"], days_ago=1, next_due=day(0), claimed_by=cast.keeper)
    step(cast, birds["Mace"], days_ago=1, next_due=day(0), claimed_by=cast.owner)
    step(cast, birds["Sorrel"], days_ago=1, next_due=day(0))
    page = piece(cast.clients.owner, cast, "?mine").content.decode()
    assert "Dill" not in page and "Mace" in page and "Sorrel" in page
    # A tap in the narrowed list gives the narrowed list back.
    due = CareStep.objects.get(bird=birds["Sorrel"])
    answer = cast.clients.owner.post(
        url(cast, "done", due.pk), {"mine": "1", "back": "today"}, headers=HTMX
    )
    assert "Dill" not in answer.content.decode()


def test_a_tap_without_script_leads_back_to_where_it_was(cast, birds):
    due = step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    for back, place in (
        ("today", f"/f/{cast.flock.pk}/today/"),
        ("list", url(cast, "list")),
        ("bird", url(cast, "bird", birds["Dill"].pk)),
    ):
        answer = cast.clients.keeper.post(url(cast, "claim", due.pk), {"do": "take", "back": back})
        assert answer.headers["Location"] == place


def test_what_a_tap_saved_stands_in_the_line_that_was_tapped(cast, birds):
    """So that the list stays as it is under the thumb; what could not be saved renews it."""
    look(cast, birds["Dill"], left={"score": 0}, right={"score": 0})
    on = step(cast, birds["Dill"], "dressing on", days_ago=1)
    step(cast, birds["Mace"], days_ago=1, next_due=day(0))
    tap = {"kind": "dressing changed", "back": "today", "line": "1"}
    answer = cast.clients.keeper.post(url(cast, "done", on.pk), tap, headers=HTMX)
    changed = CareStep.objects.get(kind="dressing changed")
    said = " ".join(strip_tags(answer.text).split())
    at = timezone.localtime(changed.at)
    assert f"Left foot: dressing changed, {at:%H:%M}, by you." in said
    assert "Due tonight: Mace." in said and 'id="care"' not in answer.text
    assert url(cast, "undo", changed.pk) in answer.text and "HX-Retarget" not in answer.headers
    late = cast.clients.owner.post(url(cast, "done", on.pk), tap, headers=HTMX)
    assert late.headers["HX-Retarget"] == "#care" and "has done this already" in late.text


def test_what_was_done_today_says_by_whom_and_can_be_undone(cast, birds):
    due = step(cast, birds["Dill"], days_ago=1, next_due=day(0))
    answer = cast.clients.keeper.post(url(cast, "done", due.pk), headers=HTMX).content.decode()
    done = CareStep.objects.exclude(pk=due.pk).get()
    # Where the tick was: in the row of the bird, and nowhere else.
    row = answer.split('class="standing-row"')[1].split("</section>")[0]
    assert "soaked" in row and url(cast, "undo", done.pk) in row
    assert "Care done today" not in answer
    undo = url(cast, "undo", done.pk)
    answer = cast.clients.owner.post(undo, {"whole": "1"}, headers=HTMX).content.decode()
    assert "Undone: Dill" in answer and "Deleted" not in answer
    assert "Left foot: soak Done" in " ".join(strip_tags(answer).split())


def test_a_tick_leaves_every_bird_in_its_place(cast, birds):
    late = step(cast, birds["Dill"], days_ago=3, next_due=day(-2))
    for name in ("Mace", "Sorrel"):
        step(cast, birds[name], days_ago=3, next_due=day(-2))
    names = re.compile(r"<strong>(Dill|Mace|Sorrel)</strong></a>")
    before = names.findall(piece(cast.clients.keeper, cast).text)
    assert before == ["Dill", "Mace", "Sorrel"]
    after = cast.clients.keeper.post(url(cast, "done", late.pk), headers=HTMX).text
    assert names.findall(after) == before


def test_an_urgent_sign_stands_on_top_until_a_look_without_it(cast, birds):
    """A swelling seen from above is score 2 of the Welfare Quality protocol (2009), from memory."""
    look(cast, birds["Dill"], days_ago=3, left={"score": 2, "swelling": "from above"})
    look(cast, birds["Mace"], days_ago=1, left={"score": 1, "scab": "brown", "swelling": "none"})
    page = " ".join(piece(cast.clients.owner, cast).content.decode().split())
    assert "Vet within days: Dill." in page
    # By the score: the words of the rule would say it once more.
    assert "Left foot: swollen, sore since" in page and "that can be seen" not in page
    assert page.index(">Dill<") < page.index(">Mace<")
    # Asked is not answered: only a plan stands in for the advice.
    visit = step(cast, birds["Dill"], "vet", days_ago=2)
    page = piece(cast.clients.owner, cast).content.decode()
    assert "Vet asked on" in page and "Vet within days" in page
    visit.plan, visit.plan_until = "Soak.", day(9)
    visit.save()
    page = piece(cast.clients.owner, cast).content.decode()
    assert "Vet asked on" in page and "Vet within days" not in page
    look(cast, birds["Dill"], days_ago=1, left={"score": 0}, right={"score": 0})
    assert "Vet asked on" in piece(cast.clients.owner, cast).content.decode()
    look(cast, birds["Dill"], left={"score": 2})
    assert "Vet within days" in piece(cast.clients.owner, cast).content.decode()


def test_the_most_urgent_stands_first_and_each_says_how_soon(cast, birds):
    swollen, plain = {"score": 2}, {"score": 1, "scab": "brown", "swelling": "none"}
    look(cast, birds["Mace"], days_ago=3, left={"score": 1, "cold_or_dark": True})
    look(cast, birds["Dill"], days_ago=2, left=swollen)
    look(cast, birds["Sorrel"], days_ago=0, left={**plain, "scab_mm": 4}, right={"score": 0})
    look(cast, birds["Sorrel"], days_ago=15, left={**plain, "scab_mm": 4}, right={"score": 0})
    page = piece(cast.clients.owner, cast).content.decode()
    rows = page.split('<li class="standing-row">')[1:]
    shown = [("now", "Vet today", "Mace"), ("soon", "Vet within days", "Dill")]
    shown.append(("ask", "Ask a vet, not urgent", "Sorrel"))
    for row, (level, words, name) in zip(rows, shown, strict=True):
        assert f'<span class="level level-{level}">{words}</span>' in row and name in row
    answer = page.split("<h2")[0]
    assert "Vet today: Mace." in answer and "Vet within days: Dill." in answer


def test_a_dull_bird_with_sound_feet_is_urgent_too(cast, birds):
    look(cast, birds["Sorrel"], manner="dull", left={"score": 0}, right={"score": 0})
    shown = piece(cast.clients.owner, cast).text
    assert re.search("Vet (today|within days): Sorrel. Ring (now|today)[.]", shown)
    # Once, and by whom on her page.
    assert "<p>Dull</p>" in shown and "Not bright" not in shown
    hers = cast.clients.owner.get(birds["Sorrel"].get_absolute_url()).text
    assert "Not bright" in hers and re.search(r"Dull, seen \d+ \w+ by Owner", hers)
    look(cast, birds["Sorrel"], manner="bright", left={"score": 0}, right={"score": 0})
    assert "Dull" not in piece(cast.clients.owner, cast).text


def test_the_piece_asks_as_often_for_many_rows(cast, birds):
    def count():
        piece(cast.clients.owner, cast)  # works out how the birds stand
        with CaptureQueriesContext(connection) as queries:
            assert piece(cast.clients.owner, cast).status_code == 200
        return len(queries)

    look(cast, birds["Dill"], left={"score": 2})
    step(cast, birds["Dill"], "medicine", days_ago=1)
    step(cast, birds["Dill"], "dressing on", days_ago=1)
    few = count()
    for number in range(20):
        bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
        look(cast, bird, left={"score": 2}, right={"score": 1})
        for kind in ("medicine", "dressing on", "vet"):
            step(cast, bird, kind, days_ago=1)
        step(cast, bird, "rinsed")
    assert count() == few <= 12


def test_what_the_kit_lacks_stands_on_today(cast, birds):
    assert "Kit" not in piece(cast.clients.viewer, cast).content.decode()
    for name, stock in [("Salve", 0), ("Gauze", 1), ("Gloves", 9), ("Wrap", 1), ("Salt", 0)]:
        KitItem.objects.create(flock=cast.flock, name=name, stock=stock, low_at=2)
    shown = " ".join(piece(cast.clients.viewer, cast).content.decode().split())
    assert "Kit</a>: Gauze low; Salt none left; Salve none left; 1 more to buy." in shown


def test_the_next_check_is_told_where_none_is_due(cast, birds):
    """What is due of a bird under care stands with her care, and the others are due as well."""
    for name in ("Dill", "Mace", "Sorrel"):
        look(cast, birds[name], days_ago=2, left={"score": 0}, right={"score": 0})
    page = reverse("today", args=[cast.flock.pk])
    found = standings(cast.flock, now=timezone.now())
    next_due = checks_due(rows_of(found, Bird.objects.all()))["next_due"]
    assert f"Next check: {next_due:%A} {next_due.day} {next_due:%B}" in text_of(cast, page)
    look(cast, birds["Dill"], days_ago=1, manner="dull", left={"score": 0}, right={"score": 0})
    assert "Next check" not in text_of(cast, page) and "for a check" not in text_of(cast, page)
    look(cast, birds["Mace"], days_ago=90, left={"score": 0}, right={"score": 0})
    Check.objects.filter(bird=birds["Mace"], at__gte=ago(9)).delete()
    assert "Also due for a check M Mace" in text_of(cast, page)


def test_nothing_is_said_twice_where_nothing_is_due(cast, birds):
    for name in ("Dill", "Mace", "Sorrel"):
        look(cast, birds[name], days_ago=2, left={"score": 0}, right={"score": 0})
    page = reverse("today", args=[cast.flock.pk])
    assert "No care is due tonight. " in text_of(cast, page)
    assert "under care" not in text_of(cast, page) and "No bird" not in text_of(cast, page)
    assert "Nothing for you tonight." in piece(cast.clients.owner, cast, "?mine").text


def text_of(cast, address) -> str:
    return " ".join(strip_tags(cast.clients.owner.get(address).text).split())


def test_signs_go_on_within_a_line(cast, birds):
    look(cast, birds["Dill"], manner="dull", eating="no", left={"score": 0}, right={"score": 0})
    assert "<p>Dull, not eating</p>" in piece(cast.clients.owner, cast).text
    assert "Not bright; not eating" in cast.clients.owner.get(birds["Dill"].get_absolute_url()).text


def test_clear_feet_are_not_called_something_to_monitor(cast, birds):
    """She is named for her eggs alone; a mild sore is what one monitors."""
    dill = birds["Dill"]
    pages = (url(cast, "bird", dill.pk), dill.get_absolute_url())
    look(cast, dill, days_ago=1, left={"score": 0}, right={"score": 0})
    step(cast, dill, "medicine", product="Drops", foot="")
    for page in pages:
        shown = cast.clients.owner.get(page).text
        assert "level-leave" not in shown and "Don’t eat her eggs" in shown.replace(
            "don’t", "Don’t"
        )
    known = {"swelling": "none", "hot": False, "oozing": False, "scab": "brown", "scab_mm": 3}
    signs = {"gait": 0, "manner": "bright", "eating": "yes"}
    look(cast, dill, left={"score": 1, **known}, right={"score": 0}, **signs)
    for page in pages:
        assert "level-leave" in cast.clients.owner.get(page).text


def test_where_one_foot_alone_is_due_every_page_says_which(cast, birds):
    """The left foot was checked today and the right one left blank, whatever the left showed."""
    ago = cast.flock.round_days + 1
    for bird in birds.values():
        look(cast, bird, days_ago=ago, left={"score": 0}, right={"score": 0})
    well = {"gait": 0, "manner": "bright", "eating": "yes"}
    mild = {"score": 1, "scab": "black", "swelling": "none", "hot": False, "oozing": False}
    look(cast, birds["Dill"], left=mild, **well)
    look(cast, birds["Mace"], left={"score": 0}, **well)
    today_page = text(cast.clients.keeper, reverse("today", args=[cast.flock.pk]))
    assert "Right foot 1 day late Check her" in today_page.split("Dill", 2)[-1]
    alone = today_page.split("for a check", 1)[1]
    assert "Right foot: 1 day late" in alone.split("Mace", 1)[1][:60]
    for name in ("Dill", "Mace"):
        page = text(cast.clients.keeper, birds[name].get_absolute_url())
        assert "Right foot: 1 day late" in page, name
    # Of a bird with both feet due nothing of a foot is said.
    assert "foot: 1 day late" not in text(cast.clients.keeper, birds["Sorrel"].get_absolute_url())
