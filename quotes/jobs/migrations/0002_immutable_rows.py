from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import written_once


class Migration(migrations.Migration):
    dependencies = [("jobs", "0001_initial")]

    operations = written_once("jobs_jobevent", "jobs_measureversion", "jobs_asbuilt")
