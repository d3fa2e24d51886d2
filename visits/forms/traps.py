"""What may be typed of senders of electronic traps."""

from django import forms


class TrapSenderForm(forms.Form):
    """What is to report."""

    name = forms.CharField(
        label="Name",
        max_length=80,
        help_text="Where it hangs or whose service it is, as “Gateway in the attic”.",
    )
