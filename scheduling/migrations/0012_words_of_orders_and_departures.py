from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0011_jobs_have_a_room_of_their_own")]

    operations = [
        migrations.RenameField("purchaseorderline", "article_number", "supplier_part_number"),
        migrations.RenameField("visit", "set_out_at", "departed_at"),
        migrations.AlterField(
            model_name='visit',
            name='departed_at',
            field=models.DateTimeField(blank=True, help_text='when the installer departed, as reported', null=True),
        ),
    ]
