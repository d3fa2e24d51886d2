"""How forms are drawn: a summary of errors on top, labels above, hints under, errors beside."""

from django.forms.renderers import TemplatesSetting


class KickplateRenderer(TemplatesSetting):
    """Draws forms with the templates of this project, in ``templates/forms``."""

    form_template_name = "forms/form.html"
    field_template_name = "forms/field.html"
    formset_template_name = "forms/formset.html"
