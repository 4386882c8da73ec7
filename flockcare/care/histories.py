"""Care given, vets and things of the kit in a keeper's words; see ``people.kinds``."""

from flockcare.care import services
from flockcare.care.models import (
    CarePlan,
    CareStep,
    DaysFrom,
    KitItem,
    StepKind,
    Task,
    TaskDone,
    VetContact,
)
from flockcare.people.kinds import Kind, Names
from flockcare.people.models import Keeper


def days_words(days, names: Names) -> str:
    """``eggs 7 days, meat not known, the label says so``."""
    eggs, meat, says = days
    if eggs is None and meat is None:
        return ""
    told = (("eggs", eggs), ("meat", meat))
    words = [f"{what} {'not known' if n is None else f'{n} days'}" for what, n in told]
    return ", ".join([*words, f"{DaysFrom(says).label} says so"] if says else words)


def parts_words(parts, names: Names) -> str:
    """``soaked, Epsom salt, 30; dressing changed``."""
    told = (
        filter(None, (StepKind(one["kind"]).label, one["product"], one["amount"])) for one in parts
    )
    return "; ".join(map(", ".join, told))


def turns_words(turns, names: Names) -> str:
    people = Keeper.objects.filter(pk__in=[key for key, _ in turns if key])
    called = {str(key): name for key, name in people.values_list("pk", "name")}
    return ", ".join(
        name or called.get(key, "somebody who is no longer here") for key, name in turns
    )


DAYS = {
    "labels": {"egg_days": "Withdrawal: days without eggs and meat"},
    "words": {"egg_days": days_words},
}

KINDS = (
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
            "found": "What the vet found or said",
        },
        words=DAYS["words"],
        change=lambda step, *, by, basis, kept: services.restore_step(
            step=step, by=by, basis=basis, kept=kept
        ),
        bring_back=lambda step, *, by, kept: services.bring_back_step(step=step, by=by, kept=kept),
        # What it used goes back into the kit.
        drop=lambda steps, *, by: services.undo_care(
            steps=steps.select_related("bird", "flock"), by=by
        ),
    ),
    Kind(
        CarePlan,
        title=lambda said: f"Plan for {said['bird_id']}: {said['parts']}",
        page=lambda plan: ("care:plan", plan.pk),
        hidden=frozenset({"logged_at"}),
        labels={**DAYS["labels"], "keeper_id": "Set up by"},
        words={**DAYS["words"], "parts": parts_words, "turns": turns_words},
    ),
    Kind(
        Task,
        title=lambda said: f"Task: {said['kind']}",
        page=lambda task: ("care:task_settings",),
    ),
    Kind(
        TaskDone,
        title=lambda said: f"{said['kind']}, {said['on']}",
        page=lambda done: ("care:tasks",),
        hidden=frozenset({"logged_at"}),
    ),
    Kind(
        VetContact,
        title=lambda said: said["name"],
        page=lambda contact: ("care:vets",),
        change=lambda contact, *, by, basis, kept: services.save_contact(
            contact=contact, by=by, basis=basis
        ),
    ),
    Kind(
        KitItem,
        title=lambda said: said["name"],
        page=lambda item: ("care:kit",),
        **DAYS,
    ),
)
