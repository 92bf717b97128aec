"""Beside each moment of the field the day, where that is all that is known."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('fleet', '0035_who_sent_a_sample'),
    ]

    operations = [
        migrations.AddField(
            model_name='feedwatersample',
            name='taken_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
        migrations.AddField(
            model_name='finding',
            name='last_seen_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
        migrations.AddField(
            model_name='placement',
            name='first_installed_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
        migrations.AddField(
            model_name='placement',
            name='placed_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
        migrations.AddField(
            model_name='placement',
            name='removed_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
        migrations.AddField(
            model_name='reading',
            name='taken_on',
            field=models.DateField(blank=True, editable=False, help_text='the day, where no hour is known; empty where it is', null=True),
        ),
    ]
