import django.core.validators
import django.db.models.deletion
import django.db.models.manager
import django.utils.timezone
import shared.business.business_owned
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='Customer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('name', models.CharField(max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('address', models.TextField(blank=True, max_length=500)),
                ('registration_number', models.CharField(blank=True, max_length=60)),
                ('notes', models.TextField(blank=True, max_length=5000)),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('number', models.CharField(editable=False, max_length=20)),
                ('label', models.CharField(max_length=200)),
                ('state', models.CharField(choices=[('open', 'open'), ('accepted', 'accepted'), ('built', 'built'), ('closed', 'closed'), ('cancelled', 'cancelled')], default='open', editable=False, max_length=9)),
                ('notes', models.TextField(blank=True, max_length=10000)),
                ('preferred_on', models.DateField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('copied_from', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='copies', to='jobs.job')),
                ('customer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='jobs.customer')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='ChecklistEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('place', models.CharField(max_length=40, verbose_name='post, bay or gate')),
                ('done', models.BooleanField()),
                ('marked_at', models.DateTimeField()),
                ('created_by', models.CharField(max_length=160)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='ticks', to='jobs.job')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='AsBuilt',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('kind', models.CharField(choices=[('used', 'used'), ('returned', 'returned to stock'), ('changed', 'changed on site')], max_length=8)),
                ('role', models.CharField(blank=True, max_length=20)),
                ('component', models.CharField(blank=True, max_length=64)),
                ('length_mm', models.PositiveIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1)])),
                ('unit', models.CharField(blank=True, max_length=3)),
                ('quantity', models.DecimalField(decimal_places=3, default=0, max_digits=12)),
                ('location', models.CharField(blank=True, max_length=40, verbose_name='bay, post or gate')),
                ('note', models.CharField(blank=True, max_length=1000)),
                ('created_by', models.CharField(max_length=160)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('reverses', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='taken_back', to='jobs.asbuilt')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='as_built', to='jobs.job')),
            ],
            options={
                'verbose_name_plural': 'as-built entries',
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='JobEvent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('kind', models.CharField(max_length=40)),
                ('text', models.CharField(max_length=2000)),
                ('created_by', models.CharField(max_length=160)),
                ('facts', models.JSONField(default=dict)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='events', to='jobs.job')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Site',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('address', models.TextField(max_length=500)),
                ('city', models.CharField(blank=True, max_length=120)),
                ('postcode', models.CharField(blank=True, max_length=20)),
                ('country', models.CharField(blank=True, max_length=2, validators=[django.core.validators.RegexValidator('^[A-Z]{2}\\Z', 'ISO 3166-1, two letters.')])),
                ('access_notes', models.TextField(blank=True, max_length=2000, verbose_name='access and hazards')),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('customer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sites', to='jobs.customer')),
            ],
            options={
                'abstract': False,
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.AddField(
            model_name='job',
            name='site',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='jobs.site'),
        ),
        migrations.CreateModel(
            name='StoredMeasure',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('label', models.CharField(max_length=200)),
                ('latest_version', models.PositiveIntegerField(default=0, editable=False)),
                ('draft', models.TextField(blank=True)),
                ('draft_errors', models.JSONField(blank=True, default=list)),
                ('draft_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='measures', to='jobs.job')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='MeasureVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('number', models.PositiveIntegerField()),
                ('document', models.TextField()),
                ('sha256', models.CharField(max_length=64)),
                ('system', models.CharField(max_length=60)),
                ('created_by', models.CharField(blank=True, max_length=160)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('measure', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='versions', to='jobs.storedmeasure')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.AddIndex(
            model_name='customer',
            index=models.Index(fields=['business', 'name'], name='customer_by_name'),
        ),
        migrations.AddConstraint(
            model_name='checklistentry',
            constraint=models.UniqueConstraint(fields=('business', 'job', 'place'), name='tick_once_for_a_place'),
        ),
        migrations.AddIndex(
            model_name='asbuilt',
            index=models.Index(fields=['business', 'job', 'id'], name='as_built_by_job'),
        ),
        migrations.AddConstraint(
            model_name='asbuilt',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['used', 'returned', 'changed'])), name='as_built_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='asbuilt',
            constraint=models.CheckConstraint(condition=models.Q(('kind', 'changed'), models.Q(('role', ''), _negated=True), _connector='OR'), name='as_built_says_what'),
        ),
        migrations.AddIndex(
            model_name='jobevent',
            index=models.Index(fields=['business', 'job', '-id'], name='event_by_job'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(fields=['business', 'state', '-id'], name='job_by_state'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.UniqueConstraint(fields=('business', 'number'), name='job_number_once'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['open', 'accepted', 'built', 'closed', 'cancelled'])), name='job_state_known'),
        ),
        migrations.AddIndex(
            model_name='storedmeasure',
            index=models.Index(fields=['business', 'job', 'id'], name='measure_by_job'),
        ),
        migrations.AddConstraint(
            model_name='measureversion',
            constraint=models.UniqueConstraint(fields=('business', 'measure', 'number'), name='measure_version_once'),
        ),
    ]
