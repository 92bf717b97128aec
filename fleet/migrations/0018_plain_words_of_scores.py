"""Plain words for what a score of forecasts and a limit of carbon say of themselves."""

import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('fleet', '0017_differential_pressure'),
    ]

    operations = [
        migrations.AlterField(
            model_name='exhaustionlimits',
            name='carbon_maximum_service_time_days',
            field=models.FloatField(blank=True, help_text='days after which carbon is replaced, whatever it shows', null=True, validators=[django.core.validators.MinValueValidator(30.0), django.core.validators.MaxValueValidator(365.0)]),
        ),
        migrations.AlterField(
            model_name='forecastscore',
            name='coverage_50',
            field=models.FloatField(blank=True, help_text='share of the lives that ended within the 50 % interval, lives that go on included; 0.5 is right', null=True),
        ),
        migrations.AlterField(
            model_name='forecastscore',
            name='driver_named',
            field=models.FloatField(blank=True, help_text='share of the lives seen to end whose cause, wear or maximum service time, was foretold', null=True),
        ),
        migrations.AlterField(
            model_name='forecastscore',
            name='known_until',
            field=models.DateField(help_text='day until which it is known what became of the cartridges'),
        ),
        migrations.AlterField(
            model_name='forecastscore',
            name='median_error_share',
            field=models.FloatField(blank=True, help_text='median absolute error of the median date as a share of the life by the label; seen ends only', null=True),
        ),
        migrations.AlterField(
            model_name='forecastscore',
            name='observed',
            field=models.PositiveIntegerField(help_text='of these, whose cartridge was seen to be exhausted; others are known to have lasted so long only'),
        ),
        migrations.AlterField(
            model_name='forecastscore',
            name='pinball_share',
            field=models.FloatField(blank=True, help_text='mean pinball loss of the dates as a share of the life by the label; 0 is best', null=True),
        ),
    ]
