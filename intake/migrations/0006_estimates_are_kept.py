"""Estimates and their lines stay as they were made. No column changes, so no table loses its triggers."""

import django.db.models.deletion
from django.db import migrations, models

from shop import keep


class Migration(migrations.Migration):
    dependencies = [("intake", "0005_lines_keep_their_taxes")]

    operations = [
        migrations.AlterField(
            model_name="estimate",
            name="job",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="estimates", to="intake.job"
            ),
        ),
        migrations.AlterField(
            model_name="estimateline",
            name="estimate",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="intake.estimate"
            ),
        ),
        keep.Forbid("intake_estimate"),
        keep.Forbid("intake_estimateline"),
    ]
