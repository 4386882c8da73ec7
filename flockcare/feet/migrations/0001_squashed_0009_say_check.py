import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('feet', '0001_initial'), ('feet', '0002_photos_to_sort'), ('feet', '0003_body_condition_and_clinical_grade'), ('feet', '0004_order_of_a_birds_checks'), ('feet', '0005_checks_as_they_came'), ('feet', '0006_scores_in_an_index'), ('feet', '0007_versions'), ('feet', '0008_signs_in_full'), ('feet', '0009_say_check')]

    initial = True

    dependencies = [
        ('birds', '0002_breeds_go_with_their_flock'),
        ('people', '0005_brought_back'),
        ('photos', '0004_order_when_no_day_is_known'),
    ]

    operations = [
        migrations.CreateModel(
            name='Check',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('at', models.DateTimeField(verbose_name='when')),
                ('time_known', models.BooleanField(default=True)),
                ('received_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('keeper_name', models.CharField(blank=True, default='', help_text='Who checked, if not a keeper here.', max_length=60)),
                ('gait', models.PositiveSmallIntegerField(blank=True, choices=[(0, 'Normal'), (1, 'Slight'), (2, 'Definite'), (3, 'Obvious'), (4, 'Severe'), (5, 'Lame')], null=True)),
                ('manner', models.CharField(blank=True, choices=[('bright', 'bright'), ('dull', 'dull')], default='', max_length=6, verbose_name='how she is')),
                ('eating', models.CharField(blank=True, choices=[('yes', 'eating'), ('no', 'not eating')], default='', max_length=3)),
                ('droppings', models.CharField(blank=True, choices=[('normal', 'normal'), ('odd', 'abnormal')], default='', max_length=6)),
                ('belly', models.CharField(blank=True, choices=[('normal', 'normal'), ('swollen', 'swollen')], default='', max_length=7)),
                ('body_condition', models.PositiveSmallIntegerField(blank=True, choices=[(0, 'Very thin'), (1, 'Thin'), (2, 'Good'), (3, 'Plump')], null=True)),
                ('note', models.TextField(blank=True, default='', max_length=4000)),
                ('limps_on', models.CharField(blank=True, choices=[('left', 'left leg'), ('right', 'right leg'), ('both', 'both legs')], db_default='', default='', max_length=5)),
                ('comb', models.CharField(blank=True, choices=[('normal', 'normal'), ('pale', 'pale'), ('purple', 'purple')], db_default='', default='', max_length=6)),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('photos', models.ManyToManyField(blank=True, related_name='checks', to='photos.photo')),
            ],
            options={
                'ordering': ['at'],
                'indexes': [models.Index(fields=['bird', '-at', '-id'], name='checks_of_a_bird'), models.Index(fields=['flock', '-at'], name='checks_of_a_flock'), models.Index(fields=['flock', '-received_at'], name='checks_as_they_came')],
            },
        ),
        migrations.CreateModel(
            name='FootFinding',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('foot', models.CharField(choices=[('left', 'left foot'), ('right', 'right foot')], max_length=5)),
                ('score', models.PositiveSmallIntegerField(choices=[(0, 'Clear'), (1, 'Mild'), (2, 'Swollen')], verbose_name='lesion score')),
                ('sites', models.JSONField(blank=True, default=list)),
                ('scab', models.CharField(blank=True, choices=[('none', 'none'), ('brown', 'brown'), ('black', 'black')], default='', max_length=5)),
                ('scab_mm', models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True, validators=[django.core.validators.MinValueValidator(0.1, 'Leave the width empty where there is no scab.'), django.core.validators.MaxValueValidator(60, 'A hen’s foot pad is not wider than 60 mm.')], verbose_name='width of the scab')),
                ('swelling', models.CharField(blank=True, choices=[('none', 'none'), ('moderate', 'moderate'), ('from above', 'seen from above')], default='', max_length=10)),
                ('hot', models.BooleanField(blank=True, null=True)),
                ('oozing', models.BooleanField(blank=True, null=True)),
                ('cold_or_dark', models.BooleanField(blank=True, null=True, verbose_name='cold or dark')),
                ('clinical_grade', models.PositiveSmallIntegerField(blank=True, choices=[(1, 'I'), (2, 'II'), (3, 'III'), (4, 'IV'), (5, 'V')], null=True)),
                ('bleeding', models.BooleanField(blank=True, null=True, verbose_name='open or bleeding')),
                ('constricted', models.BooleanField(blank=True, null=True, verbose_name='thread, wire or band round it')),
                ('plug_or_hole', models.BooleanField(blank=True, null=True, verbose_name='hole, core or plug')),
                ('joint_swollen', models.BooleanField(blank=True, null=True, verbose_name='hock or toe joint swollen')),
                ('bone_or_joint', models.BooleanField(blank=True, null=True, verbose_name='bone, joint or tendon suspected')),
                ('raised_scales', models.BooleanField(blank=True, null=True, verbose_name='raised scales')),
                ('check_record', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='findings', to='feet.check')),
            ],
            options={
                'indexes': [models.Index(fields=['check_record', 'foot', 'score'], name='scores_of_a_check')],
                'constraints': [models.UniqueConstraint(fields=('check_record', 'foot'), name='one_finding_per_foot'), models.CheckConstraint(condition=models.Q(('score__lte', 2)), name='score_on_the_scale')],
            },
        ),
        migrations.CreateModel(
            name='Round',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('started_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('started_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-started_at'],
                'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('flock',), name='one_open_round_per_flock')],
            },
        ),
        migrations.CreateModel(
            name='RoundBird',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', models.PositiveSmallIntegerField()),
                ('held_at', models.DateTimeField(null=True)),
                ('passed_over', models.BooleanField(default=False)),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('check_record', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, to='feet.check')),
                ('held_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('round', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='birds', to='feet.round')),
            ],
            options={
                'ordering': ['place'],
                'constraints': [models.UniqueConstraint(fields=('round', 'bird'), name='a_bird_once_per_round')],
            },
        ),
        migrations.CreateModel(
            name='SortingNote',
            fields=[
                ('photo', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='sorting', serialize=False, to='photos.photo')),
                ('card_foot', models.CharField(blank=True, choices=[('left', 'left foot'), ('right', 'right foot')], default='', max_length=5)),
                ('card_answered', models.BooleanField(default=False)),
                ('kept_beside_alike', models.BooleanField(default=False)),
                ('nobody_knows', models.BooleanField(default=False, verbose_name='nobody knows whose it is')),
                ('card_bird', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='birds.bird')),
            ],
        ),
    ]
