import catalogue.models
import catalogue.rules.codes
import django.core.validators
import django.db.models.deletion
import django.db.models.manager
import django.utils.timezone
import shared.business.business_owned
from decimal import Decimal
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='AskedPlan',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('running', 'running'), ('done', 'done'), ('cancelled', 'cancelled'), ('failed', 'failed')], default=catalogue.rules.codes.PlanState['WAITING'], max_length=10)),
                ('demand', models.JSONField()),
                ('seconds', models.PositiveSmallIntegerField()),
                ('requested_by', models.CharField(blank=True, max_length=200)),
                ('is_cancelled', models.BooleanField(default=False)),
                ('plan', models.JSONField(blank=True, null=True)),
                ('started_at', models.DateTimeField(blank=True, null=True)),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            options={
                'abstract': False,
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='FenceSystem',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('code', models.CharField(max_length=60, validators=[django.core.validators.RegexValidator('^[a-z0-9][a-z0-9._-]*\\Z', 'Small letters, digits, dot, hyphen and underline, no spaces.')])),
                ('label', models.CharField(max_length=200)),
                ('is_default', models.BooleanField(default=False)),
                ('active', models.BooleanField(default=True)),
                ('latest_version', models.PositiveIntegerField(default=0, editable=False)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='FenceSystemVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('number', models.PositiveIntegerField()),
                ('document', models.JSONField()),
                ('sha256', models.CharField(editable=False, max_length=64)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('system', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='versions', to='catalogue.fencesystem')),
            ],
            options={
                'ordering': ['system', '-number'],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Finish',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('code', models.CharField(max_length=40, validators=[django.core.validators.RegexValidator('^[a-z0-9][a-z0-9._-]*\\Z', 'Small letters, digits, dot, hyphen and underline, no spaces.')])),
                ('name', models.CharField(max_length=80)),
                ('drawing_colour', models.CharField(blank=True, max_length=7, validators=[django.core.validators.RegexValidator('^#[0-9a-f]{6}\\Z', 'A colour for drawings, such as #445566.')])),
                ('active', models.BooleanField(default=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            options={
                'verbose_name_plural': 'finishes',
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Component',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('sku', models.CharField(max_length=64)),
                ('name', models.CharField(max_length=200)),
                ('role', models.CharField(choices=catalogue.rules.codes.role_choices, max_length=20)),
                ('length_mm', models.PositiveIntegerField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1)])),
                ('width_mm', models.PositiveIntegerField(blank=True, null=True)),
                ('height_mm', models.PositiveIntegerField(blank=True, null=True)),
                ('sale_unit', models.CharField(choices=[('C62', 'one'), ('H87', 'piece'), ('EA', 'each'), ('MTR', 'metre'), ('MTK', 'square metre'), ('MTQ', 'cubic metre'), ('KGM', 'kilogram'), ('TNE', 'tonne'), ('LTR', 'litre'), ('SET', 'set'), ('PR', 'pair'), ('HUR', 'hour'), ('DAY', 'day'), ('NMP', 'number of packs'), ('XBG', 'bag'), ('XPK', 'package'), ('XBX', 'box'), ('XPX', 'pallet'), ('XRO', 'roll'), ('XBE', 'bundle')], default='C62', max_length=3)),
                ('pack_size', models.DecimalField(decimal_places=3, default=Decimal('1'), max_digits=10, validators=[django.core.validators.MinValueValidator(Decimal('0.001'))])),
                ('gtin', models.CharField(blank=True, max_length=14, validators=[catalogue.models.check_gtin], verbose_name='GTIN')),
                ('mass_kg', models.DecimalField(blank=True, decimal_places=3, max_digits=10, null=True, validators=[django.core.validators.MinValueValidator(Decimal('0'))])),
                ('bag_yield_m3', models.DecimalField(blank=True, decimal_places=5, max_digits=8, null=True, validators=[django.core.validators.MinValueValidator(Decimal('0'))])),
                ('account_code', models.CharField(blank=True, max_length=40)),
                ('available_from', models.DateField(blank=True, null=True)),
                ('available_to', models.DateField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('finish', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='components', to='catalogue.finish')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Import',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('kind', models.CharField(choices=[('finishes', 'finishes'), ('components', 'components'), ('suppliers', 'suppliers'), ('supplier_terms', 'supplier_terms'), ('supplier_prices', 'supplier_prices'), ('price_rules', 'price_rules'), ('fence_systems', 'fence_systems')], max_length=20)),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('running', 'running'), ('done', 'done'), ('rejected', 'rejected')], default=catalogue.rules.codes.ImportState['WAITING'], max_length=10)),
                ('file_name', models.CharField(max_length=200)),
                ('content', models.BinaryField()),
                ('requested_by', models.CharField(blank=True, max_length=200)),
                ('rows_total', models.PositiveIntegerField(blank=True, null=True)),
                ('rows_done', models.PositiveIntegerField(default=0)),
                ('report', models.JSONField(blank=True, default=dict)),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            options={
                'abstract': False,
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='PriceRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('kind', models.CharField(choices=[('markup', 'markup'), ('labour', 'labour'), ('hire', 'hire'), ('disposal', 'disposal'), ('discount', 'discount'), ('tax', 'tax'), ('tax_code_for', 'tax_code_for'), ('account', 'account'), ('payment', 'payment'), ('setting', 'setting'), ('factor', 'factor')], max_length=20)),
                ('applies_to', models.CharField(blank=True, max_length=80)),
                ('value', models.DecimalField(blank=True, decimal_places=6, max_digits=14, null=True)),
                ('option', models.CharField(blank=True, max_length=80)),
                ('label', models.CharField(blank=True, max_length=200)),
                ('valid_from', models.DateField()),
                ('valid_to', models.DateField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='Supplier',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('code', models.CharField(max_length=40, validators=[django.core.validators.RegexValidator('^[a-z0-9][a-z0-9._-]*\\Z', 'Small letters, digits, dot, hyphen and underline, no spaces.')])),
                ('name', models.CharField(max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('address', models.TextField(blank=True, max_length=500)),
                ('country', models.CharField(blank=True, max_length=2, validators=[django.core.validators.RegexValidator('^[A-Z]{2}\\Z', 'ISO 3166-1, two letters.')])),
                ('gln', models.CharField(blank=True, max_length=13, validators=[catalogue.models.check_gtin], verbose_name='GLN')),
                ('registration_number', models.CharField(blank=True, max_length=60)),
                ('tax_number', models.CharField(blank=True, max_length=60)),
                ('customer_number', models.CharField(blank=True, max_length=60, verbose_name='our number there')),
                ('preferred', models.BooleanField(default=False)),
                ('active', models.BooleanField(default=True)),
                ('account', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='suppliers', to='shared.supplieraccount')),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='SupplierPrice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('supplier_sku', models.CharField(blank=True, max_length=64)),
                ('price', models.DecimalField(decimal_places=4, max_digits=14, validators=[django.core.validators.MinValueValidator(Decimal('0'))])),
                ('price_breaks', models.JSONField(blank=True, default=list)),
                ('pack_size', models.DecimalField(decimal_places=3, default=Decimal('1'), max_digits=10, validators=[django.core.validators.MinValueValidator(Decimal('0.001'))])),
                ('minimum_quantity', models.DecimalField(decimal_places=3, default=Decimal('0'), max_digits=12, validators=[django.core.validators.MinValueValidator(Decimal('0'))])),
                ('lead_time_days', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('valid_from', models.DateField()),
                ('valid_to', models.DateField(blank=True, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('component', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='offers', to='catalogue.component')),
                ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='offers', to='catalogue.supplier')),
            ],
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.CreateModel(
            name='SupplierTerms',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('valid_from', models.DateField()),
                ('minimum_order', models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=14, validators=[django.core.validators.MinValueValidator(Decimal('0'))])),
                ('delivery_fees', models.JSONField(blank=True, default=list)),
                ('lead_time_days', models.PositiveSmallIntegerField(default=0)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='terms', to='catalogue.supplier')),
            ],
            options={
                'verbose_name_plural': 'supplier terms',
                'ordering': ['supplier', '-valid_from'],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
        migrations.AddConstraint(
            model_name='fencesystem',
            constraint=models.UniqueConstraint(fields=('business', 'code'), name='fence_system_code_once'),
        ),
        migrations.AddConstraint(
            model_name='fencesystem',
            constraint=models.UniqueConstraint(condition=models.Q(('is_default', True)), fields=('business',), name='fence_system_one_default'),
        ),
        migrations.AddConstraint(
            model_name='fencesystemversion',
            constraint=models.UniqueConstraint(fields=('business', 'system', 'number'), name='fence_system_version_once'),
        ),
        migrations.AddConstraint(
            model_name='finish',
            constraint=models.UniqueConstraint(fields=('business', 'code'), name='finish_code_once'),
        ),
        migrations.AddIndex(
            model_name='component',
            index=models.Index(fields=['business', 'role', 'finish', 'length_mm'], name='component_by_role'),
        ),
        migrations.AddConstraint(
            model_name='component',
            constraint=models.UniqueConstraint(fields=('business', 'sku'), name='component_sku_once'),
        ),
        migrations.AddConstraint(
            model_name='component',
            constraint=models.CheckConstraint(condition=models.Q(('pack_size__gt', 0)), name='component_pack_above_0'),
        ),
        migrations.AddConstraint(
            model_name='component',
            constraint=models.CheckConstraint(condition=models.Q(('available_to__isnull', True), ('available_from__isnull', True), ('available_to__gte', models.F('available_from')), _connector='OR'), name='component_ends_after_it_begins'),
        ),
        migrations.AddConstraint(
            model_name='pricerule',
            constraint=models.UniqueConstraint(fields=('business', 'kind', 'applies_to', 'valid_from'), name='price_rule_once_from_a_day'),
        ),
        migrations.AddConstraint(
            model_name='pricerule',
            constraint=models.CheckConstraint(condition=models.Q(('valid_to__isnull', True), ('valid_to__gte', models.F('valid_from')), _connector='OR'), name='price_rule_ends_after_it_begins'),
        ),
        migrations.AddConstraint(
            model_name='supplier',
            constraint=models.UniqueConstraint(fields=('business', 'code'), name='supplier_code_once'),
        ),
        migrations.AddConstraint(
            model_name='supplier',
            constraint=models.UniqueConstraint(condition=models.Q(('account__isnull', False)), fields=('business', 'account'), name='supplier_account_once'),
        ),
        migrations.AddIndex(
            model_name='supplierprice',
            index=models.Index(fields=['business', 'component', 'valid_from'], name='offer_by_component'),
        ),
        migrations.AddConstraint(
            model_name='supplierprice',
            constraint=models.UniqueConstraint(fields=('business', 'supplier', 'component', 'valid_from'), name='offer_once_from_a_day'),
        ),
        migrations.AddConstraint(
            model_name='supplierprice',
            constraint=models.CheckConstraint(condition=models.Q(('price__gte', 0)), name='offer_price_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='supplierprice',
            constraint=models.CheckConstraint(condition=models.Q(('pack_size__gt', 0)), name='offer_pack_above_0'),
        ),
        migrations.AddConstraint(
            model_name='supplierprice',
            constraint=models.CheckConstraint(condition=models.Q(('valid_to__isnull', True), ('valid_to__gte', models.F('valid_from')), _connector='OR'), name='offer_ends_after_it_begins'),
        ),
        migrations.AddConstraint(
            model_name='supplierterms',
            constraint=models.UniqueConstraint(fields=('business', 'supplier', 'valid_from'), name='supplier_terms_once'),
        ),
    ]
