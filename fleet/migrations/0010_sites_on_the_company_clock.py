"""A new site without a time zone of its own takes that of its company.

Sites that exist are left as they are: of one that stands in UTC nobody can tell from the row whether it was meant. See
them with `GET /api/v1/sites/?time_zone=UTC` and put the wrong ones right with PATCH.
"""

import accounts.validation
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('fleet', '0009_coverage_with_lives_that_did_not_end'),
    ]

    operations = [
        migrations.AlterField(
            model_name='site',
            name='time_zone',
            field=models.CharField(blank=True, default='', help_text="IANA name; access windows and hours told to clients are in it; the company's if none is named", max_length=64, validators=[accounts.validation.check_time_zone]),
        ),
    ]
