"""The application register, gathered for a paper."""

from collections.abc import Iterable
from datetime import datetime

from accounts.models import Company, Role, User
from compliance.queries.site_file import company_facts
from compliance.sitefile import content
from sites.models import Site
from visits.application_record import LABELS, Application, labels_of, said_of
from visits.dosing.rules import RULE_SETS
from visits.queries.application_register import Narrowed, in_words


def register_paper(
    rows: Iterable[Application],
    asked: Narrowed,
    *,
    site: Site | None,
    by: User,
    now: datetime,
) -> content.ApplicationRegister:
    """The paper's content. Three queries, besides that of the rows."""
    company = Company.objects.first()
    return content.ApplicationRegister(
        company=company_facts(),
        title=site.name if site else "All sites",
        narrowed=in_words(asked),
        made=content.Made(
            at=now, by=by.name, role=str(Role(by.role).label), trail_length=0, trail_head=""
        ),
        time_zone=site.time_zone if site else by.time_zone,
        applications=tuple(_application(one, company) for one in rows),
    )


def _application(one: Application, company: Company | None) -> content.Application:
    rules = RULE_SETS.get(one.rule_set)
    said = said_of(one, company)
    return content.Application(
        started_at=one.started_at,
        zone=one.time_zone,
        site=one.site_name,
        client=one.client_name,
        place=one.zone_name,
        product=one.product_name,
        elements=tuple((LABELS[key], value) for key, value in said.items() if value),
        missing=tuple(labels_of(one.unsaid)),
        rules=f"{rules.title} ({rules.edition})" if rules else "",
        against=tuple(notice["words"] for notice in one.against_label),
        seal_number=one.seal_number,
        is_demo=one.is_demo,
    )
