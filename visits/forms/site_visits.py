"""What the list of a site's visits is narrowed to."""

from django import forms

from visits.models import Visit


class FilterSiteVisits(forms.Form):
    """It lives in the address."""

    kind = forms.ChoiceField(choices=[("", "All"), *Visit.Kind.choices], required=False)
    state = forms.ChoiceField(choices=[("", "All"), *Visit.State.choices], required=False)
