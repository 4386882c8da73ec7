import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('photos', '0001_initial'), ('photos', '0002_measure_edit_and_delete'), ('photos', '0003_photos_of_houses'), ('photos', '0004_order_when_no_day_is_known'), ('photos', '0005_with_form'), ('photos', '0006_files_checked'), ('photos', '0007_versions'), ('photos', '0008_faces'), ('photos', '0009_card_prints_and_heights')]

    initial = True

    dependencies = [
        ('birds', '0001_initial'),
        ('people', '0009_changesets_of_before'),
    ]

    operations = [
        migrations.CreateModel(
            name='Photo',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('foot', models.CharField(blank=True, choices=[('left', 'left foot'), ('right', 'right foot')], default='', max_length=5)),
                ('taken', models.DateTimeField(blank=True, null=True)),
                ('taken_precision', models.CharField(choices=[('moment', 'to the minute'), ('day', 'to the day'), ('month', 'to the month'), ('year', 'to the year'), ('unknown', 'not known')], default='unknown', max_length=8)),
                ('taken_source', models.CharField(blank=True, choices=[('camera', 'written by the camera'), ('file name', 'from the file name'), ('file time', 'time of the file, doubtful'), ('hand', 'given by a keeper'), ('upload', 'when it was sent'), ('', 'none')], default='', max_length=10)),
                ('width', models.PositiveIntegerField(editable=False)),
                ('height', models.PositiveIntegerField(editable=False)),
                ('stored_bytes', models.PositiveBigIntegerField(editable=False)),
                ('sha256', models.CharField(editable=False, max_length=64)),
                ('look_hash', models.BigIntegerField(editable=False)),
                ('note', models.TextField(blank=True, default='', max_length=2000)),
                ('added_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('bird', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, to='birds.bird')),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('crop', models.JSONField(blank=True, editable=False, null=True)),
                ('deleted_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('edition', models.CharField(blank=True, default='', editable=False, max_length=8)),
                ('quarter_turns', models.PositiveSmallIntegerField(default=0, editable=False, validators=[django.core.validators.MaxValueValidator(3)])),
                ('of_house', models.BooleanField(default=False, editable=False)),
                ('with_form', models.BooleanField(db_default=False, default=False, editable=False)),
                ('damaged_since', models.DateTimeField(editable=False, null=True)),
                ('stored_as', models.CharField(blank=True, db_default='', default='', editable=False, max_length=8)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('face_since', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='stands for her since')),
            ],
            options={
                'ordering': [models.OrderBy(models.F('taken'), nulls_last=True), 'added_at'],
                'indexes': [models.Index(fields=['bird', 'foot', 'taken'], name='photos_of_a_foot')],
                'constraints': [models.UniqueConstraint(condition=models.Q(('deleted_at', None)), fields=('flock', 'sha256'), name='one_photo_per_file')],
            },
        ),
        migrations.CreateModel(
            name='FileCheck',
            fields=[
                ('flock', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, serialize=False, to='people.flock')),
                ('at', models.DateTimeField()),
                ('damaged_photos', models.PositiveIntegerField()),
                ('unowned_files', models.PositiveIntegerField()),
                ('unowned_bytes', models.PositiveBigIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name='CardReading',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('code', models.CharField(blank=True, default='', max_length=64)),
                ('reason', models.TextField(blank=True, default='')),
                ('view', models.JSONField(null=True)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('photo', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='card_reading', to='photos.photo')),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Measurement',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('scaled_by', models.CharField(choices=[('card', 'printed card'), ('length', 'known length')], max_length=6)),
                ('length_mm', models.FloatField(blank=True, null=True)),
                ('to_mm', models.JSONField()),
                ('outline_px', models.JSONField()),
                ('outline_mm', models.JSONField()),
                ('area_mm2', models.FloatField(validators=[django.core.validators.MinValueValidator(0)])),
                ('perimeter_mm', models.FloatField(validators=[django.core.validators.MinValueValidator(0)])),
                ('longest_diameter_mm', models.FloatField(validators=[django.core.validators.MinValueValidator(0)])),
                ('relative_area_error', models.FloatField(validators=[django.core.validators.MinValueValidator(0)])),
                ('at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
                ('photo', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='measurements', to='photos.photo')),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('height_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(20, 'A sore stands no more than 20 mm above its card.')], verbose_name='how far above the card')),
            ],
            options={
                'ordering': ['at'],
                'indexes': [models.Index(fields=['photo', 'at'], name='measurements_of_a_photo')],
                'constraints': [models.CheckConstraint(condition=models.Q(('scaled_by', 'card'), models.Q(('length_mm__gt', 0), ('length_mm__isnull', False)), _connector='OR'), name='a_known_length_has_its_mm')],
            },
        ),
        migrations.CreateModel(
            name='CardPrint',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, default=1, editable=False)),
                ('on', models.DateField(verbose_name='day')),
                ('across_mm', models.FloatField(validators=[django.core.validators.MinValueValidator(85, 'This is not the length of our card. Measure from black square to black square, in mm.'), django.core.validators.MaxValueValidator(105, 'This is not the length of our card. Measure from black square to black square, in mm.')], verbose_name='across')),
                ('down_mm', models.FloatField(validators=[django.core.validators.MinValueValidator(44, 'This is not the length of our card. Measure from black square to black square, in mm.'), django.core.validators.MaxValueValidator(55, 'This is not the length of our card. Measure from black square to black square, in mm.')], verbose_name='from top to bottom')),
                ('at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('flock', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to='people.flock')),
                ('keeper', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.SET_NULL, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['on', 'at'],
            },
        ),
    ]
