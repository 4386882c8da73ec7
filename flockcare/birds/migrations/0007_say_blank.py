from django.db import migrations, models


class Migration(migrations.Migration):

    safe_because = "Only the words change."

    dependencies = [
        ('birds', '0006_say_check'),
    ]

    operations = [
        migrations.AlterField(
            model_name='bird',
            name='own_weight_class',
            field=models.CharField(blank=True, choices=[('bantam', 'bantam'), ('light', 'light'), ('medium', 'medium'), ('heavy', 'heavy'), ('very heavy', 'very heavy')], default='', help_text='Leave blank to take it from the breed’s adult weight.', max_length=10, verbose_name='weight class'),
        ),
    ]
