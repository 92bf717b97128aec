import accounts.validation
import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """Everything at once, for a new database; one that was made step by step goes on with its steps."""

    replaces = [('accounts', '0001_initial'), ('accounts', '0002_time_zone_is_asked_for'), ('accounts', '0003_names_in_the_trail'), ('accounts', '0004_how_to_reach_a_company'), ('accounts', '0005_retired_records'), ('accounts', '0006_morning_letters'), ('accounts', '0007_tax_number')]

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
    ]

    operations = [
        migrations.CreateModel(
            name='Company',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('currency', models.CharField(default='EUR', help_text='ISO 4217 code of all prices', max_length=3, validators=[accounts.validation.check_currency])),
                ('time_zone', models.CharField(help_text='IANA name; the working day of the office is in it, new sites and installers without one take it', max_length=64, validators=[accounts.validation.check_time_zone])),
                ('unit_system', models.CharField(choices=[('metric', 'metric'), ('us', 'US')], default='metric', max_length=6)),
                ('phone', models.CharField(blank=True, help_text='where clients call; it stands under every letter', max_length=40)),
                ('email', models.EmailField(blank=True, help_text='where clients write; it stands under every letter', max_length=254)),
                ('address', models.CharField(blank=True, help_text='it stands under every letter to a client', max_length=300)),
                ('tax_number', models.CharField(blank=True, help_text='number by which the tax office knows it; it stands on every invoice', max_length=40)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'verbose_name_plural': 'companies',
                'ordering': ['name', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                ('username', models.CharField(error_messages={'unique': 'A user with that username already exists.'}, help_text='Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.', max_length=150, unique=True, validators=[django.contrib.auth.validators.UnicodeUsernameValidator()], verbose_name='username')),
                ('first_name', models.CharField(blank=True, max_length=150, verbose_name='first name')),
                ('last_name', models.CharField(blank=True, max_length=150, verbose_name='last name')),
                ('is_staff', models.BooleanField(default=False, help_text='Designates whether the user can log into this admin site.', verbose_name='staff status')),
                ('is_active', models.BooleanField(default=True, help_text='Designates whether this user should be treated as active. Unselect this instead of deleting accounts.', verbose_name='active')),
                ('date_joined', models.DateTimeField(default=django.utils.timezone.now, verbose_name='date joined')),
                ('email', models.EmailField(max_length=254, unique=True)),
                ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
            ],
            options={
                'verbose_name': 'user',
                'verbose_name_plural': 'users',
                'abstract': False,
            },
            managers=[
                ('objects', django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name='Client',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('retired_at', models.DateTimeField(blank=True, help_text='when it was retired; empty while it is in use', null=True)),
                ('retired_reason', models.CharField(blank=True, help_text='why it was retired', max_length=200)),
                ('name', models.CharField(max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('notes', models.TextField(blank=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('company', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='clients', to='accounts.company')),
            ],
            options={
                'ordering': ['name', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('company', 'name'), name='one_client_of_a_name')],
            },
        ),
        migrations.CreateModel(
            name='Membership',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(blank=True, help_text='of the person, as this company writes it', max_length=120)),
                ('role', models.CharField(choices=[('owner', 'owner'), ('office', 'office'), ('installer', 'installer'), ('client', 'client')], max_length=10)),
                ('is_active', models.BooleanField(default=True)),
                ('gets_digest', models.BooleanField(default=True, help_text='owner and office: a letter each morning about what needs attention')),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('client', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.RESTRICT, related_name='memberships', to='accounts.client')),
                ('company', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to='accounts.company')),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['company_id', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('user', 'company'), name='one_membership_per_company'), models.CheckConstraint(condition=models.Q(models.Q(('role', 'client'), ('client__isnull', False)), models.Q(models.Q(('role', 'client'), _negated=True), ('client__isnull', True)), _connector='OR'), name='a_client_membership_names_its_client')],
            },
        ),
        migrations.CreateModel(
            name='AuditEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('action', models.CharField(help_text="verb and noun, such as 'issue token'", max_length=60)),
                ('subject_kind', models.CharField(max_length=60)),
                ('subject_id', models.CharField(max_length=60)),
                ('subject_name', models.CharField(blank=True, help_text='what people called it then', max_length=200)),
                ('details', models.JSONField(blank=True, default=dict)),
                ('company', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='audit_entries', to='accounts.company')),
                ('membership', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, to='accounts.membership')),
            ],
            options={
                'verbose_name_plural': 'audit entries',
                'ordering': ['-at', '-pk'],
                'indexes': [models.Index(fields=['company', 'subject_kind', 'subject_id'], name='audit_by_subject')],
            },
        ),
        migrations.CreateModel(
            name='AccessToken',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('token_key', models.CharField(db_index=True, max_length=25)),
                ('created', models.DateTimeField(auto_now_add=True)),
                ('expiry', models.DateTimeField(blank=True, null=True)),
                ('digest', models.CharField(max_length=128, unique=True)),
                ('name', models.CharField(blank=True, help_text='what the token is for', max_length=80)),
                ('meter_unit_id', models.PositiveBigIntegerField(blank=True, null=True)),
                ('last_used_at', models.DateTimeField(blank=True, null=True)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='auth_token_set', to=settings.AUTH_USER_MODEL)),
                ('membership', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to='accounts.membership')),
            ],
            options={
                'ordering': ['-created', '-pk'],
            },
        ),
        migrations.CreateModel(
            name='StoredAnswer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('caller', models.CharField(default='member', help_text='a meter has its own keys, whoever made its token', max_length=40)),
                ('key', models.CharField(max_length=200)),
                ('route', models.CharField(max_length=200)),
                ('body_digest', models.CharField(max_length=64)),
                ('status', models.PositiveSmallIntegerField(blank=True, help_text='empty while the first call runs', null=True)),
                ('headers', models.JSONField(blank=True, default=dict)),
                ('body', models.BinaryField(blank=True, default=b'')),
                ('created_at', models.DateTimeField()),
                ('claimed_until', models.DateTimeField(blank=True, null=True)),
                ('company', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='accounts.company')),
                ('membership', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='accounts.membership')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('membership', 'caller', 'key'), name='one_answer_per_key')],
            },
        ),
        migrations.AddField(
            model_name='client',
            name='retired_by',
            field=models.ForeignKey(blank=True, help_text='who retired it', null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='accounts.membership'),
        ),
    ]
