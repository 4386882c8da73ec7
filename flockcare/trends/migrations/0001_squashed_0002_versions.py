import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('trends', '0001_window_choices'), ('trends', '0002_versions')]

    initial = True

    dependencies = [
        ('housing', '0002_changes_walks_and_plans'),
        ('people', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='WindowChoice',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='day of the change')),
                ('window_days', models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(28, 'Compare at least 28 days on either side.'), django.core.validators.MaxValueValidator(1825, 'Compare at most five years on either side.')], verbose_name='days compared before and after')),
                ('lag_days', models.PositiveSmallIntegerField(default=0, validators=[django.core.validators.MaxValueValidator(180, 'Leave out at most 180 days.')], verbose_name='days left out after the change')),
                ('chosen_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='housing.house')),
                ('keeper', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['chosen_at'],
            },
        ),
    ]
