"""The installation as an app, so that its commands are found."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "config"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_login_failed

        from config.logs import note_failed_sign_in

        user_login_failed.connect(note_failed_sign_in)
