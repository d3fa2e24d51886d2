"""The ground floor: people, what each may see, and the trail of what each did."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "accounts"

    def ready(self) -> None:
        from accounts import verbs  # noqa: F401  (declares the trail verbs of this app)
