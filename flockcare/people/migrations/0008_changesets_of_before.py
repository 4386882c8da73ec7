"""History from before there were changesets: what had been deleted with what it hung on, or ended
with a bird's leaving, by the same keeper within half a minute, is one; all else stands alone.

Names that were filed under numbers of revisions go into the revisions.
"""

import datetime as dt

from django.db import migrations

TOGETHER = dt.timedelta(seconds=30)
# What was deleted with a record: its kind, and the column by which it hung on that.
DELETED_WITH = {
    "housing.House": (
        ("housing.Feature", "house_id"),
        ("housing.HousingChange", "house_id"),
        ("housing.Walk", "house_id"),
    ),
    "housing.Feature": (("housing.FeatureState", "feature_id"),),
    "housing.HousingChange": (("housing.PlannedState", "change_id"),),
    "birds.Bird": (("housing.Stay", "bird_id"),),
}
LARGEST_KEY = 2**63


def carry_over(apps, schema_editor):
    using = schema_editor.connection.alias
    revisions = apps.get_model("people", "Revision").objects.using(using)
    for record, name in (
        apps.get_model("people", "Byline")
        .objects.using(using)
        .filter(field="by")
        .values_list("record", "name")
    ):
        if record.int < LARGEST_KEY:
            revisions.filter(pk=record.int, by=None).update(by_name=name)
    _join(revisions, [*_deleted(revisions), *_left(revisions)])


def _deleted(revisions):
    """Sets of keys; what hung on a part of a record is in the set of the whole."""
    sets = {}
    deleted = revisions.filter(deed="delete")
    for parent in deleted.filter(kind__in=DELETED_WITH).order_by("pk"):
        sets[parent.pk] = {parent.pk}
        for kind, column in DELETED_WITH[parent.kind]:
            hung = deleted.filter(
                flock=parent.flock_id,
                kind=kind,
                by=parent.by_id,
                pk__lt=parent.pk,
                at__gte=parent.at - TOGETHER,
                **{f"before__{column}": str(parent.record)},
            )
            for key in hung.values_list("pk", flat=True):
                sets[parent.pk] |= sets.get(key, {key})
    return [sets[key] for key in sorted(sets, reverse=True)]


def _left(revisions):
    """A bird's leaving, and the stays that it ended."""
    changes = revisions.filter(deed="change")
    for left in changes.filter(kind="birds.Bird", before__left=""):
        ended = changes.filter(
            flock=left.flock_id,
            kind="housing.Stay",
            by=left.by_id,
            pk__gt=left.pk,
            at__lte=left.at + TOGETHER,
            before__bird_id=str(left.record),
            before__until=None,
        )
        yield {left.pk, *ended.values_list("pk", flat=True)}


def _join(revisions, sets):
    for keys in sets:
        first = min(keys)
        alone = revisions.filter(pk__in=keys - {first}, first=None)
        alone.exclude(pk__in=revisions.exclude(first=None).values("first")).update(first=first)


class Migration(migrations.Migration):
    dependencies = [("people", "0007_changesets_and_versions")]
    operations = [migrations.RunPython(carry_over, migrations.RunPython.noop)]
