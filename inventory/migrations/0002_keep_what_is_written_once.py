"""Let the database itself hold to what is written once."""

from django.db import migrations

from shop import keep


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]

    operations = [
        keep.Forbid("inventory_move"),
        keep.Forbid("inventory_tubereading"),
    ]
