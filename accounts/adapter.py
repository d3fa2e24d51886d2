"""How sign-in behaves here: by invitation only, never by open sign-up."""

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from django.http import HttpRequest


class ClosedAdapter(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Nobody signs up; people are invited."""
        return False


class SecondFactorAdapter(DefaultMFAAdapter):
    def _get_site_name(self) -> str:
        return "Kickplate"
