"""Two keepers who edit one record: every page on which that can happen.

What is expected of such a page is common practice, no published source: nobody's words are
written over without being shown, nothing typed is lost, the same edit twice is no conflict.
"""

from dataclasses import dataclass

import pytest
from django.utils.html import escape

from flockcare.birds.models import Bird
from flockcare.feet.models import Check
from flockcare.people.models import Membership, Revision, Role
from tests.core.test_access import ADDRESSES, IN_A_FLOCK, address, records
from tests.people.page_forms import form_with

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Edit:
    """A field of the form, and what each of two keepers writes there.

    ``words``: how the two values read, where that is not how they are written; ``name``: the
    column, where that is not the field.
    """

    field: str
    theirs: str
    mine: str
    words: tuple[str, str] | None = None
    name: str = ""

    @property
    def column(self) -> str:
        return self.name or self.field


EDITS = {
    "birds:edit": Edit("traits", "Limps in frost.", "An old break, left."),
    "birds:leave": Edit("left_note", "Heart.", "Liver."),
    "birds:breed_edit": Edit("adult_grams", "2.8", "3.1", ("2.80 kg", "3.10 kg")),
    "birds:weighing_edit": Edit("grams", "2.1", "2.3", ("2.10 kg", "2.30 kg")),
    "feet:check_edit": Edit("note", "Walks well.", "Bedding wet."),
    "care:step": Edit("note", "Ten minutes.", "Warm water."),
    "care:drop": Edit("because", "Healed.", "Raining.", name="dropped_because"),
    "care:item": Edit("unit", "pads", "rolls"),
    "housing:edit": Edit("note", "Roof new.", "Door sticks."),
    "housing:feature_edit": Edit("name", "Top bar", "Long bar"),
    "housing:state": Edit("height_cm", "60", "70", ("60 cm", "70 cm")),
    "housing:change_tell": Edit("note", "Drained.", "Chips laid."),
    "housing:stay": Edit("since", "2026-02-01", "2026-03-01", ("1 Feb 2026", "1 Mar 2026")),
    "people:settings": Edit("round_days", "10", "21"),
    "people:member": Edit("role", "keeper", "owner", ("Keeper", "Owner")),
}
# What takes a post and edits no text that somebody else could have written meanwhile.
NEW = {
    *("birds:add", "birds:add_many", "birds:weighings", "care:item_new", "care:kit_fill"),
    *("care:step_new", "care:calendar", "feet:check_new", "feet:round_start", "feet:sort_add"),
    *("housing:add", "housing:feature_add", "people:people", "people:password_link"),
    *("photos:add", "photos:cards", "photos:card_sheets", "photos:measure"),
}
REMOVED_WHOLE = {
    *("birds:breed_delete", "birds:weighing_delete", "care:item_delete", "care:undo"),
    *("care:calendar_end", "feet:check_delete", "feet:sort_undo", "housing:delete"),
    *("housing:feature_delete", "housing:state_delete", "housing:change_delete"),
    *("housing:stay_delete", "housing:plan_drop", "people:leave", "people:member_remove"),
    *("people:invitation_withdraw", "people:flock_delete", "photos:delete", "photos:take_back"),
}
# One tap each, which says no more than it does.
TAPS = {
    *("birds:came_back", "care:claim", "care:done", "feet:round_next", "feet:round_pass"),
    *("feet:round_end", "housing:plan_done", "people:flock_open", "photos:put_back"),
    *("photos:turn", "feet:sort_follow", "feet:sort_alike", "feet:sort_known"),
}
OTHERWISE = {
    "people:restore": "is tested with the history",
    "care:holds": "only fills in what nobody knew",
    "feet:sort_send": "has an undo of its own",
    "feet:sort": "has an undo of its own",
    "housing:change": "writes a new state, and shows what another wrote on that day",
    "housing:walk": "writes a new state, and shows what another wrote on that day",
    "housing:move": "ends a stay and begins another, which says where she was",
    "photos:crop": "what is shown of a photo, seen at once",
    "housing:correct": "only leads to others",
    "housing:what_if": "keeps a plan, which is new",
    "care:opening": "only shows",
}
OURS = ("birds:", "care:", "feet:", "housing:", "people:", "photos:")


@pytest.fixture
def found(cast):
    """One record of every kind; the keeper is an owner too, so that two may edit all of them."""
    Membership.objects.filter(keeper=cast.keeper).update(role=Role.OWNER)
    found = records(cast.flock, cast.owner)
    found["membership_id"] = Membership.objects.get(flock=cast.flock, keeper=cast.viewer).pk
    Check.objects.get(pk=found["check_id"]).findings.create(foot="left", score=0)
    return found


@pytest.fixture(autouse=True)
def gone_bird(request, found):
    """Only who has left is said to have left, and why."""
    name = getattr(request.node, "callspec", None) and request.node.callspec.params.get("name")
    if name == "birds:leave":
        Bird.objects.filter(pk=found["bird_id"]).update(left="2026-05", left_reason="died")


def sent(client, url, **typed) -> dict:
    """The page's form as it stands, with what was typed."""
    page = client.get(url)
    assert page.status_code == 200
    fields = form_with(page, "version")
    return fields | {name: [text] for name, text in typed.items()}


def both_open(cast, url, edit: Edit) -> tuple[dict, dict]:
    """What each of the two sends, having opened the page before either sent it."""
    return (
        sent(cast.clients.keeper, url, **{edit.field: edit.theirs}),
        sent(cast.clients.owner, url, **{edit.field: edit.mine}),
    )


def test_every_address_that_takes_a_post_is_told_apart(cast, found):
    """A new one fails here until somebody has said whether two can be at it at once."""
    told = set(EDITS) | NEW | REMOVED_WHOLE | TAPS | set(OTHERWISE)
    ours = {name for name in IN_A_FLOCK if name.startswith(OURS)}
    takes_posts = {
        name
        for name in ours
        if cast.clients.stranger.post(address(name, cast.flock, found)).status_code != 405
    }
    assert told <= set(ADDRESSES)
    assert takes_posts - told == set()


def test_these_pages_carry_a_version_and_no_others(cast, found):
    carry = {
        name
        for name in IN_A_FLOCK
        if name.startswith(OURS)
        and b'name="version"' in b"".join(cast.clients.owner.get(address(name, cast.flock, found)))
    }
    assert carry == {*EDITS, "people:restore"}


@pytest.mark.parametrize("name", EDITS)
def test_the_second_sees_both_and_chooses(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, mine = both_open(cast, url, edit)
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    known = Revision.objects.count()

    page = cast.clients.owner.post(url, mine)
    assert page.status_code == 409
    text = page.content.decode()
    for words in edit.words or (edit.theirs, edit.mine):
        assert escape(words) in text
    assert "Keeper</strong> changed this" in text or name == "housing:change_tell"
    assert Revision.objects.count() == known

    choice = form_with(page, f"version-keep-{edit.column}")
    assert choice[f"version-keep-{edit.column}"] == ["mine"]
    done = cast.clients.owner.post(url, choice)
    assert done.status_code == 302, done.content.decode()
    newest = Revision.objects.order_by("-pk").first()
    assert Revision.objects.count() == known + 1
    assert newest.by == cast.owner
    again = form_with(cast.clients.owner.get(url), "version")
    assert again[edit.field] == [edit.mine]


@pytest.mark.parametrize("name", EDITS)
def test_what_the_other_wrote_can_be_kept(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, mine = both_open(cast, url, edit)
    cast.clients.keeper.post(url, theirs)
    known = Revision.objects.count()
    choice = form_with(cast.clients.owner.post(url, mine), f"version-keep-{edit.column}")
    choice[f"version-keep-{edit.column}"] = ["theirs"]
    assert cast.clients.owner.post(url, choice).status_code == 302
    assert Revision.objects.count() == known
    again = form_with(cast.clients.owner.get(url), "version")
    assert again[edit.field] == [edit.theirs]


@pytest.mark.parametrize("name", EDITS)
def test_the_same_edit_of_two_phones_is_no_conflict(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, mine = both_open(cast, url, edit)
    mine[edit.field] = theirs[edit.field]
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    known = Revision.objects.count()
    assert cast.clients.owner.post(url, mine).status_code == 302
    assert Revision.objects.count() == known


@pytest.mark.parametrize("name", EDITS)
def test_whoever_typed_nothing_undoes_nothing(cast, found, name):
    edit, url = EDITS[name], address(name, cast.flock, found)
    theirs, _ = both_open(cast, url, edit)
    if name == "care:drop":  # Refused without a word.
        return
    untouched = sent(cast.clients.owner, url)
    assert cast.clients.keeper.post(url, theirs).status_code == 302
    assert cast.clients.owner.post(url, untouched).status_code == 302
    again = form_with(cast.clients.owner.get(url), "version")
    assert again[edit.field] == [edit.theirs]
