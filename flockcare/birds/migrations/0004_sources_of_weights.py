from django.db import migrations

# How sure a figure is stands on one page, not beside each figure.
SAID = {
    "American Poultry Association, Standard of Perfection (from memory)",
    "American Poultry Association, Standard of Perfection, as cited by secondary sources",
}
SOURCE = "American Poultry Association, Standard of Perfection"


def only_the_source(apps, schema_editor):
    # A backup is brought up to date in a database of its own.
    breeds = apps.get_model("birds", "Breed").objects.using(schema_editor.connection.alias)
    breeds.filter(source__in=SAID).update(source=SOURCE)
    breeds.filter(source="common practice, no published source").update(source="common practice")


class Migration(migrations.Migration):
    dependencies = [("birds", "0003_versions")]
    operations = [migrations.RunPython(only_the_source, migrations.RunPython.noop, elidable=True)]
