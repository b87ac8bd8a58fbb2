"""A business counts its days and writes its numbers somewhere that is known."""

from django.db import migrations, models

import shared.business.models


class Migration(migrations.Migration):
    dependencies = [
        ("shared", "0002_kernel_rows"),
    ]

    operations = [
        migrations.AlterField(
            model_name="business",
            name="locale",
            field=models.CharField(default="en", max_length=20, validators=[shared.business.models.known_locale]),
        ),
        migrations.AlterField(
            model_name="business",
            name="time_zone",
            field=models.CharField(default="UTC", max_length=60, validators=[shared.business.models.known_time_zone]),
        ),
    ]
