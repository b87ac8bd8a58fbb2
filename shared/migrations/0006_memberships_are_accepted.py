"""A membership counts once its person accepted it by a link that was mailed to them.

Members who can sign in keep what they have; those who never set a password are invited still.
"""

from django.db import migrations, models
from django.db.models import F


def accept_those_who_sign_in(apps, schema_editor):
    """Mark the memberships of people with a password as accepted when they were made."""
    members = apps.get_model("shared", "Member").objects.filter(accepted_at=None)
    without = apps.get_model("shared", "Person").objects.filter(password__startswith="!")
    members.exclude(person__in=without).update(accepted_at=F("created_at"))


class Migration(migrations.Migration):
    dependencies = [
        ("shared", "0005_letters_are_followed"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="email_proved_at",
            field=models.DateTimeField(blank=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name="member",
            name="accepted_at",
            field=models.DateTimeField(blank=True, editable=False, null=True),
        ),
        migrations.RunPython(accept_those_who_sign_in, migrations.RunPython.noop),
    ]
