"""What is put to the client's manager: one text from which the page is drawn and the hash is made.

A sign-off is bound to the SHA-256 of the sheet, so whatever the page shows of an action before it
is decided is in here and nowhere else.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any
from uuid import UUID

from accounts.models import Company
from accounts.sealing import canonical, digest
from compliance.economics.costs import Comparison, Way
from compliance.economics.ranges import Range, RangedWay, Spread, exactly, spread
from compliance.economics.turning import Turn, turning_points
from compliance.economics.worth import Terms, Weighed, as_spent, in_todays_money, weigh
from compliance.models import ActionOption, ActionPhoto, CorrectiveAction

CENT = Decimal("0.01")
MOST_TURNS = 4


@dataclass(frozen=True)
class Sheet:
    """An action as it is put to the client. ``facts`` are on record, all else is computed."""

    action: CorrectiveAction
    options: Sequence[ActionOption]
    facts: dict[str, Any]
    terms: Terms
    currency: str

    @cached_property
    def ways(self) -> list[Way]:
        """The options as the economics know them. Doing nothing is left out: it has no price."""
        return [way_of(option) for option in self.options if has_a_price(option)]

    @cached_property
    def weighed(self) -> Weighed | None:
        """The options under the action's terms; None where there is none yet."""
        return weigh(self.ways, self.terms) if self.ways else None

    @cached_property
    def comparison(self) -> Comparison:
        """What each option costs as money is spent."""
        if self.weighed is None:
            return Comparison(self.terms.years, self.terms.months, (), None)
        return as_spent(self.weighed)

    @cached_property
    def today(self) -> Comparison:
        """The same in today's money."""
        if self.weighed is None:
            return self.comparison
        return in_todays_money(self.weighed)

    @cached_property
    def spread(self) -> Spread | None:
        """What the options may cost, where any of them is given as a range."""
        if not any(is_ranged(option) for option in self.options):
            return None
        ways = [ranged_way_of(option) for option in self.options if has_a_price(option)]
        return spread(ways, self.terms, seed=seed_of(self.action))

    @cached_property
    def turns(self) -> Sequence[Turn]:
        """What would turn the ranking, the nearest first."""
        return turning_points(self.ways, self.terms)[:MOST_TURNS] if self.ways else ()

    @cached_property
    def text(self) -> str:
        """The exact text: canonical JSON of the facts and of the figures worked out from them."""
        return canonical({"facts": self.facts, "figures": figures_of(self)})

    @cached_property
    def hash(self) -> str:
        """SHA-256 of the text."""
        return digest(self.text)


def sheet_of(action: CorrectiveAction, *, years: int | None = None) -> Sheet:
    """The sheet of an action as it stands now, its costs over so many years (1 to 10).

    Unless years are given they are the action's own.

    Three queries, and one each for the site, client, zone and visit where they are not at hand.
    """
    return sheets_of([action], years=years)[0]


def sheets_of(actions: Sequence[CorrectiveAction], *, years: int | None = None) -> list[Sheet]:
    """The sheets of several actions, in their order. As many queries as for one."""
    options: dict[UUID, list[ActionOption]] = {action.pk: [] for action in actions}
    live = ActionOption.objects.filter(action__in=actions, withdrawn_at=None)
    for option in live.order_by("position", "pk"):
        options[option.action_id].append(option)
    photos: dict[UUID, list[str]] = {action.pk: [] for action in actions}
    shown = ActionPhoto.objects.filter(action__in=actions, moment=ActionPhoto.Moment.BEFORE)
    for action_id, sha256 in shown.order_by("photo__sha256").values_list(
        "action_id", "photo__sha256"
    ):
        photos[action_id].append(sha256)
    currency = currency_in_use()
    return [
        Sheet(
            action=action,
            options=options[action.pk],
            facts=facts_of(action, options[action.pk], photos[action.pk], currency),
            terms=Terms(years or action.horizon_years, action.yearly_rate, action.yearly_growth),
            currency=currency,
        )
        for action in actions
    ]


def currency_in_use() -> str:
    """The company's currency as three letters. One query."""
    code = Company.objects.values_list("currency", flat=True).first()
    return code or Company._meta.get_field("currency").default


def has_a_price(option: ActionOption) -> bool:
    """Whether an option can be weighed. What doing nothing may cost nobody knows; its risk stands
    in words, and a price of nothing would make it look the cheapest."""
    return option.kind != ActionOption.Kind.NOTHING


def way_of(option: ActionOption) -> Way:
    """An option as the cost comparison knows it."""
    return Way(
        key=str(option.pk),
        label=f"{option.position}. {option.get_kind_display()}",
        once=option.cost_once,
        monthly=option.cost_monthly,
        life_months=option.life_years * 12 if option.life_years else None,
    )


def is_ranged(option: ActionOption) -> bool:
    """Whether anything of an option is given as a range."""
    return any(
        low is not None
        for low in (option.cost_once_low, option.cost_monthly_low, option.life_years_low)
    )


def ranged_way_of(option: ActionOption) -> RangedWay:
    """An option with its ranges; what is given as one value is known exactly."""
    life = None
    if option.life_years:
        low, high = option.life_years_low, option.life_years_high
        life = Range(*(Decimal(12 * (one or option.life_years)) for one in (low, None, high)))
    return RangedWay(
        key=str(option.pk),
        label=way_of(option).label,
        once=_range(option.cost_once_low, option.cost_once, option.cost_once_high),
        monthly=_range(option.cost_monthly_low, option.cost_monthly, option.cost_monthly_high),
        life_months=life,
    )


def _range(low: Decimal | None, likely: Decimal, high: Decimal | None) -> Range:
    if low is None or high is None:
        return exactly(likely)
    return Range(low, likely, high)


def seed_of(action: CorrectiveAction) -> int:
    """The seed of an action's draws: the same for whoever looks, another for each revision."""
    return (action.pk.int + action.revision) % 2**63


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
        "terms": {
            "years": action.horizon_years,
            "yearly_rate": action.yearly_rate.normalize(),
            "yearly_growth": action.yearly_growth.normalize(),
        },
        "options": [
            {
                "option": option.pk,
                "position": option.position,
                "kind": option.kind,
                "description": option.description,
                "cost_once": option.cost_once.quantize(CENT),
                "cost_monthly": option.cost_monthly.quantize(CENT),
                "life_years": option.life_years,
                "ranges": _ranges_of(option),
                "effect": {
                    "percent": option.effect_percent,
                    "basis": option.effect_basis,
                    "words": option.effect_words,
                },
                "remaining_risk": option.remaining_risk,
                "working": option.working,
            }
            for option in options
        ],
    }


def _ranges_of(option: ActionOption) -> dict[str, Any]:
    """What of an option is given as a range, as low and high."""
    lows_and_highs = {
        "cost_once": (option.cost_once_low, option.cost_once_high),
        "cost_monthly": (option.cost_monthly_low, option.cost_monthly_high),
        "life_years": (option.life_years_low, option.life_years_high),
    }
    return {
        name: [
            low.quantize(CENT) if isinstance(low, Decimal) else low,
            high.quantize(CENT) if isinstance(high, Decimal) else high,
        ]
        for name, (low, high) in lows_and_highs.items()
        if low is not None
    }


def figures_of(sheet: Sheet) -> dict[str, Any]:
    """The figures that the page shows beside the options."""
    meeting, discounted = sheet.comparison.break_even, sheet.today.break_even
    return {
        "years": sheet.terms.years,
        "ways": [
            {
                "option": line.way.key,
                "renewals": line.renewals,
                "total": line.total.quantize(CENT),
                "per_year": line.per_year,
                "present": today.total.quantize(CENT),
                "yearly_equivalent": today.per_year,
            }
            for line, today in zip(sheet.comparison.lines, sheet.today.lines, strict=True)
        ],
        "break_even": meeting
        and {
            "dearer_now": meeting.dearer_now.key,
            "cheaper_now": meeting.cheaper_now.key,
            "month": meeting.month,
            "saved": meeting.saved.quantize(CENT),
        },
        "break_even_in_todays_money": discounted
        and {"month": discounted.month, "saved": discounted.saved.quantize(CENT)},
        "spread": sheet.spread and asdict(sheet.spread),
        "turns": [asdict(turn) for turn in sheet.turns],
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


def break_even_in_words(comparison: Comparison, currency: str) -> str:
    """Whether and when the way that is dearer now has paid for itself; empty for fewer than two."""
    meeting = comparison.break_even
    if meeting is None:
        return ""
    dearer, cheaper = meeting.dearer_now.label, meeting.cheaper_now.label
    years = comparison.years
    if meeting.month is None:
        more = f"{currency} {-meeting.saved:,.2f}"
        return (
            f"“{dearer}” costs more now than “{cheaper}” and does not pay for itself within "
            f"{years} {'year' if years == 1 else 'years'}: by then it has cost {more} more."
        )
    saved = f"{currency} {meeting.saved:,.2f}"
    if meeting.month == 0:
        return f"“{dearer}” never costs more than “{cheaper}”; by the end it has saved {saved}."
    return (
        f"“{dearer}” costs more now than “{cheaper}”, has paid for itself by the end of month "
        f"{meeting.month} and has saved {saved} by the end."
    )


def terms_in_words(terms: Terms) -> str:
    """Under what the options are weighed, as a sentence."""
    years = "1 year" if terms.years == 1 else f"{terms.years} years"
    if not terms.yearly_rate and not terms.yearly_growth:
        return f"Over {years}; neither interest nor growing prices are counted."
    return (
        f"Over {years}, at {percent(terms.yearly_rate)} interest a year and prices that grow by "
        f"{percent(terms.yearly_growth)} a year."
    )


def percent(share: Decimal) -> str:
    """A fraction as percent, without nils at its end."""
    text = f"{share * 100:.2f}".rstrip("0").rstrip(".")
    return f"{text} %"


def turn_in_words(turn: Turn, sheet: Sheet) -> str:
    """What would have to be otherwise for another option to be the cheapest."""
    labels = {way.key: way.label for way in sheet.ways}
    winner = f"“{labels[turn.then_cheapest]}” would cost least"
    if turn.key is None:
        if turn.what == "years":
            return f"Looked at over {_count(int(turn.at), 'year')}, {winner}."
        name = "interest" if turn.what == "yearly_rate" else "price growth"
        side = "from" if turn.at > turn.now else "down to"
        return f"With {name} {side} {percent(turn.at)} a year, {winner}."
    label = labels[turn.key]
    if turn.what == "life_months":
        return f"If “{label}” lasted {_count(int(turn.at), 'month')}, {winner}."
    when = "now" if turn.what == "once" else "each month"
    side = "more" if turn.at > turn.now else "less"
    return f"If “{label}” cost {sheet.currency} {turn.at:,.2f} {when} or {side}, {winner}."


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


@dataclass(frozen=True, slots=True)
class SpreadRow:
    """What one option may cost in today's money, and in how many of a hundred draws it is least."""

    label: str
    p10: Decimal
    p50: Decimal
    p90: Decimal
    least_of_hundred: int


def spread_rows(sheet: Sheet) -> list[SpreadRow]:
    """The spread as a table; empty where every value is given as one."""
    if sheet.spread is None:
        return []
    labels = {way.key: way.label for way in sheet.ways}
    return [
        SpreadRow(labels[one.key], one.p10, one.p50, one.p90, round(one.cheapest * 100))
        for one in sheet.spread.ways
    ]


def payback_spread_in_words(sheet: Sheet) -> str:
    """By when the dearest start has paid for itself, where values are ranges; or empty."""
    back = sheet.spread.payback if sheet.spread else None
    if back is None:
        return ""
    labels = {way.key: way.label for way in sheet.ways}
    months = [_by_month(one, sheet.terms.years) for one in (back.p10, back.p50, back.p90)]
    return (
        f"“{labels[back.dearer_now]}” against “{labels[back.cheaper_now]}”: in a tenth of the "
        f"draws it has paid for itself {months[0]}, in half {months[1]}, in nine tenths "
        f"{months[2]}."
    )


def _by_month(month: int | None, years: int) -> str:
    if month is None:
        return f"not within {_count(years, 'year')}"
    return "from the start" if month == 0 else f"by month {month}"
