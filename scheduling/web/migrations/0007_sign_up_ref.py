from django.db import migrations, models
from django.db.models import F
from django.db.models.functions import Cast

import scheduling.web.models


def call_by_row(apps, schema_editor):
    """Plans made so far call helpers by their row."""
    rows = apps.get_model("scheduling", "SignUp").objects
    rows.update(ref=Cast(F("id"), models.CharField(max_length=60)))


class Migration(migrations.Migration):

    dependencies = [
        ("scheduling", "0006_bought_for_a_day"),
    ]

    operations = [
        migrations.AddField(
            model_name="signup",
            name="ref",
            field=models.CharField(default=scheduling.web.models.new_ref, max_length=60),
        ),
        migrations.RunPython(call_by_row, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="signup",
            constraint=models.UniqueConstraint(fields=("build", "ref"), name="one_sign_up_per_ref"),
        ),
    ]
