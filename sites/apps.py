"""Sites: what is agreed for a premises, and what is there."""

from django.apps import AppConfig


class SitesConfig(AppConfig):
    name = "sites"

    def ready(self) -> None:
        from accounts.access import narrow_notices
        from sites import verbs  # noqa: F401  (declares the trail verbs of this app)
        from sites.access import notices_of_visible_sites
        from sites.importing import kept, sheets

        for sheet in (kept.Clients(), kept.Sites(), kept.Zones(), kept.Monitors()):
            sheets.register(sheet)
        from sites import own_sections

        own_sections.register_own()
        narrow_notices(notices_of_visible_sites)
