from django.db import migrations, models


class Migration(migrations.Migration):
    safe_because = "Only the words change; the column keeps its own."

    dependencies = [("people", "0013_action_of_a_revision")]

    operations = [
        migrations.AlterField(
            model_name="revision",
            name="action",
            field=models.CharField(
                choices=[
                    ("add", "added"),
                    ("change", "changed"),
                    ("delete", "deleted"),
                    ("restore", "restored"),
                ],
                db_column="deed",
                max_length=10,
            ),
        ),
    ]
