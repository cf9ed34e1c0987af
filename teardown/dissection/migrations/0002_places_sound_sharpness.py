"""Corners and outlines on photographs, points on the electrode, spoken notes, sharpness."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

FRACTIONS = "As fractions of the upright picture, x from its left and y from its top."


def foreign(to, name="+", **more):
    return models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name=name, to=to, **more)


def supersedes(to):
    return models.OneToOneField(
        blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name="superseded_by", to=to
    )


class Migration(migrations.Migration):
    dependencies = [
        ("dissection", "0001_first"),
        ("files", "0001_first"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="AudioNote",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(unique=True)),
                ("container", models.CharField(max_length=20)),
                ("seconds", models.FloatField(blank=True, help_text="As the device counted them.", null=True)),
                ("step", models.CharField(blank=True, max_length=40)),
                ("spoken_at", models.DateTimeField()),
                ("received_at", models.DateTimeField(auto_now_add=True)),
                (
                    "minutes_since_opening",
                    models.FloatField(blank=True, help_text="By the device's own clock, at the time.", null=True),
                ),
                ("device_ms", models.BigIntegerField(blank=True, null=True)),
                ("clock_id", models.CharField(blank=True, max_length=40)),
                ("by", foreign(settings.AUTH_USER_MODEL)),
                ("dissection", foreign("dissection.dissection", "audio_notes")),
                ("receipt", foreign("files.receipt")),
                ("session", foreign("dissection.benchsession", blank=True, null=True)),
            ],
            options={"ordering": ["pk"]},
        ),
        migrations.CreateModel(
            name="PhotoFrame",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("face", models.CharField(choices=[("A", "face A"), ("B", "face B")], max_length=1)),
                (
                    "corners",
                    models.JSONField(
                        help_text="Top left, top right, bottom right, bottom left as it lies before the eye. "
                        + FRACTIONS
                    ),
                ),
                ("at", models.DateTimeField()),
                ("by", foreign(settings.AUTH_USER_MODEL)),
                ("part", foreign("dissection.part")),
                ("photograph", foreign("dissection.photograph", "frames")),
                ("supersedes", supersedes("dissection.photoframe")),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("face__in", ["A", "B"])), name="a_frame_is_of_a_face"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Outline",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("points", models.JSONField(help_text="Corners of a polygon in their order. " + FRACTIONS)),
                ("at", models.DateTimeField()),
                ("by", foreign(settings.AUTH_USER_MODEL)),
                ("frame", foreign("dissection.photoframe", blank=True, null=True)),
                ("photograph", foreign("dissection.photograph", "outlines")),
                ("sample", foreign("dissection.sample", "outlines")),
                ("supersedes", supersedes("dissection.outline")),
            ],
            options={"ordering": ["pk"]},
        ),
        migrations.RemoveField(model_name="sample", name="outline"),
        migrations.AddField(
            model_name="photograph",
            name="sharpness",
            field=models.FloatField(
                blank=True, help_text="Laplacian over grey variance; see rules.sharpness.", null=True
            ),
        ),
        migrations.AddField(
            model_name="entry", name="audio", field=foreign("dissection.audionote", "entries", blank=True, null=True)
        ),
        migrations.AddField(
            model_name="photolabel", name="x", field=models.FloatField(blank=True, null=True)
        ),
        migrations.AddField(
            model_name="photolabel", name="y", field=models.FloatField(blank=True, null=True)
        ),
        migrations.AddConstraint(
            model_name="photolabel",
            constraint=models.CheckConstraint(
                condition=models.Q(("x__isnull", True), ("y__isnull", True))
                | models.Q(("x__gte", 0), ("x__lte", 1), ("y__gte", 0), ("y__lte", 1)),
                name="labelled_inside_the_electrode",
            ),
        ),
    ]
