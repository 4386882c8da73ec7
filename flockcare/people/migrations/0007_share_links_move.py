from django.db import migrations


class Migration(migrations.Migration):
    """The links stay in their tables, which are those of the app vetsheet from now on."""

    safe_because = "no table or column changes"
    dependencies = [("people", "0006_attempts_by_place")]
    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.DeleteModel("ShareOpening"),
                migrations.DeleteModel("ShareLink"),
            ]
        )
    ]
