"""Choosing the rules by which the records of applications are judged when a visit closes."""

from uuid import UUID

from django.db import transaction

from accounts.access import require_administrator
from accounts.models import Company, User
from accounts.refusals import Unusable
from accounts.services.company import company_in_use
from accounts.trail import record
from sites.models import Site
from visits.access import require_may_choose_rules
from visits.dosing.rules import RULE_SETS, UNION
from visits.models import ChosenRules
from visits.models.record_rules import COMPANY


@transaction.atomic
def choose_rules(rule_set: str, *, by: User) -> None:
    """Let a set of rules hold wherever a site has none of its own.

    Records that are sealed keep what was made of them. Raises ``NotAllowed`` for anybody but an
    administrator, ``Unusable`` for a set that there is not.
    """
    require_administrator(by)
    chosen = _known(rule_set)
    company = Company.objects.select_for_update().first() or company_in_use()
    before = ChosenRules.objects.filter(scope=COMPANY).values_list("rule_set", flat=True).first()
    if (before or UNION.slug) == chosen:
        return
    ChosenRules.objects.update_or_create(scope=COMPANY, defaults={"rule_set": chosen})
    _told(by, company, chosen, before or UNION.slug)


@transaction.atomic
def choose_rules_at(site_id: UUID, rule_set: str, *, by: User) -> None:
    """Let a set of rules hold at one site; an empty ``rule_set`` goes by the company's again.

    Raises ``NotAllowed`` for anybody but the office, ``Unusable`` for a set that there is not.
    """
    require_may_choose_rules(by)
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    chosen = _known(rule_set) if rule_set else ""
    own = ChosenRules.objects.filter(site=site)
    before = own.values_list("rule_set", flat=True).first() or ""
    if before == chosen:
        return
    if chosen:
        ChosenRules.objects.update_or_create(
            scope=str(site.pk), defaults={"site": site, "rule_set": chosen}
        )
    else:
        own.delete()
    _told(by, site, chosen, before)


def _known(rule_set: str) -> str:
    if rule_set not in RULE_SETS:
        raise Unusable("Choose one of the sets of rules that are listed.", field="rule_set")
    return rule_set


def _told(by: User, target: Company | Site, chosen: str, before: str) -> None:
    """``chosen`` and ``before`` are slugs; empty is for as the company has it."""
    record(
        by,
        "record_rules.chosen",
        target,
        rules=_title(chosen),
        edition=RULE_SETS[chosen].edition if chosen else "",
        instead_of=_title(before),
    )


def _title(slug: str) -> str:
    known = RULE_SETS.get(slug)
    return known.title if known else slug or "as the company has it"
