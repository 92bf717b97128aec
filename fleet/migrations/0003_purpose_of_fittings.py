"""What each fitting is for, which was read out of its name until now: those words are used here a last time."""

import re

import django.core.validators
from django.db import migrations, models

# In this order: a float valve for a tank is a valve.
WORDS = (
    ("automatic_shutoff_valve", r"shut-?\s?off valve"),
    ("check_valve", r"check valve|non-?return valve"),
    ("float_valve", r"float valve"),
    ("flush_valve", r"flush valve"),
    ("pressure_regulator", r"pressure (regulator|reduc)"),
    ("pressure_gauge", r"pressure gauge"),
    ("booster_pump", r"booster pump"),
    ("flow_restrictor", r"restrictor"),
    ("degassing", r"degas|aerat"),
    ("softener", r"softener"),
    ("membrane_housing", r"^membrane housing"),
    ("cartridge_housing", r"^(cartridge |filter )?housing"),
    ("pressurised_tank", r"tank"),
)
PURPOSES = tuple((purpose, re.compile(words, re.IGNORECASE)) for purpose, words in WORDS)
ML_PER_MIN = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*mL/min", re.IGNORECASE)
LITRES = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*L\b")


def fill(apps, schema_editor):
    """Give accessories the purpose their name tells, a restrictor its flow and a tank its volume."""
    items = apps.get_model("fleet", "CatalogueItem").objects.using(schema_editor.connection.alias)
    for item in items.filter(kind="accessory", purpose=""):
        item.purpose = next((purpose for purpose, words in PURPOSES if words.search(item.name)), "")
        if item.purpose == "pressurised_tank" and "open" in item.name.casefold():
            item.purpose = "open_tank"
        flow, volume = ML_PER_MIN.search(item.name), LITRES.search(item.name)
        if item.purpose == "flow_restrictor" and flow and item.rated_flow_l_per_day is None:
            item.rated_flow_l_per_day = float(flow.group(1)) * 1.44
        if item.purpose in ("pressurised_tank", "open_tank") and volume and item.rated_volume_l is None:
            item.rated_volume_l = float(volume.group(1))
        if item.purpose:
            item.save(update_fields=["purpose", "rated_flow_l_per_day", "rated_volume_l"])


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0001_initial'),
        ('fleet', '0002_access_exceptions'),
    ]

    operations = [
        migrations.AddField(
            model_name='catalogueitem',
            name='purpose',
            field=models.CharField(blank=True, choices=[('booster_pump', 'booster pump'), ('flow_restrictor', 'flow restrictor'), ('cartridge_housing', 'cartridge housing'), ('membrane_housing', 'membrane housing'), ('pressurised_tank', 'pressurised tank'), ('open_tank', 'open storage tank'), ('softener', 'softener'), ('degassing', 'degassing of carbon dioxide'), ('remineralisation', 'remineralisation'), ('tee', 'tee'), ('flush_valve', 'flush valve'), ('automatic_shutoff_valve', 'automatic shut-off valve'), ('check_valve', 'check valve'), ('float_valve', 'float valve'), ('pressure_regulator', 'pressure regulator'), ('pressure_gauge', 'pressure gauge'), ('leak_detector', 'leak detector with shut-off')], help_text='what an accessory or small part is for; empty for cartridges, and where sizing need not know', max_length=24),
        ),
        migrations.AlterField(
            model_name='catalogueitem',
            name='rated_flow_l_per_day',
            field=models.FloatField(blank=True, help_text='membrane: permeate; restrictor: concentrate', null=True, validators=[django.core.validators.MinValueValidator(0)]),
        ),
        migrations.AlterField(
            model_name='catalogueitem',
            name='rated_pressure_kpa',
            field=models.FloatField(blank=True, help_text='gauge, of that flow', null=True),
        ),
        migrations.AlterField(
            model_name='catalogueitem',
            name='rated_volume_l',
            field=models.FloatField(blank=True, help_text='sediment or carbon: volume on the label; tank: volume it holds', null=True, validators=[django.core.validators.MinValueValidator(0)]),
        ),
        migrations.AddConstraint(
            model_name='catalogueitem',
            constraint=models.CheckConstraint(condition=models.Q(('purpose', ''), ('kind__in', ('accessory', 'small_part')), _connector='OR'), name='a_cartridge_has_no_purpose_beside_its_kind'),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
