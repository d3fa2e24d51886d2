"""Putting on file what was agreed for a site."""

from datetime import date
from decimal import Decimal
from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction

from accounts.models import User
from accounts.refusals import Unusable
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from sites.models import Contract, Site
from sites.queries import people_to_escalate_to
from sites.services.sites import require_open_site, site_to_keep


class ContractFacts(TypedDict, total=False):
    """What may be said of a contract. Money is in the company's currency."""

    number: str
    starts_on: date
    ends_on: date | None
    scope: str
    response_hours: int
    call_out_price: Decimal
    remind_days: int | None
    remind_every_days: int | None
    escalate_days: int | None
    escalate_to: User | None
    internal_note: str


@transaction.atomic
def add_contract(site_id: UUID, *, by: User, **facts: Unpack[ContractFacts]) -> Contract:
    """Put a contract on file; ``number`` and ``starts_on`` are needed.

    Raises ``Taken`` for a number that the site has already, ``Unusable`` for reminders and
    escalation that do not go together.
    """
    site = site_to_keep(site_id, by=by)
    require_open_site(site)
    _require_told(facts.get("escalate_to"), site)
    contract = Contract(site=site, **facts)
    keep_new(contract)
    record(
        by,
        "contract.added",
        contract,
        starts_on=contract.starts_on,
        ends_on=contract.ends_on,
    )
    return contract


@transaction.atomic
def change_contract(
    contract_id: UUID, *, by: User, seen: str = "", **facts: Unpack[ContractFacts]
) -> Contract:
    """Change what is on file for a contract; its service lines have verbs of their own."""
    contract = Contract.objects.get(pk=contract_id)
    site = site_to_keep(contract.site_id, by=by)
    contract = Contract.objects.select_for_update().get(pk=contract_id)
    told = facts.get("escalate_to")
    if told and told.pk != contract.escalate_to_id:
        _require_told(told, site)
    changed = keep_changes(contract, facts, seen=seen)
    if changed:
        record(by, "contract.changed", contract, changed=changed)
    return contract


def _require_told(person: User | None, site: Site) -> None:
    """Raise ``Unusable`` for anybody who may not be told of what is undecided at the site."""
    if person and not people_to_escalate_to(site).filter(pk=person.pk).exists():
        raise Unusable(
            f"{person} does not see {site}; choose a manager of the client or a person of the "
            "office who does.",
            code="escalate_to_unfit",
        )
