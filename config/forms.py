"""How forms are drawn."""

from django.forms.renderers import TemplatesSetting


class KickplateRenderer(TemplatesSetting):
    """Draws forms with the templates of this project."""
