import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('housing', '0001_initial'), ('housing', '0002_changes_walks_and_plans'), ('housing', '0003_houses_go_with_their_flock'), ('housing', '0004_order_when_no_day_is_known'), ('housing', '0005_level_distance_and_roost'), ('housing', '0006_versions'), ('housing', '0007_events_and_wetness'), ('housing', '0008_where_things_stand'), ('housing', '0009_ramps_are_walked'), ('housing', '0010_eggs_by_day')]

    initial = True

    dependencies = [
        ('birds', '0001_initial'),
        ('people', '0010_when_a_keeper_was_renamed'),
        ('photos', '0009_card_prints_and_heights'),
    ]

    operations = [
        migrations.CreateModel(
            name='House',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('name', models.CharField(max_length=60)),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('shape', models.CharField(blank=True, choices=[('coop', 'low garden coop'), ('shed', 'shed with roosts'), ('raised', 'raised house with a ramp'), ('aviary', 'aviary or barn aisle'), ('stable', 'converted stable')], default='', max_length=10)),
                ('floor_length_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(10), django.core.validators.MaxValueValidator(5000)], verbose_name='length of the floor inside')),
                ('floor_width_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(10), django.core.validators.MaxValueValidator(5000)], verbose_name='width of the floor inside')),
                ('wall_height_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(10), django.core.validators.MaxValueValidator(1000)], verbose_name='height of the walls')),
                ('floor_height_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(500)], verbose_name='height of the floor above the ground outside')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.UniqueConstraint(fields=('flock', 'name'), name='one_house_per_name', violation_error_message='This flock has a house of that name already.')],
            },
        ),
        migrations.CreateModel(
            name='Feature',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('name', models.CharField(max_length=60)),
                ('kind', models.CharField(choices=[('roost', 'roost'), ('rail', 'rail'), ('nest front', 'nest front'), ('step', 'step'), ('ramp', 'ramp or ladder'), ('droppings board', 'droppings board'), ('floor', 'floor inside'), ('landing', 'landing area'), ('other', 'other')], max_length=20)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='housing.house')),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.UniqueConstraint(fields=('house', 'name'), name='one_feature_per_name', violation_error_message='This house has something of that name already.')],
            },
        ),
        migrations.CreateModel(
            name='Event',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='day')),
                ('until', models.DateField(blank=True, null=True, verbose_name='last day')),
                ('kind', models.CharField(choices=[('bedding', 'bedding renewed'), ('feed', 'feed changed'), ('new birds', 'new birds'), ('parasites', 'treated for mites or worms'), ('housing order', 'housing order'), ('predator', 'predator'), ('wet spell', 'wet spell'), ('other', 'something else')], max_length=13)),
                ('what', models.CharField(blank=True, default='', max_length=60, verbose_name='what happened')),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('photos', models.ManyToManyField(blank=True, related_name='events', to='photos.photo')),
                ('house', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='events', to='housing.house')),
            ],
            options={
                'ordering': ['-on', 'kind'],
                'constraints': [models.UniqueConstraint(models.F('house'), models.F('on'), models.F('kind'), django.db.models.functions.text.Lower('what'), condition=models.Q(('house__isnull', False)), name='one_event_of_a_kind_per_house_and_day', violation_error_message='This is on record for that day already.'), models.UniqueConstraint(models.F('flock'), models.F('on'), models.F('kind'), django.db.models.functions.text.Lower('what'), condition=models.Q(('house__isnull', True)), name='one_event_of_a_kind_per_flock_and_day', violation_error_message='This is on record for that day already.')],
            },
        ),
        migrations.CreateModel(
            name='EggCount',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='day')),
                ('eggs', models.PositiveSmallIntegerField(validators=[django.core.validators.MaxValueValidator(1000)])),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='egg_counts', to='housing.house')),
            ],
            options={
                'ordering': ['-on'],
                'constraints': [models.UniqueConstraint(fields=('house', 'on'), name='one_egg_count_per_house_and_day', violation_error_message='This is on record for that day already. Correct it there.')],
            },
        ),
        migrations.CreateModel(
            name='HousingChange',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(blank=True, null=True, verbose_name='day')),
                ('kind', models.CharField(blank=True, choices=[('height', 'a height'), ('step', 'a step or ramp'), ('surface', 'a surface or edge'), ('bedding', 'bedding'), ('drainage', 'ground and drainage'), ('layout', 'what stands where'), ('other', 'feed or something else'), ('several', 'several at once'), ('found', 'found so on a walk, not made')], default='', max_length=10)),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('planned', models.BooleanField(default=False)),
                ('made_at', models.DateTimeField(auto_now_add=True)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='changes', to='housing.house')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('photos', models.ManyToManyField(blank=True, related_name='housing_changes', to='photos.photo')),
            ],
            options={
                'ordering': [models.OrderBy(models.F('on'), descending=True, nulls_last=True)],
                'constraints': [models.UniqueConstraint(condition=models.Q(('planned', False)), fields=('house', 'on'), name='one_change_per_house_and_day'), models.CheckConstraint(condition=models.Q(('planned', True), ('on__isnull', False), _connector='OR'), name='a_change_that_was_made_has_a_day', violation_error_message='Say on which day this was.')],
            },
        ),
        migrations.CreateModel(
            name='PlannedState',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('gone', models.BooleanField(default=False, verbose_name='taken away')),
                ('height_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(1000)], verbose_name='height above the floor')),
                ('along_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(-2000), django.core.validators.MaxValueValidator(7000)], verbose_name='place along the house')),
                ('run_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='level distance to the next place down')),
                ('length_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(5000)], verbose_name='length')),
                ('breadth_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(5000)], verbose_name='breadth')),
                ('width_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='width')),
                ('spacing_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='distance to the next roost')),
                ('wall_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='distance to the wall')),
                ('edge', models.CharField(blank=True, default='', max_length=40, verbose_name='edges')),
                ('surface', models.CharField(blank=True, default='', max_length=40)),
                ('material', models.CharField(blank=True, default='', max_length=40)),
                ('cover', models.CharField(blank=True, default='', max_length=40)),
                ('bedding', models.CharField(blank=True, default='', max_length=40)),
                ('bedding_depth_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(100)], verbose_name='depth of the bedding')),
                ('damp', models.CharField(blank=True, choices=[('dry', 'dry'), ('damp', 'damp'), ('wet', 'wet')], default='', max_length=5, verbose_name='dampness')),
                ('moisture_percent', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(100)], verbose_name='water by weight in percent')),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('name', models.CharField(blank=True, default='', max_length=60)),
                ('kind', models.CharField(blank=True, choices=[('roost', 'roost'), ('rail', 'rail'), ('nest front', 'nest front'), ('step', 'step'), ('ramp', 'ramp or ladder'), ('droppings board', 'droppings board'), ('floor', 'floor inside'), ('landing', 'landing area'), ('other', 'other')], default='', max_length=20)),
                ('change', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='planned_states', to='housing.housingchange')),
                ('feature', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, to='housing.feature')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('change', 'feature'), name='one_planned_state_each'), models.CheckConstraint(condition=models.Q(('feature__isnull', False), models.Q(models.Q(('name', ''), _negated=True), models.Q(('kind', ''), _negated=True)), _connector='OR'), name='a_planned_state_is_of_something')],
            },
        ),
        migrations.CreateModel(
            name='Stay',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('since', models.DateField(blank=True, null=True, verbose_name='from')),
                ('until', models.DateField(blank=True, null=True)),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.RESTRICT, to='housing.house')),
            ],
            options={
                'ordering': [models.OrderBy(models.F('since'), nulls_first=True)],
                'constraints': [models.CheckConstraint(condition=models.Q(('since__isnull', True), ('until__isnull', True), ('until__gte', models.F('since')), _connector='OR'), name='a_stay_ends_after_it_begins', violation_error_message='She cannot leave the house before she moved in.')],
            },
        ),
        migrations.CreateModel(
            name='Walk',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='day')),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='walks', to='housing.house')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-on'],
                'constraints': [models.UniqueConstraint(fields=('house', 'on'), name='one_walk_per_house_and_day')],
            },
        ),
        migrations.CreateModel(
            name='Wetness',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='day')),
                ('level', models.CharField(choices=[('dry', 'dry'), ('damp', 'damp'), ('wet', 'wet')], max_length=4, verbose_name='underfoot')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='wetness', to='housing.house')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name_plural': 'wetness',
                'ordering': ['-on'],
                'constraints': [models.UniqueConstraint(fields=('house', 'on'), name='one_wetness_per_house_and_day', violation_error_message='This is on record for that day already. Correct it there.')],
            },
        ),
        migrations.CreateModel(
            name='FeatureState',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('gone', models.BooleanField(default=False, verbose_name='taken away')),
                ('height_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(1000)], verbose_name='height above the floor')),
                ('along_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(-2000), django.core.validators.MaxValueValidator(7000)], verbose_name='place along the house')),
                ('run_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='level distance to the next place down')),
                ('length_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(5000)], verbose_name='length')),
                ('breadth_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(5000)], verbose_name='breadth')),
                ('width_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='width')),
                ('spacing_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='distance to the next roost')),
                ('wall_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(2000)], verbose_name='distance to the wall')),
                ('edge', models.CharField(blank=True, default='', max_length=40, verbose_name='edges')),
                ('surface', models.CharField(blank=True, default='', max_length=40)),
                ('material', models.CharField(blank=True, default='', max_length=40)),
                ('cover', models.CharField(blank=True, default='', max_length=40)),
                ('bedding', models.CharField(blank=True, default='', max_length=40)),
                ('bedding_depth_cm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(100)], verbose_name='depth of the bedding')),
                ('damp', models.CharField(blank=True, choices=[('dry', 'dry'), ('damp', 'damp'), ('wet', 'wet')], default='', max_length=5, verbose_name='dampness')),
                ('moisture_percent', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(100)], verbose_name='water by weight in percent')),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('since', models.DateField(verbose_name='from')),
                ('feature', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='states', to='housing.feature')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'ordering': ['since'],
                'constraints': [models.UniqueConstraint(fields=('feature', 'since'), name='one_state_per_day', violation_error_message='This is described from that day on already.')],
            },
        ),
    ]
