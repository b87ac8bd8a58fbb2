import django.db.models.deletion
import django.db.models.manager
import django.utils.timezone
import quotes.documents.models
import shared.business.business_owned
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('quoting', '0001_initial'),
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='Document',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.CharField(default=shared.business.business_owned.new_ref, editable=False, max_length=32, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('updated_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('kind', models.CharField(choices=quotes.documents.models.kind_choices, max_length=12)),
                ('party', models.CharField(blank=True, max_length=40)),
                ('subject', models.CharField(blank=True, db_default='', max_length=32)),
                ('content', models.TextField(blank=True, db_default='', editable=False)),
                ('state', models.CharField(choices=[('queued', 'queued'), ('ready', 'ready')], default='queued', max_length=6)),
                ('pdf', models.BinaryField(null=True)),
                ('sha256', models.CharField(blank=True, editable=False, max_length=64)),
                ('size', models.PositiveIntegerField(default=0, editable=False)),
                ('made_at', models.DateTimeField(editable=False, null=True)),
                ('business', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.business')),
                ('revision', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='documents', to='quoting.revision')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('business', 'revision', 'kind', 'party'), name='document_once'), models.UniqueConstraint(condition=models.Q(('subject', ''), _negated=True), fields=('business', 'subject', 'kind'), name='document_of_a_subject_once'), models.CheckConstraint(condition=models.Q(models.Q(('revision__isnull', False), ('subject', '')), models.Q(('revision__isnull', True), models.Q(('subject', ''), _negated=True)), _connector='OR'), name='document_of_something'), models.CheckConstraint(condition=models.Q(models.Q(('pdf__isnull', True), ('state', 'queued')), models.Q(('pdf__isnull', False), ('state', 'ready')), _connector='OR'), name='document_made_with_its_bytes')],
            },
            managers=[
                ('unscoped', django.db.models.manager.Manager()),
            ],
        ),
    ]
