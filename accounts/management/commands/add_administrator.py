"""Adds an administrator from the command line: the first one, or one who locked everybody out."""

import sys
from getpass import getpass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email

from accounts.models import User
from accounts.refusals import Refused
from accounts.services.first_steps import add_administrator


class Command(BaseCommand):
    help = "Add an administrator. Asks for a password, or reads one line from standard input."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email")
        parser.add_argument("--name", required=True)

    def handle(self, *, email: str, name: str, **options: Any) -> None:
        try:
            validate_email(email)
            password = self._password()
            validate_password(password, User(email=email, name=name))
            add_administrator(email, name=name, password=password)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        except Refused as error:
            raise CommandError(str(error)) from None
        self.stdout.write(f"{name} can sign in now.")

    def _password(self) -> str:
        if not sys.stdin.isatty():
            return sys.stdin.readline().rstrip("\n")
        password = getpass("Password: ")
        if getpass("Once more: ") != password:
            raise CommandError("The two are not the same.")
        return password
