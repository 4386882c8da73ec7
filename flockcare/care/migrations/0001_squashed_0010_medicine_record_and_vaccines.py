import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
import uuid
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('care', '0001_initial'), ('care', '0002_steps_in_full_kit_and_calendar'), ('care', '0003_find_the_last_change'), ('care', '0004_versions'), ('care', '0005_vets_plans_and_withdrawal'), ('care', '0006_alcohol_by_its_name'), ('care', '0007_plans_of_care'), ('care', '0008_tasks'), ('care', '0009_muck_out_in_full'), ('care', '0010_medicine_record_and_vaccines')]

    initial = True

    dependencies = [
        ('birds', '0005_states'),
        ('housing', '0006_versions'),
        ('people', '0010_when_a_keeper_was_renamed'),
        ('photos', '0003_photos_of_houses'),
    ]

    operations = [
        migrations.CreateModel(
            name='CarePlan',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('foot', models.CharField(blank=True, choices=[('left', 'left foot'), ('right', 'right foot')], default='', max_length=5)),
                ('parts', models.JSONField(default=list, verbose_name='what is done')),
                ('every_days', models.PositiveSmallIntegerField(default=1, validators=[django.core.validators.MinValueValidator(1, 'At least every day.'), django.core.validators.MaxValueValidator(60, 'At most every 60 days.')], verbose_name='every how many days')),
                ('since', models.DateField(verbose_name='first day')),
                ('until', models.DateField(blank=True, null=True, verbose_name='last day')),
                ('turns', models.JSONField(blank=True, default=list, verbose_name='whose turn')),
                ('batch', models.CharField(blank=True, default='', max_length=40, verbose_name='batch number')),
                ('quantity', models.CharField(blank=True, default='', max_length=80, verbose_name='how much is given')),
                ('egg_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='days without her eggs')),
                ('meat_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='days without her meat')),
                ('days_from', models.CharField(blank=True, choices=[('vet', 'the vet'), ('label', 'the label')], default='', max_length=5, verbose_name='who says so')),
                ('no_medicine', models.BooleanField(default=False, verbose_name='contains no medicine')),
                ('decided_by', models.CharField(blank=True, choices=[('vet', 'the vet'), ('keeper', 'a keeper'), ('both', 'the vet and a keeper together')], default='', max_length=6, verbose_name='who decided')),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('put_off', models.CharField(blank=True, choices=[('skipped', 'skipped'), ('moved', 'moved')], default='', editable=False, max_length=7, verbose_name='skipped or moved')),
                ('put_off_from', models.DateField(blank=True, editable=False, null=True, verbose_name='instead of')),
                ('put_off_to', models.DateField(blank=True, editable=False, null=True, verbose_name='put off to')),
                ('stopped_on', models.DateField(blank=True, editable=False, null=True, verbose_name='stopped on')),
                ('stopped_because', models.CharField(blank=True, default='', editable=False, max_length=200, verbose_name='stopped, because')),
                ('logged_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'plan of care',
                'ordering': ['since'],
            },
        ),
        migrations.CreateModel(
            name='KitItem',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('name', models.CharField(max_length=80)),
                ('kind', models.CharField(choices=[('blade', 'fine blade'), ('alcohol', 'alcohol'), ('tweezers', 'tweezers'), ('ointment', 'ointment, spray or powder'), ('antiseptic', 'antiseptic'), ('epsom salt', 'Epsom salt'), ('gauze', 'gauze'), ('wrap', 'soft strips or wrap'), ('gloves', 'gloves'), ('medicine', 'medicine'), ('other', 'something else')], default='other', max_length=12, verbose_name='what it is')),
                ('unit', models.CharField(blank=True, default='', max_length=20, verbose_name='counted in')),
                ('stock', models.DecimalField(blank=True, decimal_places=1, max_digits=8, null=True, verbose_name='how much there is')),
                ('low_at', models.DecimalField(blank=True, decimal_places=1, max_digits=8, null=True, validators=[django.core.validators.MinValueValidator(Decimal('0'), 'Less than nothing cannot be.')], verbose_name='low from')),
                ('opened_on', models.DateField(blank=True, null=True, verbose_name='opened on')),
                ('keeps_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(3650, 'That is more than ten years. Check the number.')], verbose_name='days it keeps once opened')),
                ('expires_on', models.DateField(blank=True, null=True, verbose_name='to be used by')),
                ('egg_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='days without her eggs')),
                ('meat_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='days without her meat')),
                ('days_from', models.CharField(blank=True, choices=[('vet', 'the vet'), ('label', 'the label')], default='', max_length=5, verbose_name='who says so')),
                ('pain_reliever', models.BooleanField(blank=True, choices=[(None, 'not known'), (True, 'yes'), (False, 'no')], null=True, verbose_name='has an added pain reliever')),
                ('no_medicine', models.BooleanField(db_default=False, default=False, verbose_name='contains no medicine')),
                ('batch', models.CharField(blank=True, db_default='', default='', max_length=40, verbose_name='batch number')),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'ordering': [django.db.models.functions.text.Lower('name')],
                'constraints': [models.UniqueConstraint(models.F('flock'), django.db.models.functions.text.Lower('name'), name='one_kit_item_per_name', violation_error_message='The kit has something of that name already.')],
            },
        ),
        migrations.CreateModel(
            name='Task',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('kind', models.CharField(choices=[('muck out', 'muck out and renew the bedding'), ('top up landing', 'top up the bedding where they land'), ('sand roosts', 'sand the roosts smooth'), ('trim nails', 'trim nails'), ('weigh', 'weigh'), ('new bird', 'check the feet of a new bird')], max_length=14, verbose_name='task')),
                ('is_on', models.BooleanField(default=True, verbose_name='on the list')),
                ('every_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1, 'At least every day.'), django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='every how many days')),
                ('since', models.DateField(verbose_name='from')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'ordering': ['kind'],
                'constraints': [models.UniqueConstraint(fields=('flock', 'kind'), name='one_task_of_a_kind', violation_error_message='This task is set already.')],
            },
        ),
        migrations.CreateModel(
            name='TaskDone',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('kind', models.CharField(choices=[('muck out', 'muck out and renew the bedding'), ('top up landing', 'top up the bedding where they land'), ('sand roosts', 'sand the roosts smooth'), ('trim nails', 'trim nails'), ('weigh', 'weigh'), ('new bird', 'check the feet of a new bird')], max_length=14, verbose_name='task')),
                ('on', models.DateField(verbose_name='date')),
                ('note', models.TextField(blank=True, default='', max_length=1000)),
                ('logged_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('bird', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('house', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, to='housing.house')),
                ('keeper', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'task done',
                'ordering': ['on'],
            },
        ),
        migrations.CreateModel(
            name='VetContact',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('name', models.CharField(max_length=80)),
                ('telephone', models.CharField(max_length=40, validators=[django.core.validators.RegexValidator('\\d.*\\d.*\\d', 'Give the number with its digits, as you dial it.')])),
                ('note', models.TextField(blank=True, default='', max_length=1000, verbose_name='out of hours, and anything else')),
                ('is_usual', models.BooleanField(default=False, verbose_name='the one to ring first')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
            ],
            options={
                'ordering': [django.db.models.functions.text.Lower('name')],
                'constraints': [models.UniqueConstraint(models.F('flock'), django.db.models.functions.text.Lower('name'), name='one_vet_per_name', violation_error_message='There is a vet of that name already.'), models.UniqueConstraint(condition=models.Q(('is_usual', True)), fields=('flock',), name='one_usual_vet', violation_error_message='Another vet is the one to ring first.')],
            },
        ),
        migrations.CreateModel(
            name='CareStep',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('foot', models.CharField(blank=True, choices=[('left', 'left foot'), ('right', 'right foot')], default='', max_length=5)),
                ('kind', models.CharField(choices=[('watched', 'monitored'), ('soaked', 'soaked'), ('rinsed', 'rinsed'), ('scab lifted', 'scab lifted, plug or core out'), ('ointment', 'ointment, spray or powder'), ('dressing on', 'dressing on'), ('dressing looked at', 'dressing checked'), ('dressing changed', 'dressing changed'), ('dressing off', 'dressing off'), ('vet', 'vet'), ('medicine', 'medicine'), ('vaccine', 'vaccinated')], max_length=20)),
                ('at', models.DateTimeField(verbose_name='when')),
                ('product', models.CharField(blank=True, default='', max_length=80, verbose_name='with what')),
                ('amount', models.DecimalField(blank=True, decimal_places=1, max_digits=8, null=True, validators=[django.core.validators.MinValueValidator(Decimal('0'), 'Less than nothing cannot be.')], verbose_name='how much was used')),
                ('keeper_name', models.CharField(blank=True, default='', max_length=60)),
                ('outcome', models.CharField(blank=True, choices=[('easily', 'came out easily'), ('partly', 'came out in part'), ('left in', 'did not come, left in')], default='', max_length=8, verbose_name='how it went')),
                ('bleeding', models.CharField(blank=True, choices=[('none', 'none'), ('some', 'some'), ('much', 'much')], default='', max_length=4)),
                ('given_until', models.DateField(blank=True, null=True, verbose_name='last day it is given')),
                ('egg_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='days without her eggs')),
                ('meat_days', models.PositiveSmallIntegerField(blank=True, null=True, validators=[django.core.validators.MaxValueValidator(365, 'That is more than a year. Check the number.')], verbose_name='days without her meat')),
                ('days_from', models.CharField(blank=True, choices=[('vet', 'the vet'), ('label', 'the label')], default='', max_length=5, verbose_name='who says so')),
                ('next_due', models.DateField(blank=True, null=True, verbose_name='due again')),
                ('claimed_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('dropped_because', models.CharField(blank=True, default='', editable=False, max_length=200)),
                ('note', models.TextField(blank=True, default='', max_length=4000)),
                ('no_medicine', models.BooleanField(db_default=False, default=False, verbose_name='contains no medicine')),
                ('batch', models.CharField(blank=True, db_default='', default='', max_length=40, verbose_name='batch number')),
                ('quantity', models.CharField(blank=True, db_default='', default='', max_length=80, verbose_name='how much was given')),
                ('supplier', models.CharField(blank=True, db_default='', default='', max_length=120, verbose_name='dispensed or sold by')),
                ('supplied_on', models.DateField(blank=True, null=True, verbose_name='obtained on')),
                ('supplied_amount', models.CharField(blank=True, db_default='', default='', max_length=80, verbose_name='how much was obtained')),
                ('prescribed_by', models.CharField(blank=True, db_default='', default='', max_length=120, verbose_name='prescribed by')),
                ('given_to', models.CharField(blank=True, db_default='', default='', editable=False, max_length=80, verbose_name='given to')),
                ('decided_by', models.CharField(blank=True, choices=[('vet', 'the vet'), ('keeper', 'a keeper'), ('both', 'the vet and a keeper together')], db_default='', default='', max_length=6, verbose_name='who decided')),
                ('past', models.BooleanField(db_default=False, default=False, verbose_name='it is past')),
                ('question', models.TextField(blank=True, db_default='', default='', max_length=2000, verbose_name='what was asked')),
                ('found', models.TextField(blank=True, db_default='', default='', max_length=4000, verbose_name='what the vet found')),
                ('plan', models.TextField(blank=True, db_default='', default='', max_length=2000)),
                ('plan_until', models.DateField(blank=True, null=True, verbose_name='the plan holds until')),
                ('laboratory', models.TextField(blank=True, db_default='', default='', max_length=4000, verbose_name='laboratory result')),
                ('medicine_given', models.CharField(blank=True, choices=[('yes', 'yes'), ('no', 'no'), ('unknown', 'not known')], db_default='', default='', max_length=7, verbose_name='was a medicine given or prescribed')),
                ('logged_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('changed_at', models.DateTimeField(auto_now=True)),
                ('bird', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('claimed_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('dropped_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('photos', models.ManyToManyField(blank=True, related_name='care_steps', to='photos.photo')),
                ('item', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, to='care.kititem', verbose_name='from the kit')),
                ('contact', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, to='care.vetcontact', verbose_name='which vet')),
            ],
            options={
                'ordering': ['at'],
                'indexes': [models.Index(fields=['bird', '-at'], name='care_of_a_bird'), models.Index(fields=['flock', '-at'], name='care_of_a_flock'), models.Index(fields=['flock', '-changed_at'], name='care_changed_last')],
            },
        ),
        migrations.CreateModel(
            name='CalendarLink',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('token_hash', models.CharField(editable=False, max_length=64, unique=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('expires_at', models.DateTimeField()),
                ('uses_left', models.PositiveSmallIntegerField(null=True)),
                ('at_time', models.TimeField(blank=True, null=True, verbose_name='time of the evening round')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('flock', 'keeper'), name='one_calendar_per_keeper_and_flock')],
            },
        ),
    ]
