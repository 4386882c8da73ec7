import uuid

import django.db.models.deletion
from django.db import migrations, models


def forget_links_to_nobody(apps, schema_editor):
    """They open nothing: their bird was removed as one that had been added by mistake."""
    links = apps.get_model("vetsheet", "ShareLink").objects.using(schema_editor.connection.alias)
    birds = apps.get_model("birds", "Bird").objects.using(schema_editor.connection.alias)
    links.exclude(bird__in=birds.values("pk")).delete()


class Migration(migrations.Migration):
    """The tables of share links are taken over as they are."""

    initial = True
    dependencies = [
        ("birds", "0002_breeds_go_with_their_flock"),
        ("people", "0007_share_links_move"),
    ]
    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name="ShareLink",
                    fields=[
                        (
                            "id",
                            models.UUIDField(
                                default=uuid.uuid4,
                                editable=False,
                                primary_key=True,
                                serialize=False,
                            ),
                        ),
                        ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                        ("created_at", models.DateTimeField(auto_now_add=True)),
                        ("expires_at", models.DateTimeField()),
                        ("uses_left", models.PositiveSmallIntegerField(null=True)),
                        ("bird", models.UUIDField()),
                        ("first", models.DateField(blank=True, null=True)),
                        ("last", models.DateField()),
                        (
                            "nameless",
                            models.BooleanField(
                                default=False, verbose_name="without the keepers' names"
                            ),
                        ),
                        ("revoked_at", models.DateTimeField(blank=True, null=True)),
                        (
                            "membership",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.CASCADE, to="people.membership"
                            ),
                        ),
                    ],
                    options={"db_table": "people_sharelink", "ordering": ["-created_at"]},
                ),
                migrations.CreateModel(
                    name="ShareOpening",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("at", models.DateTimeField(auto_now_add=True)),
                        (
                            "what",
                            models.CharField(
                                choices=[("page", "the page"), ("pdf", "the PDF")], max_length=4
                            ),
                        ),
                        (
                            "link",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.CASCADE,
                                related_name="openings",
                                to="vetsheet.sharelink",
                            ),
                        ),
                    ],
                    options={"db_table": "people_shareopening", "ordering": ["-at"]},
                ),
                migrations.AddIndex(
                    model_name="sharelink",
                    index=models.Index(fields=["bird"], name="share_links_of_a_bird"),
                ),
            ]
        ),
        migrations.RunPython(forget_links_to_nobody, migrations.RunPython.noop),
    ]
