import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    safe_because = (
        "the column stays and holds what it held: the release before writes keys of birds that "
        "are there"
    )
    dependencies = [("vetsheet", "0001_share_links")]
    operations = [
        migrations.AlterField(
            model_name="sharelink",
            name="bird",
            field=models.ForeignKey(
                db_column="bird",
                db_index=False,
                on_delete=django.db.models.deletion.CASCADE,
                to="birds.bird",
            ),
        ),
    ]
