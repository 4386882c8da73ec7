"""Checks in a keeper's words; see ``people.kinds``."""

from django.urls import reverse

from flockcare.feet.models import SIGN_WORDS, Check, Scab, Site, SortingNote, Swelling
from flockcare.feet.scales import AFFECTED_FROM, CLINICAL_GRADE, LESION
from flockcare.feet.services import bring_back_check, plain_check, restore_check, snapshot
from flockcare.people import history
from flockcare.people.kinds import Kind, Names
from flockcare.people.models import Revision
from flockcare.photos.models import Foot


def foot_words(seen: dict | None, names: Names) -> str:
    """All that was seen on one foot: ``2 swollen, main pad, black scab 6 mm wide, hot``."""
    if seen is None:
        return "not checked"
    words = [f"{seen['score']} {dict(LESION.choices)[seen['score']].lower()}"]
    words += [Site(site).label for site in seen["sites"]]
    if seen["scab"]:
        wide = f", {seen['scab_mm']} mm wide" if seen["scab_mm"] else ""
        words.append("no scab" if seen["scab"] == Scab.NONE else f"{seen['scab']} scab{wide}")
    if seen["swelling"]:
        told = Swelling(seen["swelling"]).label
        words.append("no swelling" if seen["swelling"] == Swelling.NONE else f"swelling {told}")
    words += [word for name, word in SIGN_WORDS.items() if seen.get(name)]
    if seen["score"] >= AFFECTED_FROM:
        words += [f"not {word}" for name, word in SIGN_WORDS.items() if seen.get(name) is False]
    if grade := seen.get("clinical_grade"):
        words.append(f"clinical grade {dict(CLINICAL_GRADE.choices)[grade]}")
    return ", ".join(words)


def photos_words(keys, names: Names) -> str:
    return f"{len(keys)} photo{'' if len(keys) == 1 else 's'}" if keys else ""


def _change_note(note: SortingNote, *, by, basis, kept) -> None:
    before = history.values(SortingNote.objects.get(pk=note.pk))
    history.keep(note, action=Revision.Action.CHANGE, by=by, before=before)
    note.save()


KINDS = (
    Kind(
        Check,
        title=lambda said: f"Check of {said['bird_id']}, {said['at']}",
        page=lambda check: ("feet:check", check.pk),
        hidden=frozenset({"received_at", "time_known"}),
        joined=frozenset({"photos"}),
        picture=lambda flock, key: reverse("photos:file", args=[flock.pk, key, 240]),
        labels={
            **{foot.value: foot.label for foot in Foot},
            "photos": "Photos",
            "keeper_id": "Checked by",
        },
        words={**{foot.value: foot_words for foot in Foot}, "photos": photos_words},
        plain=plain_check,
        parts=("findings", "photos"),
        snapshot=snapshot,
        change=lambda check, *, by, basis, kept: restore_check(
            check=check, keeper=by, basis=basis, kept=kept
        ),
        bring_back=lambda check, *, by, kept: bring_back_check(check=check, keeper=by, kept=kept),
    ),
    # Of no interest by itself: it goes back with the photos that were sorted with it.
    Kind(
        SortingNote,
        title=lambda said: "Sorting",
        page=lambda note: ("photos:photo", note.pk),
        change=_change_note,
        bring_back=None,
        listed=False,
        part=True,
    ),
)
