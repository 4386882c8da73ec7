import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    safe_because = "Only an index goes; the one that takes its place is there before."

    dependencies = [
        ('people', '0014_say_restored'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='revision',
            index=models.Index(fields=['flock', '-id'], name='revisions_of_a_flock'),
        ),
        migrations.AlterField(
            model_name='revision',
            name='flock',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, to='people.flock'),
        ),
    ]
