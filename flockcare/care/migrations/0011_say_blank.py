import django.core.validators
from decimal import Decimal
from django.db import migrations, models


class Migration(migrations.Migration):

    safe_because = "Only the words change."

    dependencies = [
        ('care', '0010_medicine_record_and_vaccines'),
    ]

    operations = [
        migrations.AlterField(
            model_name='carestep',
            name='amount',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=8, null=True, validators=[django.core.validators.MinValueValidator(Decimal('0'), 'Enter 0 or more.')], verbose_name='how much was used'),
        ),
        migrations.AlterField(
            model_name='kititem',
            name='low_at',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=8, null=True, validators=[django.core.validators.MinValueValidator(Decimal('0'), 'Enter 0 or more.')], verbose_name='low from'),
        ),
    ]
