import django.db.models.deletion
import django.utils.timezone
import shared.business.business_owned
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('purchasing', '0001_initial'),
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='Sandbox',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('account', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='sandbox', to='shared.supplieraccount')),
                ('business', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='sandbox', to='shared.business')),
            ],
        ),
        migrations.CreateModel(
            name='WebhookDelivery',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('message_id', models.CharField(max_length=64)),
                ('body', models.TextField()),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('delivered', 'delivered'), ('failed', 'failed')], default='waiting', max_length=9)),
                ('attempt_count', models.PositiveSmallIntegerField(default=0)),
                ('next_attempt_at', models.DateTimeField(blank=True, null=True)),
                ('replay', models.PositiveIntegerField(default=0)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('event', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='purchasing.orderevent')),
            ],
            options={
                'verbose_name_plural': 'deliveries',
            },
        ),
        migrations.CreateModel(
            name='Attempt',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('attempted_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('http_status', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('response_body', models.TextField(blank=True)),
                ('error', models.CharField(blank=True, max_length=300)),
                ('duration_ms', models.PositiveIntegerField(default=0)),
                ('delivery', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='attempts', to='integrations.webhookdelivery')),
            ],
        ),
        migrations.CreateModel(
            name='WebhookEndpoint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('test', models.BooleanField(default=False)),
                ('url', models.CharField(max_length=500)),
                ('event_types', models.JSONField(blank=True, default=list)),
                ('state', models.CharField(choices=[('pending', 'pending'), ('active', 'active'), ('disabled', 'disabled')], default='pending', max_length=8)),
                ('reason', models.CharField(blank=True, max_length=500)),
                ('secrets', models.JSONField(default=list)),
                ('paused_until', models.DateTimeField(blank=True, null=True)),
                ('failing_since', models.DateTimeField(blank=True, null=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('account', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='shared.supplieraccount')),
                ('business', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='shared.business')),
            ],
        ),
        migrations.AddField(
            model_name='webhookdelivery',
            name='endpoint',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='integrations.webhookendpoint'),
        ),
        migrations.AddConstraint(
            model_name='webhookendpoint',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('account__isnull', True), ('business__isnull', False)), models.Q(('account__isnull', False), ('business__isnull', True)), _connector='OR'), name='endpoint_has_one_holder'),
        ),
        migrations.AddConstraint(
            model_name='webhookendpoint',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['pending', 'active', 'disabled'])), name='endpoint_state_known'),
        ),
        migrations.AddIndex(
            model_name='webhookdelivery',
            index=models.Index(fields=['endpoint', '-id'], name='delivery_by_endpoint'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.UniqueConstraint(fields=('endpoint', 'event', 'replay'), name='delivery_once'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'delivered', 'failed'])), name='delivery_state_known'),
        ),
    ]
