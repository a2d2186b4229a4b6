from django.db import migrations, models
from django.utils import timezone

import scheduling.web.models


def a_page_each(apps, schema_editor):
    """Every row gets a guardian's address of its own."""
    sign_ups = apps.get_model("scheduling", "SignUp").objects
    for pk in sign_ups.values_list("pk", flat=True):
        sign_ups.filter(pk=pk).update(guardian_token=scheduling.web.models.new_token())


class Migration(migrations.Migration):

    dependencies = [
        ("scheduling", "0009_no_power_tools"),
    ]

    operations = [
        migrations.AddField("signup", "guardian_told", models.DateTimeField(blank=True, null=True)),
        migrations.AddField("signup", "held_until", models.DateField(blank=True, null=True)),
        migrations.AddField("signup", "link_until", models.DateField(blank=True, null=True)),
        migrations.AddField(
            "signup", "guardian_token", models.CharField(default=scheduling.web.models.new_token, max_length=40)
        ),
        migrations.RunPython(a_page_each, migrations.RunPython.noop),
        migrations.AlterField(
            "signup",
            "guardian_token",
            models.CharField(default=scheduling.web.models.new_token, max_length=40, unique=True),
        ),
        migrations.CreateModel(
            name="Signature",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("day", models.CharField(max_length=40)),
                ("date", models.DateField()),
                ("yes", models.BooleanField()),
                ("name", models.CharField(blank=True, max_length=80)),
                ("word", models.CharField(blank=True, max_length=200)),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("link", "on their own page"),
                            ("here", "here in person"),
                            ("paper", "on paper"),
                        ],
                        default="link",
                        max_length=5,
                    ),
                ),
                ("taken_by", models.CharField(blank=True, max_length=120)),
                ("at", models.DateTimeField(default=timezone.now)),
                (
                    "sign_up",
                    models.ForeignKey(
                        on_delete=models.deletion.CASCADE, related_name="signatures", to="scheduling.signup"
                    ),
                ),
            ],
            options={"ordering": ["pk"]},
        ),
    ]
