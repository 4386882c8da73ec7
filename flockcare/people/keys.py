"""The key of a new record is made by whoever makes the record, so that it is stored once.

What is sent again under its key is answered as the first time; what is something else is refused.
"""

from django.core.exceptions import ValidationError
from django.utils.html import format_html

from flockcare.core.versions import plain, values
from flockcare.people import history
from flockcare.people.models import Revision

FIRST_VERSION = 1


class KeyTaken(Exception):
    """The key is in use elsewhere, of which nothing is told."""

    def __init__(self, reason="This cannot be saved again. Open a new form, and enter it there."):
        super().__init__(reason)
        self.reason = reason


class AlreadySaved(KeyTaken):
    """``record`` of this flock is saved under the key and says something else."""

    def __init__(self, record):
        super().__init__("This is saved already, with other details.")
        self.record = record


def refuse_deleted(record) -> None:
    """KeyTaken where a record of this key was deleted: sent again it does not come back."""
    fates = Revision.objects.filter(
        record=record.pk, action__in=(Revision.Action.DELETE, Revision.Action.RESTORE)
    )
    if not fates.exists():
        return
    last = fates.select_related("by").order_by("-pk").first()
    if last.action == Revision.Action.RESTORE:
        return
    if last.flock_id != record.flock_id:
        raise KeyTaken
    raise KeyTaken(f"This was saved, and {last.author} has deleted it since.")


def saved_before(record):
    """What this flock has saved under the key of ``record``, or None; KeyTaken for another's."""
    stored = type(record)._base_manager.filter(pk=record.pk).first()
    if stored and stored.flock_id != record.flock_id:
        raise KeyTaken
    return stored


def says_the_same(one, other) -> bool:
    """Whether two records of one kind hold the same in all that can be entered."""
    return _entered(one) == _entered(other)


def said_at_first(stored, sent) -> bool:
    """Whether ``sent`` is what ``stored`` held before anybody changed it, such as another bird."""
    first = history.held_at(stored, FIRST_VERSION, dict)
    return first is not None and _entered(stored, first) == _entered(sent)


def _entered(record, said: dict | None = None) -> dict:
    said = values(record) if said is None else said
    names = [field.attname for field in record._meta.concrete_fields if field.editable]
    return plain(type(record), {name: said[name] for name in names if name in said})


def refusal(taken: KeyTaken, address) -> ValidationError:
    """What a form says. ``address(record)``: where that can be changed which is saved."""
    if not isinstance(taken, AlreadySaved):
        return ValidationError(taken.reason)
    return ValidationError(
        format_html(
            '{} <a href="{}" data-drop-draft>Open the saved one</a> to change it.',
            taken.reason,
            address(taken.record),
        )
    )
