"""Under what options are weighed: set by the office, kept with each action when it is priced."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable
from accounts.trail import record
from compliance.access import require_may_keep_prices
from compliance.economics.costs import LONGEST_YEARS, SHORTEST_YEARS
from compliance.models import MoneyTerms
from compliance.queries.money_terms import terms_in_force

LOWEST, HIGHEST = Decimal("-0.10"), Decimal("0.50")


@dataclass(frozen=True, slots=True)
class TermsGiven:
    """Interest and price growth as fractions a year, years looked at, and where they are from."""

    yearly_rate: Decimal
    yearly_growth: Decimal
    years: int
    basis: str


@transaction.atomic
def set_money_terms(given: TermsGiven, *, by: User, at: datetime | None = None) -> None:
    """Set what holds for options priced from now on, as the office. The same again changes nothing.

    Raises ``NotAllowed``, ``Unusable`` outside -10 to 50 % a year or 1 to 10 years, and without a
    basis.
    """
    require_may_keep_prices(by)
    for name, rate in (("interest", given.yearly_rate), ("price growth", given.yearly_growth)):
        if not LOWEST <= rate <= HIGHEST:
            raise Unusable(f"The {name} lies between -10 and 50 percent a year.")
    if not SHORTEST_YEARS <= given.years <= LONGEST_YEARS:
        raise Unusable("Options are weighed over 1 to 10 years.")
    basis = given.basis.strip()
    if not basis:
        raise Unusable("Say where the figures are from; clients may ask.", code="text_missing")
    was = terms_in_force()
    now = (given.years, given.yearly_rate, given.yearly_growth)
    last = MoneyTerms.objects.order_by("-set_at", "-pk").first()
    if last and (was, last.basis) == (now, basis):
        return
    at = at or timezone.now()
    terms = MoneyTerms.objects.create(
        yearly_rate=given.yearly_rate,
        yearly_growth=given.yearly_growth,
        years=given.years,
        basis=basis,
        set_at=at,
        set_by=by,
    )
    record(by, "money_terms.set", terms, at=at, old=was, new=now, basis=basis)
