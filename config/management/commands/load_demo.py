"""Put the demo company with its history into an empty database."""

from time import monotonic
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.models import User
from accounts.refusals import WrongState
from config.demo import cast, town
from config.demo.load import load, manager_email


class Command(BaseCommand):
    help = "Load the demo: an invented company, its sites and fourteen months of its work."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--sites", type=int, default=None, help="load only so many sites, stories first"
        )
        parser.add_argument(
            "--if-empty",
            action="store_true",
            help="where something is on file already, leave it as it is; say who can sign in",
        )

    def handle(self, *, sites: int | None, if_empty: bool, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("The demo's passphrase is public; it has no place in production.")
        if sites is not None and sites < 1:
            raise CommandError("Load at least one site.")
        if if_empty and User.objects.exists():
            if User.objects.filter(email=cast.COORDINATOR[0]).exists():
                self._tell_sign_ins()
            return
        began = monotonic()
        try:
            load(wanted=town.sites(sites), tell=self._tell)
        except WrongState as refusal:
            raise CommandError(str(refusal)) from refusal
        self._tell(f"Loaded in {monotonic() - began:.0f} s.")
        self._tell_sign_ins()

    def _tell_sign_ins(self) -> None:
        self._tell("Sign in to the demo as")
        first = town.sites(1)[0].client
        for role, email in (
            ("administrator", cast.ADMINISTRATOR[0]),
            ("office", cast.COORDINATOR[0]),
            ("technician", cast.TECHNICIANS[0][0]),
            ("client manager", manager_email(first)),
            ("auditor", cast.AUDITOR[0]),
        ):
            self._tell(f"  {role:15} {email}")
        self._tell(f"  passphrase      {cast.PASSPHRASE}")

    def _tell(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
