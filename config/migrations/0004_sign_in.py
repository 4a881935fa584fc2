"""Counted tries, and the application's rights on the tables of sign-in and second factors."""

from django.db import migrations, models

from config.database.rls import grants


class Migration(migrations.Migration):
    dependencies = [
        ("config", "0003_notices"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("mfa", "0003_authenticator_type_uniq"),
        ("usersessions", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="RateCount",
            fields=[
                ("key", models.CharField(max_length=64, primary_key=True, serialize=False)),
                ("window_ends", models.DateTimeField()),
                ("count", models.PositiveIntegerField()),
            ],
        ),
        grants("config_ratecount", "SELECT, INSERT, UPDATE, DELETE"),
        grants("account_emailaddress", "SELECT, INSERT, UPDATE, DELETE"),
        grants("account_emailconfirmation", "SELECT, INSERT, UPDATE, DELETE"),
        grants("mfa_authenticator", "SELECT, INSERT, UPDATE, DELETE"),
        grants("usersessions_usersession", "SELECT, INSERT, UPDATE, DELETE"),
    ]
