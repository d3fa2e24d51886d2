"""Visits: what is due, when it is done, and what was seen and done there."""

from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "visits"

    def ready(self) -> None:
        from sites.importing import sheets
        from visits import receivers, verbs  # noqa: F401  (connects receivers, declares trail verbs)
        from visits.importing import Readings
        from visits.importing_products import Batches, Products, Rates

        for sheet in (Readings(), Products(), Rates(), Batches()):
            sheets.register(sheet)
        from sites.services.storage import count_also
        from visits.services.sent_photos import bytes_parked

        count_also(bytes_parked)
        from visits import own_sections

        own_sections.register_own()
