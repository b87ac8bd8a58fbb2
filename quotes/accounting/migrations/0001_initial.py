import django.db.models.deletion
import django.db.models.manager
import django.utils.timezone
import shared.business.business_owned
from decimal import Decimal
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('jobs', '0001_initial'),
        ('purchasing', '0001_initial'),
        ('quoting', '0001_initial'),
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='Posting',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('sequence', models.PositiveIntegerField(default=0)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('order', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='posting', to='purchasing.supplierorder')),
            ],
            options={
                'abstract': False,
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='LedgerEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('kind', models.CharField(choices=[('order', 'order'), ('correction', 'correction'), ('credit', 'credit')], max_length=10)),
                ('day', models.DateField()),
                ('order_number', models.CharField(max_length=20)),
                ('supplier_code', models.CharField(max_length=40)),
                ('supplier_name', models.CharField(max_length=120)),
                ('job_number', models.CharField(blank=True, max_length=20)),
                ('sku', models.CharField(blank=True, max_length=64)),
                ('description', models.CharField(max_length=200)),
                ('account', models.CharField(blank=True, max_length=40)),
                ('tax_account', models.CharField(blank=True, max_length=40)),
                ('tax_code', models.CharField(blank=True, max_length=40)),
                ('tax_category', models.CharField(blank=True, max_length=3)),
                ('tax_rate', models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=8)),
                ('currency', models.CharField(max_length=3)),
                ('net', models.DecimalField(decimal_places=4, max_digits=16)),
                ('tax', models.DecimalField(decimal_places=4, max_digits=16)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.job')),
                ('line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='purchasing.orderline')),
                ('order', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='purchasing.supplierorder')),
            ],
            options={
                'verbose_name_plural': 'ledger entries',
                'indexes': [models.Index(fields=['business', 'day', 'id'], name='ledger_by_day'), models.Index(fields=['business', 'order'], name='ledger_by_order')],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['order', 'correction', 'credit'])), name='ledger_kind_known')],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='PeriodLock',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('locked_through', models.DateField()),
                ('created_by', models.CharField(max_length=160)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('business', 'locked_through'), name='period_lock_once')],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='QuoteEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('what', models.CharField(choices=[('quoted', 'quoted'), ('accepted', 'accepted'), ('declined', 'declined'), ('expired', 'expired'), ('superseded', 'superseded'), ('cancelled', 'cancelled')], max_length=10)),
                ('day', models.DateField()),
                ('quote_number', models.CharField(max_length=20)),
                ('revision_number', models.PositiveIntegerField()),
                ('kind', models.CharField(max_length=9)),
                ('job_number', models.CharField(max_length=20)),
                ('job_label', models.CharField(max_length=200)),
                ('customer_name', models.CharField(max_length=120)),
                ('net', models.DecimalField(decimal_places=4, max_digits=16)),
                ('tax', models.DecimalField(decimal_places=4, max_digits=16)),
                ('total', models.DecimalField(decimal_places=4, max_digits=16)),
                ('sold', models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=16)),
                ('cost', models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=16)),
                ('materials', models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=16)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.job')),
                ('revision', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='quoting.revision')),
            ],
            options={
                'verbose_name_plural': 'quote entries',
                'indexes': [models.Index(fields=['business', 'day', 'id'], name='quote_entry_by_day')],
                'constraints': [models.UniqueConstraint(fields=('business', 'revision', 'what'), name='quote_entry_once'), models.CheckConstraint(condition=models.Q(('what__in', ['quoted', 'accepted', 'declined', 'expired', 'superseded', 'cancelled'])), name='quote_entry_known')],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='ReceivedEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('day', models.DateField()),
                ('net', models.DecimalField(decimal_places=4, max_digits=16)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('job', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.job')),
                ('order', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='purchasing.supplierorder')),
            ],
            options={
                'verbose_name_plural': 'received entries',
                'indexes': [models.Index(fields=['business', 'day'], name='received_by_day'), models.Index(fields=['business', 'order'], name='received_by_order')],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
    ]
