"""Compliance: what follows from a visit, who decided it, what is late, and the proof."""

from django.apps import AppConfig


class ComplianceConfig(AppConfig):
    name = "compliance"

    def ready(self) -> None:
        from compliance import (  # noqa: F401  (connects receivers, declares verbs and kinds)
            receivers,
            told_kinds,
            verbs,
        )
        from compliance.package_parts import register_parts
        from compliance.sections import register_sections

        register_sections()
        register_parts()
