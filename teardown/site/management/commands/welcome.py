"""Make the first person known, at the console."""

import getpass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from teardown.accounts.actions import welcome
from teardown.accounts.roles import Role


class Command(BaseCommand):
    """Makes a person known here, with roles; for the first administrator of a laboratory."""

    help = "Make a person known here. Without --role they become administrator."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a name and roles."""
        parser.add_argument("username")
        parser.add_argument("--name", default="")
        parser.add_argument("--role", action="append", choices=Role.values)
        parser.add_argument("--password", help="Asked for if not given.")

    def handle(self, *_: Any, **options: Any) -> None:
        """Ask for a password and make the person."""
        password = options["password"] or getpass.getpass("Password (at least 12 characters): ")
        try:
            validate_password(password)
            user = welcome(
                username=options["username"],
                name=options["name"] or options["username"],
                password=password,
                roles=options["role"] or [Role.ADMINISTRATOR],
                by=None,
            )
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{user.name} can sign in as {user.username}.")
