"""The tables bear the name of their room, once no other room's history speaks of them."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("jobs", "0001_initial")]

    operations = [
        migrations.AlterModelTable(name="job", table=None),
        migrations.AlterModelTable(name="jobchunk", table=None),
    ]
