import django.db.models.deletion
import django.db.models.manager
import django.utils.timezone
import shared.business.business_owned
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('jobs', '0001_initial'),
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='Party',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('key', models.CharField(max_length=40)),
                ('name', models.CharField(max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
                ('address', models.TextField(blank=True, max_length=500)),
                ('must_accept', models.BooleanField(default=True)),
                ('chooses_options', models.BooleanField(default=False)),
                ('position', models.PositiveSmallIntegerField(default=0)),
                ('response', models.CharField(choices=[('pending', 'pending'), ('accepted', 'accepted'), ('declined', 'declined')], default='pending', max_length=8)),
                ('reminded_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            options={
                'verbose_name_plural': 'parties',
                'ordering': ['revision', 'position'],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Quote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('number', models.CharField(editable=False, max_length=20)),
                ('label', models.CharField(max_length=200)),
                ('latest_revision', models.PositiveIntegerField(default=0, editable=False)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='quotes', to='jobs.job')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Revision',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('number', models.PositiveIntegerField()),
                ('kind', models.CharField(choices=[('quote', 'quote'), ('variation', 'variation')], default='quote', max_length=9)),
                ('setup', models.JSONField(default=dict)),
                ('state', models.CharField(choices=[('draft', 'draft'), ('sent', 'sent'), ('accepted', 'accepted'), ('declined', 'declined'), ('expired', 'expired'), ('superseded', 'superseded'), ('cancelled', 'cancelled')], default='draft', max_length=10)),
                ('content', models.TextField(blank=True)),
                ('content_sha256', models.CharField(blank=True, max_length=64)),
                ('valid_until', models.DateField(blank=True, null=True)),
                ('net', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('tax', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('total', models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ('choices', models.JSONField(blank=True, null=True)),
                ('override_reason', models.CharField(blank=True, max_length=1000)),
                ('sent_at', models.DateTimeField(blank=True, null=True)),
                ('sent_by', models.CharField(blank=True, max_length=160)),
                ('closed_at', models.DateTimeField(blank=True, null=True)),
                ('cancelled_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('base_revision', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='variations', to='quoting.revision')),
                ('measure_version', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='revisions', to='jobs.measureversion')),
                ('quote', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='revisions', to='quoting.quote')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Question',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('text', models.CharField(max_length=2000)),
                ('reply', models.CharField(blank=True, max_length=4000)),
                ('replied_at', models.DateTimeField(blank=True, null=True)),
                ('replied_by', models.CharField(blank=True, max_length=160)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('party', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='questions', to='quoting.party')),
                ('revision', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='questions', to='quoting.revision')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='PartyResponse',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('accepted', models.BooleanField()),
                ('name', models.CharField(max_length=120)),
                ('reason', models.CharField(blank=True, max_length=2000)),
                ('choices', models.JSONField(default=dict)),
                ('content_sha256', models.CharField(max_length=64)),
                ('total', models.DecimalField(decimal_places=4, max_digits=14)),
                ('responded_at', models.DateTimeField()),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('party', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='receipt', to='quoting.party')),
                ('revision', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='responses', to='quoting.revision')),
            ],
            options={
                'abstract': False,
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.AddField(
            model_name='party',
            name='revision',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parties', to='quoting.revision'),
        ),
        migrations.CreateModel(
            name='SignedLink',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('token_sha256', models.CharField(max_length=64, unique=True)),
                ('content_sha256', models.CharField(max_length=64)),
                ('expires_at', models.DateTimeField()),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('opened_at', models.DateTimeField(blank=True, null=True)),
                ('mailed_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('party', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='links', to='quoting.party')),
                ('revision', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='links', to='quoting.revision')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.AddIndex(
            model_name='quote',
            index=models.Index(fields=['business', 'job', '-id'], name='quote_by_job'),
        ),
        migrations.AddConstraint(
            model_name='quote',
            constraint=models.UniqueConstraint(fields=('business', 'number'), name='quote_number_once'),
        ),
        migrations.AddIndex(
            model_name='revision',
            index=models.Index(fields=['business', 'state', '-id'], name='revision_by_state'),
        ),
        migrations.AddIndex(
            model_name='revision',
            index=models.Index(fields=['state', 'valid_until'], name='revision_by_validity'),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.UniqueConstraint(fields=('business', 'quote', 'number'), name='revision_number_once'),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['draft', 'sent', 'accepted', 'declined', 'expired', 'superseded', 'cancelled'])), name='revision_state_known'),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('state', 'draft'), ('content', ''), ('content_sha256', ''), ('sent_at__isnull', True)), models.Q(models.Q(('state', 'draft'), _negated=True), models.Q(('content', ''), _negated=True), models.Q(('content_sha256', ''), _negated=True), ('sent_at__isnull', False)), _connector='OR'), name='revision_sent_with_its_content'),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('base_revision__isnull', True), ('kind', 'quote')), models.Q(('base_revision__isnull', False), ('kind', 'variation')), _connector='OR'), name='variation_changes_a_revision'),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.UniqueConstraint(condition=models.Q(('state', 'sent')), fields=('quote', 'kind'), name='revision_one_open'),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.UniqueConstraint(condition=models.Q(('kind', 'quote'), ('state', 'accepted')), fields=('quote',), name='revision_one_accepted_quote'),
        ),
        migrations.AddIndex(
            model_name='question',
            index=models.Index(fields=['business', 'revision', 'id'], name='question_by_revision'),
        ),
        migrations.AddConstraint(
            model_name='party',
            constraint=models.UniqueConstraint(fields=('revision', 'key'), name='party_key_once'),
        ),
        migrations.AddConstraint(
            model_name='party',
            constraint=models.UniqueConstraint(condition=models.Q(('chooses_options', True)), fields=('revision',), name='party_one_chooses'),
        ),
        migrations.AddConstraint(
            model_name='signedlink',
            constraint=models.UniqueConstraint(condition=models.Q(('revoked_at__isnull', True)), fields=('party',), name='link_one_live'),
        ),
        migrations.AddConstraint(
            model_name='signedlink',
            constraint=models.CheckConstraint(condition=models.Q(('expires_at__gt', models.F('created_at'))), name='link_expires_later'),
        ),
    ]
