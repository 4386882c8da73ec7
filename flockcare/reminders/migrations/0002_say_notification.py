from django.db import migrations, models


class Migration(migrations.Migration):
    safe_because = "Only the words change."

    dependencies = [("reminders", "0001_choices_phones_and_sent")]

    operations = [
        migrations.AlterField(
            model_name="reminders",
            name="by_push",
            field=models.BooleanField(default=False, verbose_name="a notification on my phone"),
        ),
    ]
