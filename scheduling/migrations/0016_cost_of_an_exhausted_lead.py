from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0015_maximum_service_time")]

    operations = [migrations.RenameField("need", "worn_cost_per_day", "exhausted_cost_per_day")]
