import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
import shared.business.business_owned
import shared.business.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
    ]

    operations = [
        migrations.CreateModel(
            name='Business',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('name', models.CharField(max_length=120)),
                ('address', models.TextField(blank=True, max_length=500)),
                ('city', models.CharField(blank=True, max_length=120)),
                ('postcode', models.CharField(blank=True, max_length=20)),
                ('country', models.CharField(max_length=2, validators=[django.core.validators.RegexValidator('^[A-Z]{2}\\Z', 'Two capital letters of ISO 3166-1.')])),
                ('email', models.EmailField(max_length=254, verbose_name='e-mail')),
                ('mail_tested_at', models.DateTimeField(editable=False, null=True)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('website', models.CharField(blank=True, max_length=200)),
                ('currency', models.CharField(max_length=3, validators=[django.core.validators.RegexValidator('^[A-Z]{3}\\Z', 'Three capital letters of ISO 4217.')])),
                ('locale', models.CharField(default='en', max_length=20, validators=[shared.business.models.check_locale])),
                ('language', models.CharField(default='en', max_length=20)),
                ('time_zone', models.CharField(default='UTC', max_length=60, validators=[shared.business.models.check_time_zone])),
                ('paper_size', models.CharField(choices=[('A4', 'A4'), ('Letter', 'Letter')], default='A4', max_length=6)),
                ('tax_rounding', models.CharField(choices=[('total', 'on the total of each rate'), ('line', 'on every line')], default='total', max_length=5)),
                ('tax_name', models.CharField(default='Tax', max_length=20)),
                ('registration_number', models.CharField(blank=True, max_length=60)),
                ('tax_number', models.CharField(blank=True, max_length=60)),
                ('terms', models.TextField(blank=True, max_length=20000)),
                ('payment_details', models.TextField(blank=True, max_length=2000)),
                ('custom_texts', models.JSONField(blank=True, default=dict)),
                ('accounts', models.JSONField(blank=True, default=dict)),
                ('logo_png', models.BinaryField(blank=True, null=True)),
                ('quote_validity_days', models.PositiveSmallIntegerField(default=30)),
                ('suspended_at', models.DateTimeField(blank=True, null=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
            ],
            options={
                'verbose_name_plural': 'businesses',
            },
        ),
        migrations.CreateModel(
            name='PeriodicTask',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120, unique=True)),
                ('last_started_at', models.DateTimeField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name='RateWindow',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=160, unique=True)),
                ('starts', models.BigIntegerField()),
                ('calls', models.PositiveIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name='SupplierAccount',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('name', models.CharField(max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
                ('suspended_at', models.DateTimeField(blank=True, null=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
            ],
        ),
        migrations.CreateModel(
            name='Person',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('email', models.EmailField(max_length=254, unique=True, verbose_name='e-mail')),
                ('name', models.CharField(blank=True, max_length=120)),
                ('is_staff', models.BooleanField(default=False)),
                ('is_active', models.BooleanField(default=True)),
                ('joined_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('email_proved_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
            ],
            options={
                'verbose_name_plural': 'people',
            },
        ),
        migrations.CreateModel(
            name='AuditEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveBigIntegerField()),
                ('at', models.DateTimeField()),
                ('actor_kind', models.CharField(max_length=20)),
                ('actor_ref', models.CharField(blank=True, max_length=64)),
                ('actor_name', models.CharField(max_length=120)),
                ('action', models.CharField(max_length=60)),
                ('subject', models.CharField(max_length=100)),
                ('detail', models.TextField(default='{}')),
                ('request_id', models.CharField(blank=True, max_length=64)),
                ('previous', models.CharField(blank=True, max_length=64)),
                ('sha256', models.CharField(max_length=64)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            options={
                'verbose_name_plural': 'audit entries',
            },
        ),
        migrations.CreateModel(
            name='Event',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('kind', models.CharField(max_length=60)),
                ('subject', models.CharField(max_length=64)),
                ('request_id', models.CharField(blank=True, max_length=64)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('business', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
        ),
        migrations.CreateModel(
            name='IdempotentCall',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('holder', models.CharField(max_length=80)),
                ('route', models.CharField(max_length=300)),
                ('key', models.CharField(max_length=200)),
                ('body_sha256', models.CharField(max_length=64)),
                ('started_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('status', models.PositiveSmallIntegerField(null=True)),
                ('headers', models.JSONField(default=dict)),
                ('body', models.TextField(blank=True)),
            ],
            options={
                'indexes': [models.Index(fields=['started_at'], name='idempotent_call_age')],
                'constraints': [models.UniqueConstraint(fields=('holder', 'route', 'key'), name='idempotent_call_once')],
            },
        ),
        migrations.CreateModel(
            name='MailServer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('holder', models.CharField(blank=True, max_length=32)),
                ('held_since', models.DateTimeField(null=True)),
                ('failures', models.PositiveIntegerField(default=0)),
                ('rests_until', models.DateTimeField(null=True)),
                ('last_error', models.CharField(blank=True, max_length=500)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='mail_server_is_one')],
            },
        ),
        migrations.CreateModel(
            name='Member',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('role', models.CharField(choices=[('owner', 'owner'), ('estimator', 'estimator'), ('crew', 'crew'), ('bookkeeper', 'bookkeeper')], max_length=20)),
                ('accepted_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='members', to='shared.business')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='NumberSequence',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=40)),
                ('last', models.PositiveBigIntegerField(default=0)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='shared.business')),
            ],
        ),
        migrations.CreateModel(
            name='OutboxTask',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('handler', models.CharField(max_length=120)),
                ('state', models.CharField(choices=[('queued', 'queued'), ('done', 'done'), ('failed', 'failed')], default='queued', max_length=10)),
                ('due_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('starts', models.PositiveIntegerField(default=0)),
                ('lease', models.CharField(blank=True, max_length=32)),
                ('leased_until', models.DateTimeField(null=True)),
                ('done_at', models.DateTimeField(null=True)),
                ('last_error', models.TextField(blank=True)),
                ('event', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tasks', to='shared.event')),
            ],
            options={
                'verbose_name': 'background task',
                'verbose_name_plural': 'background tasks',
            },
        ),
        migrations.CreateModel(
            name='OutgoingMail',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=40)),
                ('message_id', models.CharField(max_length=255)),
                ('state', models.CharField(choices=[('sending', 'sending'), ('sent', 'sent')], default='sending', max_length=7)),
                ('handler', models.CharField(blank=True, db_default='', max_length=120)),
                ('recipient', models.CharField(blank=True, db_default='', max_length=320)),
                ('subject', models.CharField(blank=True, db_default='', max_length=250)),
                ('tries', models.PositiveIntegerField(db_default=0, default=0)),
                ('last_error', models.CharField(blank=True, db_default='', max_length=500)),
                ('next_try_at', models.DateTimeField(null=True)),
                ('tried_since', models.DateTimeField(null=True)),
                ('failed_at', models.DateTimeField(null=True)),
                ('claimed_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('sent_at', models.DateTimeField(null=True)),
                ('event', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='letters', to='shared.event')),
            ],
        ),
        migrations.CreateModel(
            name='ApiKey',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('name', models.CharField(max_length=120)),
                ('prefix', models.CharField(editable=False, max_length=12)),
                ('sha256', models.CharField(editable=False, max_length=64, unique=True)),
                ('scopes', models.JSONField(default=list)),
                ('expires_at', models.DateTimeField(blank=True, null=True)),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('last_used_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('business', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='api_keys', to='shared.business')),
                ('supplier_account', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='api_keys', to='shared.supplieraccount')),
            ],
        ),
        migrations.AddConstraint(
            model_name='person',
            constraint=models.UniqueConstraint(django.db.models.functions.text.Lower('email'), name='person_email_any_case'),
        ),
        migrations.AddIndex(
            model_name='auditentry',
            index=models.Index(fields=['business', 'subject'], name='audit_subject'),
        ),
        migrations.AddConstraint(
            model_name='auditentry',
            constraint=models.UniqueConstraint(fields=('business', 'number'), name='audit_number_once'),
        ),
        migrations.AddConstraint(
            model_name='member',
            constraint=models.UniqueConstraint(fields=('business', 'person'), name='member_once_in_a_business'),
        ),
        migrations.AddConstraint(
            model_name='member',
            constraint=models.CheckConstraint(condition=models.Q(('role__in', ['owner', 'estimator', 'crew', 'bookkeeper'])), name='member_role_known'),
        ),
        migrations.AddConstraint(
            model_name='numbersequence',
            constraint=models.UniqueConstraint(fields=('business', 'kind'), name='counter_once'),
        ),
        migrations.AddIndex(
            model_name='outboxtask',
            index=models.Index(condition=models.Q(('state', 'queued')), fields=['due_at'], name='task_due'),
        ),
        migrations.AddConstraint(
            model_name='outboxtask',
            constraint=models.UniqueConstraint(fields=('event', 'handler'), name='task_once_for_an_event'),
        ),
        migrations.AddConstraint(
            model_name='outboxtask',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['queued', 'done', 'failed'])), name='task_state_known'),
        ),
        migrations.AddConstraint(
            model_name='outgoingmail',
            constraint=models.UniqueConstraint(fields=('event', 'name'), name='letter_once_for_an_event'),
        ),
        migrations.AddConstraint(
            model_name='outgoingmail',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('sent_at__isnull', True), ('state', 'sending')), models.Q(('sent_at__isnull', False), ('state', 'sent')), _connector='OR'), name='letter_sent_at_a_time'),
        ),
        migrations.AddConstraint(
            model_name='apikey',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('business__isnull', False), ('supplier_account__isnull', True)), models.Q(('business__isnull', True), ('supplier_account__isnull', False)), _connector='OR'), name='api_key_has_one_holder'),
        ),
    ]
