"""Widgets that browsers and phones help with."""

from typing import Any

from django import forms


class TimeInput(forms.TimeInput):
    """A time of day, to the minute."""

    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


class MonthInput(forms.DateInput):
    """A month, as browsers offer it; any day of the month will do."""

    input_type = "month"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m", **kwargs)


class ShortText(forms.Textarea):
    """A few lines."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__({"rows": 3, **kwargs})
