from django.db import migrations, models


class Migration(migrations.Migration):

    safe_because = "Only the name in the code changes; the column keeps its own."

    dependencies = [
        ('people', '0012_say_check'),
    ]

    operations = [
        migrations.AlterField(
            model_name='revision',
            name='deed',
            field=models.CharField(choices=[('add', 'added'), ('change', 'changed'), ('delete', 'deleted'), ('restore', 'brought back')], db_column='deed', max_length=10),
        ),
        migrations.RenameField(model_name='revision', old_name='deed', new_name='action'),
    ]
