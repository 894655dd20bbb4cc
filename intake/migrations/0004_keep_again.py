"""Put the triggers up again: altering a table took them down, and new tables are kept too."""

from django.db import migrations

from shop import keep


class Migration(migrations.Migration):
    dependencies = [("intake", "0003_money_in_depth_and_storage")]

    operations = [
        keep.Forbid("intake_answer"),
        keep.Forbid("intake_cashup"),
        keep.Forbid("intake_invoice"),
        keep.Forbid("intake_invoiceline"),
        keep.Forbid("intake_letgo"),
        keep.Forbid("intake_noticeback"),
        keep.Forbid("intake_payment"),
        keep.Forbid("intake_storagenotice"),
    ]
