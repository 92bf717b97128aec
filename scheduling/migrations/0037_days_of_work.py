"""Beside the moments of a report the day, where that is all that is known."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('scheduling', '0036_answers_to_reports'),
    ]

    operations = [
        migrations.AddField(
            model_name='servicerecord',
            name='confirmed_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
        migrations.AddField(
            model_name='servicerecord',
            name='done_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
    ]
