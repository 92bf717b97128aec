"""A company no longer stands in UTC because nobody named its time zone.

Companies that exist keep the zone they have.
"""

import accounts.validation
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0001_initial'),
    ]

    operations = [
        migrations.AlterField(
            model_name='company',
            name='time_zone',
            field=models.CharField(help_text='IANA name; the working day of the office is in it, new sites and installers without one take it', max_length=64, validators=[accounts.validation.check_time_zone]),
        ),
    ]
