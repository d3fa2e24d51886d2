"""By which rules the records of a site are judged."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from visits.dosing.rules import CONDITION_WORDS, ELEMENTS, RULE_SETS, UNION, RuleSet
from visits.models import ChosenRules
from visits.models.record_rules import COMPANY


def rules_at(site_ids: Iterable[UUID]) -> Mapping[UUID, RuleSet]:
    """By site, the set that was chosen for it, else the company's, else the union. One query."""
    wanted = list(site_ids)
    rows = ChosenRules.objects.filter(Q(site__isnull=True) | Q(site__in=wanted))
    chosen = {row.site_id: RULE_SETS.get(row.rule_set, UNION) for row in rows}
    of_company = chosen.get(None, UNION)
    return {site_id: chosen.get(site_id, of_company) for site_id in wanted}


def company_rules() -> RuleSet:
    """The set that holds wherever no site has one of its own. One query."""
    row = ChosenRules.objects.filter(scope=COMPANY).first()
    return RULE_SETS.get(row.rule_set, UNION) if row else UNION


@dataclass(frozen=True, slots=True)
class ShownElement:
    """One element as a page lists it; ``when`` is empty for what is always asked."""

    label: str
    when: str
    confirmed: str


@dataclass(frozen=True, slots=True)
class ShownRules:
    """One set of rules as a page shows it."""

    rule_set: RuleSet
    elements: Sequence[ShownElement]

    @property
    def is_sure(self) -> bool:
        """Whether all of it was read in the rule itself, or is ours."""
        told = {one.confirmed for one in self.elements}
        told |= {self.rule_set.deadline_confirmed, self.rule_set.retention_confirmed}
        return told <= {"text-seen", "ours"}


def shown_rules() -> Sequence[ShownRules]:
    """Every set, the union first, with how far each fact was confirmed. No query."""
    return [
        ShownRules(
            one,
            [
                ShownElement(
                    label=ELEMENTS[name].label,
                    when=CONDITION_WORDS.get(ELEMENTS[name].when, ""),
                    confirmed=one.confirmed_of(name),
                )
                for name in one.elements
            ],
        )
        for one in RULE_SETS.values()
    ]
