"""What a client was told a confirmed visit takes and is about has the word of the appointment: confirmed."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0018_kinds_of_difference")]

    operations = [
        migrations.RenameField("visit", "agreed_minutes", "confirmed_minutes"),
        migrations.RenameField("visit", "agreed_units", "confirmed_units"),
        migrations.AlterField(
            "visit",
            "installer",
            models.ForeignKey(
                blank=True,
                help_text="who was confirmed to the client, or is planned",
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="visits",
                to="scheduling.installer",
            ),
        ),
    ]
