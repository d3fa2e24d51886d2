import re

from django import forms


class Booking(forms.Form):
    name = forms.CharField(label="Site name", help_text="As it stands on the door.")
    note = forms.CharField(required=False)
    urgency = forms.ChoiceField(
        choices=[("low", "When convenient"), ("now", "At once")],
        widget=forms.RadioSelect,
        help_text="Who waits for it?",
    )
    digest = forms.BooleanField(required=False, label="Daily summary")
    secret = forms.CharField(widget=forms.HiddenInput, initial="x")

    def clean(self) -> None:
        raise forms.ValidationError("The contract ends before it starts.")


def html_of(form: forms.BaseForm) -> str:
    return re.sub(r"\s+", " ", str(form))


def test_a_label_stands_above_its_hint_and_its_input():
    html = html_of(Booking())

    label, hint, box = (
        html.index(part)
        for part in ('<label for="id_name">Site name', "As it stands", 'name="name"')
    )
    assert label < hint < box
    assert 'aria-describedby="id_name_helptext"' in html


def test_only_what_may_stay_empty_says_so():
    html = html_of(Booking())

    assert html.count("(optional)") == 1
    assert 'Note <span class="optional">(optional)</span>' in html


def test_choices_are_a_group_with_a_legend():
    html = html_of(Booking())

    assert '<fieldset aria-describedby="id_urgency_helptext">' in html
    assert "<legend> Urgency </legend>" in html or "<legend>Urgency</legend>" in html
    assert html.count('type="radio"') == html.count('<label class="choice" for="id_urgency_')


def test_an_error_stands_beside_its_field_and_on_top_and_leads_there():
    html = html_of(Booking(data={"urgency": "never", "name": ""}))

    assert '<a href="#id_name">Site name: This field is required.</a>' in html
    assert '<a href="#id_urgency_0">Urgency:' in html
    assert html.index("The contract ends before it starts.") < html.index('name="name"')
    assert 'id="id_name_error"' in html
    assert 'aria-describedby="id_name_helptext id_name_error"' in html
    assert 'aria-invalid="true"' in html
    for target in re.findall(r'href="#([^"]+)"', html):
        assert f'id="{target}"' in html


def test_an_error_of_a_hidden_field_is_said_as_well():
    html = html_of(Booking(data={"name": "x", "urgency": "low", "secret": ""}))

    assert "<li>This field is required.</li>" in html


def test_a_form_without_errors_has_no_summary():
    assert "data-error-summary" not in html_of(Booking())


def test_a_set_of_forms_keeps_its_count_and_its_own_errors():
    lines = forms.formset_factory(Booking, min_num=1, validate_min=True)
    html = html_of(lines(data={"form-TOTAL_FORMS": "0", "form-INITIAL_FORMS": "0"}))

    assert 'name="form-TOTAL_FORMS"' in html
    assert "Please submit at least 1 form." in html
