from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("feet", "0003_body_condition_and_clinical_grade")]

    operations = [
        migrations.RemoveIndex(
            model_name='check',
            name='checks_of_a_bird',
        ),
        migrations.AddIndex(
            model_name='check',
            index=models.Index(fields=['bird', '-at', '-id'], name='checks_of_a_bird'),
        ),
    ]
