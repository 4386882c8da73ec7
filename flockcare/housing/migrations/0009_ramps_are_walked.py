"""Ramps and ladders were steps of no other kind.

Those that still have the name which they were given when they were chosen from the list of what
stands in a house become what they are; what has a name of its own is for the keepers to say.
"""

from django.db import migrations

NAMES = r"^(ramp|ladder)( [0-9]+)?$"


def ramps(apps, schema_editor):
    feature = apps.get_model("housing", "Feature")
    here = feature.objects.using(schema_editor.connection.alias)
    here.filter(kind="step", name__iregex=NAMES).update(kind="ramp")


class Migration(migrations.Migration):
    dependencies = [("housing", "0008_where_things_stand")]

    operations = [migrations.RunPython(ramps, migrations.RunPython.noop, elidable=True)]
