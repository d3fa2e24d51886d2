"""Options drafted from the price list, the contract and the record; the office has the last word.

What is drafted fills the fields of the pricing page. How its sums came about is kept with each
option as its working: plain JSON, as prices and counts stood that day.
Docs: docs/algorithms/two-ways.md (What the work costs, What carrying on costs).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable
from compliance.economics.ranges import Range, exactly
from compliance.economics.working import WorkLine, work_out
from compliance.models import ActionOption, CorrectiveAction, Remedy
from compliance.queries.burden import CENT, Burden, burden_of, in_force
from compliance.queries.own_history import saved_by_proofing
from compliance.services.actions import OptionGiven
from compliance.trends.rates import limits
from sites.models import Contract, ServiceLine, Site

Kind = ActionOption.Kind
Basis = ActionOption.Basis

LEAST_DAYS = 90
"""From fewer days of record no cost of a month is drafted: a quarter, ours; no source."""

CONFIDENCE = 0.8
"""How often the limits of a count hold the true one: four times of five, ours; no source."""

FREE = exactly(Decimal("0.00"))

RISKS = {
    Kind.LASTING: "Little, as long as it is kept whole and nothing new is led through.",
    Kind.INTERIM: "It holds for a time only; once it gives way they are back.",
    Kind.CARRY_ON: "They go on getting in; between visits their numbers can rise.",
    Kind.NOTHING: (
        "All of it: pests keep their way in and their shelter. What that may cost, such as spoiled "
        "goods, lost trade or a closed kitchen, stands in no figure here."
    ),
}


@dataclass(frozen=True, slots=True)
class Chosen:
    """So much of one priced remedy, in its unit."""

    remedy: Remedy
    quantity: Range


@dataclass(frozen=True, slots=True)
class WayWanted:
    """The work of one way: what is chosen, how many visits are charged for, what it is to save.

    ``effect_percent`` is an assumption that the office owns, with its words; None: what own history
    says, or nothing.
    """

    chosen: Sequence[Chosen]
    visits: int = 0
    effect_percent: int | None = None
    effect_words: str = ""


@dataclass(frozen=True, slots=True)
class AgreedPrice:
    """A price of the site's contracts for one attendance; ``key`` is how the form names it."""

    key: str
    words: str
    price: Decimal


@dataclass(frozen=True, slots=True)
class Draft:
    """One option as drafted: first values of its fields, and how its sums came about."""

    kind: str
    fields: dict[str, Any]
    working: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the office wants worked out. No ``interim`` without anything chosen for it."""

    lasting: WayWanted
    interim: WayWanted | None = None
    visit_price: AgreedPrice | None = None
    with_nothing: bool = True


def agreed_prices(site: Site, on: date) -> list[AgreedPrice]:
    """What the contracts in force say of one attendance, call-outs first. Two queries."""
    contracts = Contract.objects.filter(in_force("starts_on", "ends_on", on), site=site)
    found = [
        AgreedPrice(f"call_out:{one.pk}", f"Call-out, {one}", one.call_out_price)
        for one in contracts.order_by("starts_on", "number", "pk")
        if one.call_out_price
    ]
    lines = ServiceLine.objects.filter(
        in_force("first_on", "last_on", on),
        in_force("contract__starts_on", "contract__ends_on", on),
        contract__site=site,
        price__gt=0,
    ).select_related("contract")
    return found + [
        AgreedPrice(f"line:{one.pk}", f"{one.title}, {one.contract}", one.price)
        for one in lines.order_by("title", "pk")
    ]


def drafted(
    action: CorrectiveAction, wanted: Wanted, *, by: User, now: datetime | None = None
) -> list[Draft]:
    """The options, in their order: lasting, interim, carrying on, nothing.

    At most 29 queries. Raises ``Unusable`` where labour is needed and has no price.
    """
    now = now or timezone.now()
    on = action.site.day_of(now)
    burden = burden_of(action.site, zone=action.zone, from_on=a_year_before(on), to_on=on)
    monthly = monthly_of(burden)
    hour = _hour()
    lasting = _with_own_history(action, wanted.lasting, by=by, now=now)
    drafts = [_work(Kind.LASTING, lasting, wanted.visit_price, hour, monthly)]
    if wanted.interim:
        interim = _Saving(wanted.interim, wanted.interim.effect_percent, Basis.ASSUMPTION)
        drafts.append(_work(Kind.INTERIM, interim, wanted.visit_price, hour, monthly))
    drafts.append(_carry_on(action, burden, monthly))
    if wanted.with_nothing:
        words = f"Do nothing about it, knowingly: {action.title}"
        fields = _fields(Kind.NOTHING, words, cost_once=FREE, cost_monthly=FREE)
        drafts.append(Draft(Kind.NOTHING, fields))
    return drafts


def a_year_before(on: date) -> date:
    """The first of the twelve months that end with a day; after a leap day the first of March."""
    try:
        return on.replace(year=on.year - 1) + timedelta(days=1)
    except ValueError:
        return date(on.year - 1, 3, 1)


# --- carrying on --------------------------------------------------------------------------------


def monthly_of(burden: Burden) -> Range | None:
    """What a place costs a month beyond the contract, a twelfth of the year; None if not known.

    A record shorter than what was asked is taken on in proportion. Lowest and highest are the mean
    price of a visit times the exact limits of so many (Garwood 1936, at four times of five); where
    there was no visit there is no mean, and nothing is the only value.
    """
    if burden.money is None or burden.days < LEAST_DAYS:
        return None
    priced = sum(one.price is not None for one in burden.attendances)
    share = Decimal((burden.to_on - burden.from_on).days + 1) / burden.days / 12
    if not priced or not burden.money:
        return exactly(_to_cents(burden.money * share))
    lower, upper = (float(one) for one in limits(priced, confidence=CONFIDENCE))
    low, likely, high = (
        _to_cents(burden.money * share * Decimal(repr(visits)) / priced)
        for visits in (lower, float(priced), upper)
    )
    return Range(low, likely, high)


def _carry_on(action: CorrectiveAction, burden: Burden, monthly: Range | None) -> Draft:
    place = action.zone.name if action.zone else "the whole site"
    counted = (
        f"{_count(burden.call_outs, 'call-out')}, {_count(burden.extra_visits, 'extra visit')} and "
        f"{_count(burden.treatments, 'treatment')}"
    )
    words = (
        f"Carry on treating {place} as need arises, as in the last 12 months: {counted}, beyond "
        "what the contract covers."
        if burden.days
        else f"Carry on treating {place} as need arises, beyond what the contract covers."
    )
    working = {
        "from": "record",
        "place": place,
        "from_on": burden.from_on.isoformat(),
        "to_on": burden.to_on.isoformat(),
        "days": burden.days,
        "call_outs": burden.call_outs,
        "extra_visits": burden.extra_visits,
        "treatments": burden.treatments,
        "money": None if burden.money is None else str(burden.money),
        "monthly": _plain(monthly) if monthly else None,
        "how": [*burden.how, *_how_monthly(burden, monthly)],
        "missing": list(burden.missing),
    }
    fields = _fields(Kind.CARRY_ON, words, cost_once=FREE, cost_monthly=monthly)
    return Draft(Kind.CARRY_ON, fields, working)


def _how_monthly(burden: Burden, monthly: Range | None) -> list[str]:
    if monthly is None:
        return [f"No cost of a month is drafted from that: it takes prices and {LEAST_DAYS} days."]
    asked = (burden.to_on - burden.from_on).days + 1
    shorter = f", taken on from {burden.days} days to {asked}" if burden.days < asked else ""
    said = [f"Each month: a twelfth of the sum{shorter}."]
    if monthly.low != monthly.high:
        said.append(
            "Lowest and highest: the mean price of a visit times the limits that hold the true "
            "number of such visits in four cases of five (Garwood 1936)."
        )
    return said


# --- work ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Saving:
    """A way with the effect that it is drafted with, and on what that stands."""

    wanted: WayWanted
    percent: int | None
    basis: str
    words: str = ""


def _with_own_history(
    action: CorrectiveAction, wanted: WayWanted, *, by: User, now: datetime
) -> _Saving:
    """The office's assumption if it made one, else what was measured at its sites, else nothing."""
    pest = action.finding.pest if action.finding else None
    if wanted.effect_percent is None and pest is not None:
        history = saved_by_proofing(by, pest.group, now=now)
        if history:
            return _Saving(wanted, history.percent, Basis.OWN_HISTORY, history.words)
    return _Saving(wanted, wanted.effect_percent, Basis.ASSUMPTION)


def _hour() -> Range | None:
    labour = Remedy.objects.filter(holds=Remedy.Holds.LABOUR, ended_at=None).first()
    return price_of(labour) if labour and labour.price is not None else None


def price_of(remedy: Remedy) -> Range:
    """A remedy's price as a range. Raises ``ValueError`` for one without."""
    if remedy.price is None:
        raise ValueError(f"{remedy} has no price")
    if remedy.price_low is None or remedy.price_high is None:
        return exactly(remedy.price)
    return Range(remedy.price_low, remedy.price, remedy.price_high)


def _work(
    kind: str,
    saving: _Saving,
    visit: AgreedPrice | None,
    hour: Range | None,
    carried: Range | None,
) -> Draft:
    chosen, visits = saving.wanted.chosen, saving.wanted.visits if visit else 0
    if hour is None and any(one.remedy.minutes for one in chosen):
        raise Unusable(
            "What was chosen takes labour. Give the price of an hour of labour on the price list "
            "first.",
            code="labour_without_price",
        )
    worked = work_out(
        [
            WorkLine(
                one.remedy.name,
                one.quantity,
                price_of(one.remedy),
                Decimal(one.remedy.minutes),
            )
            for one in chosen
        ],
        hour=hour,
        visits=visits,
        visit_price=visit.price if visit else Decimal(0),
    )
    life = _life_of([one.remedy for one in chosen])
    effect = _effect(saving)
    fields = _fields(
        kind,
        " ".join(f"{one.remedy.name}: {_amount(one)}." for one in chosen),
        cost_once=worked.total,
        cost_monthly=_left_of(carried, saving.percent),
        life=life,
        **effect,
    )
    working = {
        "from": "price_list",
        "lines": [
            {
                "remedy": str(one.remedy.pk),
                "name": one.remedy.name,
                "amount": _amount(one),
                "quantity": _plain(one.quantity),
                "price": _plain(price_of(one.remedy)),
                "minutes": one.remedy.minutes,
                "material": _plain(cost.material),
                "labour": _plain(cost.labour),
                "total": _plain(cost.total),
                "basis": one.remedy.basis,
            }
            for one, cost in zip(chosen, worked.lines, strict=True)
        ],
        "hour": _plain(hour) if hour else None,
        "visits": {
            "number": visits,
            "key": visit.key,
            "words": visit.words,
            "price": str(visit.price),
            "cost": str(worked.visits),
        }
        if visit and visits
        else None,
        "total": _plain(worked.total),
        "how": _how_work(saving, carried, life),
        "cautions": _cautions([one.remedy for one in chosen]),
    }
    return Draft(kind, fields, working)


def _left_of(carried: Range | None, percent: int | None) -> Range | None:
    """What of the cost of carrying on is left; None where nobody knows what is saved."""
    if carried is None or percent is None:
        return None
    left = Decimal(100 - percent) / 100
    return Range(*(_to_cents(one * left) for one in (carried.low, carried.likely, carried.high)))


def _effect(saving: _Saving) -> dict[str, Any]:
    if saving.percent is None:
        return {}
    return {
        "effect_percent": saving.percent,
        "effect_basis": saving.basis,
        "effect_words": saving.words or saving.wanted.effect_words,
    }


def _life_of(remedies: Sequence[Remedy]) -> tuple[int, int, int] | None:
    """The life of the part that wears out first; None where none does."""
    worn = [one for one in remedies if one.life_years]
    if not worn:
        return None
    return (
        min(one.life_years_low or one.life_years or 0 for one in worn),
        min(one.life_years or 0 for one in worn),
        min(one.life_years_high or one.life_years or 0 for one in worn),
    )


def _how_work(
    saving: _Saving, carried: Range | None, life: tuple[int, int, int] | None
) -> list[str]:
    said = ["Each line is rounded to a cent; the total is their sum."]
    if life:
        said.append("It lasts as long as the part of it that wears out first.")
    if saving.percent is not None and carried is not None:
        said.append(
            f"Each month: what is left of carrying on once {saving.percent} % of that is saved."
        )
    return said


def _cautions(remedies: Sequence[Remedy]) -> list[str]:
    lines = [line.strip() for one in remedies for line in one.cautions.splitlines()]
    return list(dict.fromkeys(line for line in lines if line))


# --- words and fields ---------------------------------------------------------------------------


def _fields(
    kind: str,
    description: str,
    *,
    cost_once: Range | None,
    cost_monthly: Range | None,
    life: tuple[int, int, int] | None = None,
    **effect: Any,
) -> dict[str, Any]:
    """First values of the fields of an option; what is not known is left empty."""
    fields: dict[str, Any] = {
        "kind": str(kind),
        "description": description,
        "remaining_risk": RISKS[Kind(kind)],
        **effect,
    }
    for name, one in (("cost_once", cost_once), ("cost_monthly", cost_monthly)):
        if one is not None:
            fields[name] = one.likely
            if one.low != one.high:
                fields[f"{name}_low"], fields[f"{name}_high"] = one.low, one.high
    if life:
        low, fields["life_years"], high = life
        if low != high:
            fields["life_years_low"], fields["life_years_high"] = low, high
    return fields


def _amount(chosen: Chosen) -> str:
    one, unit = chosen.quantity, chosen.remedy.get_unit_display()
    many = one.high != 1 and unit != Remedy.Unit.SQUARE_METRE.label
    between = f" ({_number(one.low)} to {_number(one.high)})" if one.low != one.high else ""
    return f"{_number(one.likely)}{between} {unit}{'s' if many else ''}"


def _number(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _plain(one: Range) -> list[str]:
    return [str(one.low), str(one.likely), str(one.high)]


def _to_cents(money: Decimal) -> Decimal:
    return money.quantize(CENT, rounding=ROUND_HALF_UP)


# --- kept with the options ----------------------------------------------------------------------

WORKED = (
    *("cost_once", "cost_monthly", "life_years"),
    *("cost_once_low", "cost_once_high", "cost_monthly_low", "cost_monthly_high"),
    *("life_years_low", "life_years_high", "effect_percent"),
)


def with_workings(given: Sequence[OptionGiven], drafts: Sequence[Draft]) -> list[OptionGiven]:
    """The options with their workings: for each draft the first option of its kind gets its own.

    A working says whether the office has put another figure in the option than was worked out.
    """
    left = {one.kind: one for one in drafts if one.working}
    found = []
    for option in given:
        draft = left.pop(option.kind, None)
        if draft:
            otherwise = any(getattr(option, name) != draft.fields.get(name) for name in WORKED)
            found.append(replace(option, working={**draft.working, "otherwise": otherwise}))
        else:
            found.append(option)
    return found


def cautions_of(options: Sequence[ActionOption]) -> list[str]:
    """The cautions of everything that was chosen for any of the options, each once."""
    lines = [line for one in options for line in one.working.get("cautions", ())]
    return list(dict.fromkeys(lines))
