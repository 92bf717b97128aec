"""A new installer without a time zone of their own takes that of the company.

Installers that exist are left as they are: of one who stands in UTC nobody can tell from the row whether it was meant.
"""

import accounts.validation
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('scheduling', '0009_reports_of_work'),
    ]

    operations = [
        migrations.AlterField(
            model_name='installer',
            name='time_zone',
            field=models.CharField(blank=True, default='', help_text="IANA name; the shift is in it; the company's if none is named", max_length=64, validators=[accounts.validation.check_time_zone]),
        ),
    ]
