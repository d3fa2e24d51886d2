"""What is put to the client's manager: one text from which the page is drawn and the hash is made.

A sign-off is bound to the SHA-256 of the sheet, so whatever the page shows of an action before it
is decided is in here and nowhere else.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

from accounts.models import Company
from accounts.sealing import canonical, digest
from compliance.economics.costs import Comparison, Way, compare
from compliance.models import ActionOption, ActionPhoto, CorrectiveAction

USUAL_YEARS = 5
CENT = Decimal("0.01")


@dataclass(frozen=True)
class Sheet:
    """An action as it is put to the client. ``facts`` are on record, the comparison is computed."""

    action: CorrectiveAction
    options: Sequence[ActionOption]
    facts: dict[str, Any]
    comparison: Comparison
    currency: str

    @cached_property
    def text(self) -> str:
        """The exact text: canonical JSON of the facts and of the figures worked out from them."""
        return canonical({"facts": self.facts, "figures": figures_of(self.comparison)})

    @cached_property
    def hash(self) -> str:
        """SHA-256 of the text."""
        return digest(self.text)


def sheet_of(action: CorrectiveAction, *, years: int = USUAL_YEARS) -> Sheet:
    """The sheet of an action as it stands now, its costs over so many years (1 to 10).

    Three queries, and one each for the site, client, zone and visit where they are not at hand.
    """
    options = list(action.options.filter(withdrawn_at=None).order_by("position", "pk"))
    photos = (
        ActionPhoto.objects.filter(action=action, moment=ActionPhoto.Moment.BEFORE)
        .order_by("photo__sha256")
        .values_list("photo__sha256", flat=True)
    )
    currency = currency_in_use()
    return Sheet(
        action=action,
        options=options,
        facts=facts_of(action, options, list(photos), currency),
        comparison=compare([way_of(option) for option in options], years=years),
        currency=currency,
    )


def currency_in_use() -> str:
    """The company's currency as three letters. One query."""
    code = Company.objects.values_list("currency", flat=True).first()
    return code or Company._meta.get_field("currency").default


def way_of(option: ActionOption) -> Way:
    """An option as the cost comparison knows it."""
    return Way(
        key=str(option.pk),
        label=f"{option.position}. {option.get_kind_display()}",
        once=option.cost_once,
        monthly=option.cost_monthly,
        life_months=option.life_years * 12 if option.life_years else None,
    )


def facts_of(
    action: CorrectiveAction,
    options: Sequence[ActionOption],
    photos: Sequence[str],
    currency: str,
) -> dict[str, Any]:
    """Everything on record that is put to the client. Days are in the site's own zone."""
    site = action.site
    return {
        "action": action.pk,
        "number": action.number,
        "revision": action.revision,
        "client": site.client.name,
        "site": {"id": site.pk, "name": site.name, "address": site.address},
        "zone": action.zone.name if action.zone else None,
        "kind": action.kind,
        "title": action.title,
        "detail": action.detail,
        "whose_move": action.whose_move,
        "raised_on": site.day_of(action.raised_at),
        "found_on_visit": str(action.visit) if action.visit else None,
        "due_on": action.due_on,
        "photos_before": list(photos),
        "currency": currency,
        "options": [
            {
                "option": option.pk,
                "position": option.position,
                "kind": option.kind,
                "description": option.description,
                "cost_once": option.cost_once.quantize(CENT),
                "cost_monthly": option.cost_monthly.quantize(CENT),
                "life_years": option.life_years,
                "remaining_risk": option.remaining_risk,
            }
            for option in options
        ],
    }


def figures_of(comparison: Comparison) -> dict[str, Any]:
    """The figures that the page shows beside the options."""
    meeting = comparison.break_even
    return {
        "years": comparison.years,
        "ways": [
            {
                "option": line.way.key,
                "renewals": line.renewals,
                "total": line.total.quantize(CENT),
                "per_year": line.per_year,
            }
            for line in comparison.lines
        ],
        "break_even": meeting
        and {
            "dearer_now": meeting.dearer_now.key,
            "cheaper_now": meeting.cheaper_now.key,
            "month": meeting.month,
            "saved": meeting.saved.quantize(CENT),
        },
    }


@dataclass(frozen=True, slots=True)
class YearRow:
    """What each way has cost by the end of one year; year 0 is the day of the decision."""

    year: int
    costs: list[Decimal]


def by_year(comparison: Comparison) -> list[YearRow]:
    """The comparison's lines as a table, one row a year."""
    return [
        YearRow(year, [line.by_month[year * 12] for line in comparison.lines])
        for year in range(comparison.years + 1)
    ]


def break_even_in_words(sheet: Sheet) -> str:
    """Whether and when the way that is dearer now has paid for itself; empty for fewer than two."""
    meeting = sheet.comparison.break_even
    if meeting is None:
        return ""
    dearer, cheaper = meeting.dearer_now.label, meeting.cheaper_now.label
    years = sheet.comparison.years
    if meeting.month is None:
        more = f"{sheet.currency} {-meeting.saved:,.2f}"
        return (
            f"“{dearer}” costs more now than “{cheaper}” and does not pay for itself within "
            f"{years} {'year' if years == 1 else 'years'}: by then it has cost {more} more."
        )
    saved = f"{sheet.currency} {meeting.saved:,.2f}"
    if meeting.month == 0:
        return f"“{dearer}” never costs more than “{cheaper}”; by the end it has saved {saved}."
    return (
        f"“{dearer}” costs more now than “{cheaper}”, has paid for itself by the end of month "
        f"{meeting.month} and has saved {saved} by the end."
    )
