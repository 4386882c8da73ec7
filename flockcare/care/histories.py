"""Steps of care and things of the kit in a keeper's words; see ``people.kinds``."""

from flockcare.care import services
from flockcare.care.models import CareStep, DaysFrom, KitItem
from flockcare.people.kinds import Kind, Names, register


def days_words(days, names: Names) -> str:
    """``eggs 7 days, meat not known, the label says so``."""
    eggs, meat, says = days
    if eggs is None and meat is None:
        return ""
    told = (("eggs", eggs), ("meat", meat))
    words = [f"{what} {'not known' if n is None else f'{n} days'}" for what, n in told]
    return ", ".join([*words, f"{DaysFrom(says).label} says so"] if says else words)


DAYS = {
    "labels": {"egg_days": "Days without her eggs and meat"},
    "words": {"egg_days": days_words},
}

register(
    Kind(
        CareStep,
        title=lambda said: f"{said['bird_id']}: {said['kind']}, {said['at']}",
        page=lambda step: ("care:step", step.pk),
        # Who takes on what is due next is no part of what was done.
        hidden=frozenset({"logged_at", "changed_at", "claimed_at", "claimed_by_id"}),
        labels={
            **DAYS["labels"],
            "keeper_id": "Who did it",
            "dropped_because": "Not done, because",
            "dropped_by_id": "Who said so",
        },
        words=DAYS["words"],
        change=lambda step, *, by, basis, kept: services.restore_step(
            step=step, by=by, basis=basis, kept=kept
        ),
        bring_back=lambda step, *, by, kept: services.bring_back_step(step=step, by=by, kept=kept),
    ),
    Kind(
        KitItem,
        title=lambda said: said["name"],
        page=lambda item: ("care:kit",),
        **DAYS,
    ),
)
