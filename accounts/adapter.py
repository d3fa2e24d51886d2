"""How sign-in behaves here: by invitation only, never by open sign-up."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from django.http import HttpRequest

from accounts.ids import uuid7
from accounts.services.letters import write_letter


class ClosedAdapter(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Nobody signs up; people are invited."""
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Queue the letter, so that no page waits for the mail server or tells by its time."""
        message = self.render_mail(template_prefix, email, context)
        write_letter(
            f"{template_prefix}:{uuid7()}",
            to=email,
            subject=message.subject,
            text=message.body,
            secret=True,
        )


class SecondFactorAdapter(DefaultMFAAdapter):
    def _get_site_name(self) -> str:
        return "Kickplate"
