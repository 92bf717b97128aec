import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fleet", "0012_reasons_as_offices_write_them")]

    operations = [
        migrations.RenameField("supplier", "least_order_value", "minimum_order_value"),
        migrations.RenameField("catalogueitem", "article_number", "supplier_part_number"),
        migrations.AlterField(
            model_name='catalogueitem',
            name='supplier_part_number',
            field=models.CharField(blank=True, help_text='part number at the supplier', max_length=60),
        ),
        migrations.AlterField(
            model_name='supplier',
            name='minimum_order_value',
            field=models.DecimalField(decimal_places=2, default=0, help_text="minimum value of an order, in the company's currency; 0: none", max_digits=10, validators=[django.core.validators.MinValueValidator(0)]),
        ),
    ]
