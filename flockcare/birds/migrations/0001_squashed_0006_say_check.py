import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import flockcare.core.dates
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('birds', '0001_initial'), ('birds', '0002_breeds_go_with_their_flock'), ('birds', '0003_versions'), ('birds', '0004_sources_of_weights'), ('birds', '0005_states'), ('birds', '0006_say_check')]

    initial = True

    dependencies = [
        ('people', '0009_changesets_of_before'),
    ]

    operations = [
        migrations.CreateModel(
            name='Breed',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('name', models.CharField(max_length=60)),
                ('adult_grams', models.PositiveIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(200), django.core.validators.MaxValueValidator(9000)], verbose_name='adult weight of a hen')),
                ('source', models.CharField(blank=True, default='', max_length=120)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.UniqueConstraint(models.F('flock'), django.db.models.functions.text.Lower('name'), name='one_breed_per_name_and_flock')],
            },
        ),
        migrations.CreateModel(
            name='Bird',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('name', models.CharField(max_length=40)),
                ('band_colour', models.CharField(blank=True, choices=[('red', 'red'), ('orange', 'orange'), ('yellow', 'yellow'), ('green', 'green'), ('blue', 'blue'), ('purple', 'purple'), ('pink', 'pink'), ('white', 'white'), ('grey', 'grey'), ('brown', 'brown'), ('black', 'black')], default='', max_length=10)),
                ('band_number', models.CharField(blank=True, default='', max_length=12)),
                ('sex', models.CharField(choices=[('hen', 'hen'), ('cock', 'cock'), ('unknown', 'not known yet')], default='hen', max_length=10)),
                ('own_weight_class', models.CharField(blank=True, choices=[('bantam', 'bantam'), ('light', 'light'), ('medium', 'medium'), ('heavy', 'heavy'), ('very heavy', 'very heavy')], default='', help_text='Leave empty to take it from the breed’s adult weight.', max_length=10, verbose_name='weight class')),
                ('hatched', flockcare.core.dates.PartialDateField(blank=True, default='', max_length=10)),
                ('joined', flockcare.core.dates.PartialDateField(blank=True, default='', max_length=10, verbose_name='came to this flock')),
                ('traits', models.TextField(blank=True, default='', help_text='What stays with her, such as an old leg injury or an odd gait.', verbose_name='lasting traits')),
                ('left', flockcare.core.dates.PartialDateField(blank=True, default='', max_length=10, verbose_name='left the flock')),
                ('left_reason', models.CharField(blank=True, choices=[('died', 'died'), ('culled for the feet', 'put down because of the feet'), ('culled', 'put down for another reason'), ('given away', 'sold or given away'), ('predator', 'taken by a predator'), ('missing', 'missing'), ('other', 'other')], default='', max_length=20)),
                ('left_note', models.TextField(blank=True, default='', max_length=4000, verbose_name='notes, also of a post-mortem')),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('breed', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.RESTRICT, to='birds.breed')),
            ],
            options={
                'ordering': [django.db.models.functions.text.Lower('name')],
                'constraints': [models.UniqueConstraint(models.F('flock'), django.db.models.functions.text.Lower('name'), condition=models.Q(('left', '')), name='one_bird_per_name_in_the_flock', violation_error_message='Another bird of this flock has that name already.'), models.CheckConstraint(condition=models.Q(('left', ''), models.Q(('left_reason', ''), _negated=True), _connector='OR'), name='a_bird_that_left_has_a_reason', violation_error_message='Say why the bird left.')],
            },
        ),
        migrations.CreateModel(
            name='Weighing',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='date')),
                ('grams', models.PositiveIntegerField(validators=[django.core.validators.MinValueValidator(20, 'That is lighter than a day-old chick.'), django.core.validators.MaxValueValidator(9000, 'No hen weighs more than 9 kg (20 lb). Check the number and unit.')], verbose_name='weight')),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['on'],
                'constraints': [models.UniqueConstraint(fields=('bird', 'on'), name='one_weighing_per_day', violation_error_message='She has been weighed on this day already.')],
            },
        ),
        migrations.CreateModel(
            name='BirdState',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('kind', models.CharField(choices=[('moulting', 'moulting'), ('broody', 'broody'), ('in lay', 'in lay'), ('quarantine', 'in quarantine')], max_length=10, verbose_name='what')),
                ('since', models.DateField(verbose_name='from')),
                ('until', models.DateField(blank=True, null=True, verbose_name='over on')),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'state',
                'ordering': ['since'],
                'constraints': [models.CheckConstraint(condition=models.Q(('until__isnull', True), ('until__gte', models.F('since')), _connector='OR'), name='a_state_ends_after_it_begins', violation_error_message='It ends before it begins.'), models.UniqueConstraint(condition=models.Q(('until', None)), fields=('bird', 'kind'), name='one_state_of_a_kind_at_once', violation_error_message='This is on record already, and not over.')],
            },
        ),
    ]
