from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shared', '0006_memberships_are_accepted'),
    ]

    operations = [
        migrations.AddField(
            model_name='business',
            name='accounts',
            field=models.JSONField(blank=True, default=dict),
        ),
    ]
