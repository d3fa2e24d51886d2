"""How the evidence of sites stands: every item of ``compliance.evidence`` for every site asked for.

Computed for many sites at once, so that an auditor's page costs the same for one site and for
fifty. Periods are days at the site, inclusive; "today" is the site's own.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, F, Max, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce, TruncQuarter
from django.urls import reverse

from accounts.models import Competence
from compliance.days import SiteDays
from compliance.evidence import ITEMS, Item, Standing
from compliance.models import ActionPhoto, CorrectiveAction, TrendReview
from compliance.quarters import Quarter, quarter_of
from compliance.queries.actions import is_overdue
from compliance.queries.not_reached import place_key, standing_not_reached
from sites.models import Contact, Contract, Document, Monitor, ServiceLine, Site, SitePlan
from visits.dosing.days import years_later
from visits.dosing.notices import SHEET_YEARS
from visits.models import Finding, Reading, Treatment, Visit
from visits.queries.objections import words_of

YEAR = timedelta(days=365)

# The section of a site's page where each item can be looked at.
SECTIONS = {
    "contract": "contract",
    "scope": "contract",
    "frequency": "contract",
    "responsible": "overview",
    "plan": "plan",
    "register": "monitors",
    "on_time": "visits",
    "reports": "visits",
    "reached": "visits",
    "sightings": "visits",
    "findings": "actions",
    "closed_actions": "actions",
    "proofing": "actions",
    "survey": "visits",
    "treatments": "visits",
    "labels": "documents",
    "safety_data_sheets": "documents",
    "precautions": "visits",
    "competence": "visits",
    "insurance": "documents",
    "risk_assessment": "documents",
    "trend_review": "trends",
}


@dataclass(frozen=True, slots=True, order=True)
class Period:
    """The days looked at, both inclusive."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Line:
    """How one item stands at one site, and why."""

    item: Item
    standing: Standing
    why: str
    url: str


def usual_period(today: date) -> Period:
    """The twelve months up to today."""
    return Period(today - YEAR, today)


def evidence_of(
    sites: Sequence[Site], periods: Mapping[UUID, Period], *, now: datetime
) -> dict[UUID, list[Line]]:
    """The evidence of each site, missing first. Twelve queries, however many sites.

    The sites come with their clients at hand. A document counts for every site of its client, a
    company's for all.
    """
    facts = _Facts(sites, periods, now)
    return {
        site.pk: sorted(
            (_line(site, item, facts) for item in ITEMS),
            key=lambda line: list(Standing).index(line.standing),
        )
        for site in sites
    }


def _line(site: Site, item: Item, facts: "_Facts") -> Line:
    judge = _JUDGES.get(item.key)
    if judge is None:
        return Line(item, Standing.NOT_KEPT, "", "")
    standing, why = judge(facts, site)
    section = SECTIONS[item.key]
    url = f"{reverse('sites:site', args=[site.pk])}#{section}"
    return Line(item, standing, why, url)


class _Facts:
    """What the judges need to know of all sites, read in one go."""

    def __init__(
        self, sites: Sequence[Site], periods: Mapping[UUID, Period], now: datetime
    ) -> None:
        self.now = now
        self.ids = [site.pk for site in sites]
        self.today = {site.pk: site.day_of(now) for site in sites}
        self.days = SiteDays(now)
        self.periods = periods
        self.contracts = self._contracts()
        self.monitors = self._monitors()
        self.premises = self._premises()
        self.visits = self._visits()
        self.shut = self._shut()
        self.findings = self._findings()
        self.actions = self._actions()
        self.treatments = self._treatments()
        self.documents = self._documents(sites)
        self.quarters = self._quarters()

    def within(self, lookup: str, site: str = "site") -> Q:
        """Rows of a site whose day lies in that site's period."""
        condition = Q(pk__in=[])
        sites_of: dict[Period, list[UUID]] = defaultdict(list)
        for site_id in self.ids:
            sites_of[self.periods[site_id]].append(site_id)
        for period, ids in sorted(sites_of.items()):
            days = {f"{lookup}__gte": period.first, f"{lookup}__lte": period.last}
            condition |= Q(**{f"{site}__in": ids}, **days)
        return condition

    def _contracts(self) -> dict[UUID, list[Any]]:
        running = ServiceLine.objects.filter(contract=OuterRef("pk"))
        rows = Contract.objects.filter(site__in=self.ids).annotate(
            has_lines=Exists(running.filter(last_on=None)), ever_lines=Exists(running)
        )
        return _grouped(rows.order_by("-starts_on", "pk"))

    def _monitors(self) -> dict[UUID, dict[str, Any]]:
        marked = Q(plan__isnull=False, plan__retired_on=None, x__isnull=False)
        return _keyed(
            Monitor.objects.filter(site__in=self.ids, removed_on=None)
            .order_by()
            .values("site")
            .annotate(standing=Count("pk"), marked=Count("pk", filter=marked))
        )

    def _premises(self) -> dict[UUID, dict[str, Any]]:
        plans = SitePlan.objects.filter(site=OuterRef("pk"), retired_on=None)
        managers = Contact.objects.filter(site=OuterRef("pk"), is_premises_manager=True).order_by(
            "name", "pk"
        )
        return _keyed(
            Site.objects.filter(pk__in=self.ids)
            .annotate(has_plan=Exists(plans), responsible=Subquery(managers.values("name")[:1]))
            .values("has_plan", "responsible", site=F("pk"))
        )

    def _visits(self) -> dict[UUID, dict[str, Any]]:
        closed = Q(state=Visit.State.CLOSED)
        within = self.within("due_on")
        due = within & self.days.where("closes_on__lt") & ~Q(state=Visit.State.CALLED_OFF)
        signed = ~Q(signature=None) | ~Q(signature_typed="") | ~Q(no_signature_reason="")
        call_out = within & Q(kind=Visit.Kind.CALL_OUT) & ~Q(state=Visit.State.CALLED_OFF)
        return _keyed(
            Visit.objects.filter(site__in=self.ids)
            .annotate(qualified=_qualified())
            .order_by()
            .values("site")
            .annotate(
                due=Count("pk", filter=due),
                made=Count("pk", filter=due & closed),
                on_time=Count("pk", filter=due & closed & Q(booked_on__lte=F("closes_on"))),
                closed=Count("pk", filter=within & closed),
                whole=Count("pk", filter=within & closed & ~Q(seal="") & signed),
                unqualified=Count("pk", filter=within & closed & Q(qualified=False)),
                call_outs=Count("pk", filter=call_out),
                answered=Count("pk", filter=call_out & Q(started_at__lte=F("respond_by"))),
                pending=Count("pk", filter=call_out & Q(started_at=None, respond_by__gte=self.now)),
                last_survey=Max("booked_on", filter=closed & Q(kind=Visit.Kind.SURVEY)),
            )
        )

    def _shut(self) -> dict[UUID, int]:
        places = (
            standing_not_reached()
            .filter(visit__site__in=self.ids)
            .order_by()
            .values("visit__site", place=place_key())
            .annotate(times=Count("pk"))
            .filter(times__gte=2)
            .values_list("visit__site", flat=True)
        )
        counted: dict[UUID, int] = defaultdict(int)
        for site_id in places:
            counted[site_id] += 1
        return counted

    def _findings(self) -> dict[UUID, dict[str, Any]]:
        return _keyed(
            Finding.objects.filter(
                self.within("visit__booked_on", "visit__site"), visit__state=Visit.State.CLOSED
            )
            .exclude(remedy_kind="")
            .order_by()
            .values(site=F("visit__site"))
            .annotate(asking=Count("pk"), answered=Count("pk", filter=Q(action__isnull=False)))
        )

    def _actions(self) -> dict[UUID, dict[str, Any]]:
        after = ActionPhoto.objects.filter(action=OuterRef("pk"), moment=ActionPhoto.Moment.AFTER)
        finished = Q(kind=CorrectiveAction.Kind.PROOFING, state__in=["done", "checked"])
        return _keyed(
            CorrectiveAction.objects.filter(site__in=self.ids)
            .annotate(shown=Exists(after))
            .order_by()
            .values("site")
            .annotate(
                raised=Count("pk"),
                late=Count("pk", filter=is_overdue(self.days)),
                proofed=Count("pk", filter=finished),
                proven=Count("pk", filter=finished & Q(state="checked", shown=True)),
            )
        )

    def _treatments(self) -> dict[UUID, list[dict[str, Any]]]:
        """One row for each product used at a site, in the order of names.

        A product's own papers are those of its label in force and of the versions used.
        """
        told = ~Q(precautions="") | ~Q(re_entry="")

        def kept(name: str) -> Q:
            own = [f"{version}__{name}" for version in ("product__label", "label")]
            either = Q(pk__in=[])
            for one in own:
                either |= Q(**{f"{one}__isnull": False, f"{one}__withdrawn_at": None})
            return either

        rows = (
            Treatment.objects.filter(
                self.within("visit__booked_on", "visit__site"), visit__state=Visit.State.CLOSED
            )
            .values("product_name", site=F("visit__site"))
            .annotate(
                made=Count("pk"),
                licensed=Count("pk", filter=~Q(applicator_licence="")),
                told=Count("pk", filter=told),
                kept_label=Count("pk", filter=kept("label_file")),
                kept_safety_data_sheet=Count("pk", filter=kept("sheet_file")),
                sheet_on=Max("product__label__safety_data_sheet_on"),
            )
            .order_by("product_name")
        )
        found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
        for row in rows:
            found[row["site"]].append(dict(row))
        return found

    def _quarters(self) -> dict[UUID, tuple[set[Quarter], set[Quarter]]]:
        """The quarters that ended in each site's period: those that were read, those reviewed.

        What was typed off from before the program asks for no review.
        """
        found: dict[UUID, tuple[set[Quarter], set[Quarter]]] = defaultdict(lambda: (set(), set()))
        since = min((one.first for one in self.periods.values()), default=date.max)
        read = (
            Reading.objects.filter(
                Q(visit=None) | Q(visit__state=Visit.State.CLOSED),
                monitor__site__in=self.ids,
                read_on__gte=quarter_of(since).first,
            )
            .exclude(source=Reading.Source.IMPORT)
            .values(site=F("monitor__site"), first=TruncQuarter("read_on"))
            .distinct()
        )
        for row in read:
            found[row["site"]][0].add(Quarter(row["first"]))
        reviews = TrendReview.objects.filter(site__in=self.ids)
        for site_id, first in reviews.values_list("site", "quarter"):
            found[site_id][1].add(Quarter(first))
        return {
            site_id: (self._ended_within(site_id, one), self._ended_within(site_id, other))
            for site_id, (one, other) in found.items()
        }

    def _ended_within(self, site_id: UUID, quarters: set[Quarter]) -> set[Quarter]:
        period, today = self.periods[site_id], self.today[site_id]
        last = min(period.last, today)
        return {one for one in quarters if period.first <= one.last <= last}

    def _documents(self, sites: Sequence[Site]) -> dict[UUID, list[Document]]:
        """The papers that count for each site: its own, its client's and the company's."""
        clients = {site.client_id for site in sites}
        rows = list(
            Document.objects.filter(
                Q(site__in=self.ids) | Q(client__in=clients) | Q(site=None, client=None),
                withdrawn_at=None,
                replaced_by=None,
            ).order_by(Coalesce("expires_on", date.max).desc(), "pk")
        )
        return {
            site.pk: [
                row
                for row in rows
                if row.site_id == site.pk
                or (row.site_id is None and row.client_id in {None, site.client_id})
            ]
            for site in sites
        }


def _qualified() -> Q:
    """Whether the technician of a visit held, that day, what the line asks for, and anything."""

    def valid(day: OuterRef, person: OuterRef) -> Q:
        return Q(
            Q(valid_until=None) | Q(valid_until__gte=day),
            Q(withdrawn_on=None) | Q(withdrawn_on__gt=day),
            person=person,
            valid_from__lte=day,
        )

    held = Competence.objects.filter(valid(OuterRef("booked_on"), OuterRef("technician")))
    of_kind = Competence.objects.filter(
        valid(OuterRef(OuterRef("booked_on")), OuterRef(OuterRef("technician"))),
        kind=OuterRef("competencekind"),
    )
    lacking = ServiceLine.competences.through.objects.filter(
        ~Exists(of_kind), serviceline=OuterRef("line")
    )
    return Exists(held) & ~Exists(lacking)


Judged = tuple[Standing, str]


def _contract_in_force(facts: _Facts, site: Site) -> Any:
    today = facts.today[site.pk]
    return next(
        (
            one
            for one in facts.contracts.get(site.pk, [])
            if one.starts_on <= today and (one.ends_on is None or one.ends_on >= today)
        ),
        None,
    )


def _contract(facts: _Facts, site: Site) -> Judged:
    found = _contract_in_force(facts, site)
    if found:
        until = f" until {words_of(found.ends_on)}" if found.ends_on else ""
        return Standing.CURRENT, f"{found} from {words_of(found.starts_on)}{until}."
    if facts.contracts.get(site.pk):
        return Standing.NOT_CURRENT, "No contract runs today."
    return Standing.MISSING, "No contract is on file."


def _scope(facts: _Facts, site: Site) -> Judged:
    found = _contract_in_force(facts, site)
    if found and found.scope.strip():
        return Standing.CURRENT, f"{found} says what it covers."
    if any(one.scope.strip() for one in facts.contracts.get(site.pk, [])):
        return Standing.NOT_CURRENT, "Only a contract that no longer runs says what it covers."
    return Standing.MISSING, "No contract says what it covers."


def _frequency(facts: _Facts, site: Site) -> Judged:
    found = _contract_in_force(facts, site)
    if found and found.has_lines:
        return Standing.CURRENT, f"{found} has a recurring service."
    if any(one.ever_lines for one in facts.contracts.get(site.pk, [])):
        return Standing.NOT_CURRENT, "The recurring service has ended."
    return Standing.MISSING, "No recurring service is agreed."


def _responsible(facts: _Facts, site: Site) -> Judged:
    name = facts.premises[site.pk]["responsible"]
    if name:
        return Standing.CURRENT, f"{name}."
    return Standing.MISSING, "Nobody is named."


def _plan(facts: _Facts, site: Site) -> Judged:
    if not facts.premises[site.pk]["has_plan"]:
        return Standing.MISSING, "No plan is in use."
    counts = facts.monitors.get(site.pk)
    if not counts:
        return Standing.CURRENT, "A plan is in use; no monitor stands here."
    left = counts["standing"] - counts["marked"]
    if left:
        return Standing.NOT_CURRENT, f"{_of(left, counts['standing'], 'monitor')} not marked on it."
    return Standing.CURRENT, f"{_all(counts['standing'], 'monitor')} marked on it."


def _register(facts: _Facts, site: Site) -> Judged:
    counts = facts.monitors.get(site.pk)
    if not counts:
        return Standing.MISSING, "No monitor stands here."
    return Standing.CURRENT, f"{_number(counts['standing'], 'monitor')} on file."


def _on_time(facts: _Facts, site: Site) -> Judged:
    counts = facts.visits.get(site.pk)
    if not counts or not counts["due"]:
        return Standing.NOTHING_TO_SHOW, "No visit fell due."
    due, made, on_time = counts["due"], counts["made"], counts["on_time"]
    if on_time == due:
        return Standing.CURRENT, f"{_all(due, 'visit')} made on time."
    late, missed = made - on_time, due - made
    parts = [f"{late} late" if late else "", f"{missed} not made" if missed else ""]
    why = f"Of {_number(due, 'visit')} due: {', '.join(part for part in parts if part)}."
    return (Standing.NOT_CURRENT if made else Standing.MISSING), why


def _reports(facts: _Facts, site: Site) -> Judged:
    counts = facts.visits.get(site.pk)
    if not counts or not counts["closed"]:
        return Standing.NOTHING_TO_SHOW, "No visit was closed."
    left = counts["closed"] - counts["whole"]
    if left:
        return Standing.NOT_CURRENT, f"{_of(left, counts['closed'], 'report')} not complete."
    return Standing.CURRENT, f"{_all(counts['closed'], 'report')} complete and sealed."


def _reached(facts: _Facts, site: Site) -> Judged:
    shut = facts.shut.get(site.pk, 0)
    if shut:
        return (
            Standing.NOT_CURRENT,
            f"{_number(shut, 'place')} not reached on two visits running or more.",
        )
    if not (facts.visits.get(site.pk) or {}).get("closed"):
        return Standing.NOTHING_TO_SHOW, "No visit was closed."
    return Standing.CURRENT, "No place is left out again and again."


def _sightings(facts: _Facts, site: Site) -> Judged:
    counts = facts.visits.get(site.pk)
    asked = counts["call_outs"] - counts["pending"] if counts else 0
    if not counts or not asked:
        return Standing.NOTHING_TO_SHOW, "No call-out fell due."
    left = asked - counts["answered"]
    if left:
        return Standing.NOT_CURRENT, f"{_of(left, asked, 'call-out')} not answered in time."
    return Standing.CURRENT, f"{_all(asked, 'call-out')} answered in time."


def _findings(facts: _Facts, site: Site) -> Judged:
    counts = facts.findings.get(site.pk)
    if not counts:
        return Standing.NOTHING_TO_SHOW, "No finding asked for anything."
    left = counts["asking"] - counts["answered"]
    if left:
        return Standing.MISSING, f"{_of(left, counts['asking'], 'finding')} without an action."
    return Standing.CURRENT, f"{_all(counts['asking'], 'finding')} led to an action."


def _closed_actions(facts: _Facts, site: Site) -> Judged:
    counts = facts.actions.get(site.pk)
    if not counts:
        return Standing.NOTHING_TO_SHOW, "No action was raised."
    if counts["late"]:
        return Standing.NOT_CURRENT, f"{_number(counts['late'], 'action')} past the day."
    return Standing.CURRENT, f"None of {_number(counts['raised'], 'action')} is past its day."


def _proofing(facts: _Facts, site: Site) -> Judged:
    counts = facts.actions.get(site.pk)
    if not counts or not counts["proofed"]:
        return Standing.NOTHING_TO_SHOW, "No proofing was done."
    left = counts["proofed"] - counts["proven"]
    if left:
        return Standing.NOT_CURRENT, f"{_of(left, counts['proofed'], 'piece')} not checked."
    return Standing.CURRENT, f"{_all(counts['proofed'], 'piece')} signed, shown and checked."


def _survey(facts: _Facts, site: Site) -> Judged:
    days = [
        day
        for day in [
            (facts.visits.get(site.pk) or {}).get("last_survey"),
            *(one.issued_on for one in _papers(facts, site, Document.Kind.SURVEY)),
        ]
        if day
    ]
    if not days:
        return Standing.MISSING, "No survey is on file."
    last = max(days)
    fresh = last >= facts.today[site.pk] - YEAR
    return (Standing.CURRENT if fresh else Standing.NOT_CURRENT), f"Last on {words_of(last)}."


def _treatments(facts: _Facts, site: Site) -> Judged:
    rows = facts.treatments.get(site.pk, [])
    made = sum(row["made"] for row in rows)
    left = made - sum(row["licensed"] for row in rows)
    if not made:
        return Standing.NOTHING_TO_SHOW, "Nothing was applied."
    if left:
        return Standing.NOT_CURRENT, f"{_of(left, made, 'treatment')} without a licence."
    return Standing.CURRENT, f"{_all(made, 'treatment')} recorded whole."


def _precautions(facts: _Facts, site: Site) -> Judged:
    rows = facts.treatments.get(site.pk, [])
    made = sum(row["made"] for row in rows)
    left = made - sum(row["told"] for row in rows)
    if not made:
        return Standing.NOTHING_TO_SHOW, "Nothing was applied."
    if left:
        return Standing.NOT_CURRENT, f"{_of(left, made, 'treatment')} without a word of it."
    return Standing.CURRENT, f"Said with {_all(made, 'treatment').lower()}."


def _labels(facts: _Facts, site: Site) -> Judged:
    return _per_product(facts, site, Document.Kind.LABEL, "a label")


def _safety_data_sheets(facts: _Facts, site: Site) -> Judged:
    return _per_product(facts, site, Document.Kind.SAFETY_DATA_SHEET, "a safety data sheet")


def _per_product(facts: _Facts, site: Site, kind: str, noun: str) -> Judged:
    """By the papers of the product itself, else by those whose title names it."""
    rows = facts.treatments.get(site.pk, [])
    if not rows:
        return Standing.NOTHING_TO_SHOW, "No product was used."
    titles = [one.title.casefold() for one in _papers(facts, site, kind)]
    left = [
        row["product_name"]
        for row in rows
        if not row[f"kept_{kind}"]
        and not any(row["product_name"].casefold() in one for one in titles)
    ]
    if left:
        return Standing.MISSING, f"Without {noun}: {', '.join(left)}."
    old = [
        row["product_name"]
        for row in rows
        if kind == Document.Kind.SAFETY_DATA_SHEET and _is_old(row["sheet_on"], facts, site)
    ]
    if old:
        return Standing.NOT_CURRENT, f"Older than {SHEET_YEARS} years: {', '.join(old)}."
    return Standing.CURRENT, f"There for {_all(len(rows), 'product').lower()}."


def _is_old(sheet_on: date | None, facts: _Facts, site: Site) -> bool:
    """Whether a sheet's day lies as long back as the notices of a treatment ask for a newer one."""
    return sheet_on is not None and years_later(sheet_on, SHEET_YEARS) < facts.today[site.pk]


def _competence(facts: _Facts, site: Site) -> Judged:
    closed = (facts.visits.get(site.pk) or {}).get("closed", 0)
    left = (facts.visits.get(site.pk) or {}).get("unqualified", 0)
    if not closed and not left:
        return Standing.NOTHING_TO_SHOW, "No visit was closed."
    if left:
        return Standing.MISSING, f"{_number(left, 'visit')} without a valid competence that day."
    return Standing.CURRENT, "Valid on the day of every visit."


def _insurance(facts: _Facts, site: Site) -> Judged:
    return _paper(facts, site, Document.Kind.INSURANCE)


def _risk_assessment(facts: _Facts, site: Site) -> Judged:
    standing, why = _paper(facts, site, Document.Kind.RISK_ASSESSMENT)
    if standing != Standing.CURRENT:
        return standing, why
    issued = [
        one.issued_on
        for one in _papers(facts, site, Document.Kind.RISK_ASSESSMENT)
        if one.issued_on
    ]
    if not issued or max(issued) < facts.today[site.pk] - YEAR:
        return Standing.NOT_CURRENT, "Not issued within twelve months."
    return standing, why


def _trend_review(facts: _Facts, site: Site) -> Judged:
    """Every quarter that ended in the period, has had its grace days and was read."""
    read, signed = facts.quarters.get(site.pk, (set(), set()))
    today = facts.today[site.pk]
    asked = [one for one in sorted(read) if one.due_on < today or one in signed]
    if not asked:
        return Standing.NOTHING_TO_SHOW, "No quarter with readings is due for review."
    left = [one for one in asked if one not in signed]
    if not left:
        return Standing.CURRENT, f"{_all(len(asked), 'quarter')} reviewed and signed."
    why = f"Without a signed review: {', '.join(str(one) for one in left)}."
    return (Standing.MISSING if len(left) == len(asked) else Standing.NOT_CURRENT), why


def _paper(facts: _Facts, site: Site, kind: str) -> Judged:
    papers = _papers(facts, site, kind)
    if not papers:
        return Standing.MISSING, "Not on file."
    best = papers[0]
    if best.expires_on is None:
        return Standing.CURRENT, f"{best.title}."
    expired = best.expires_on < facts.today[site.pk]
    words = f"{best.title}, {'expired' if expired else 'valid until'} {words_of(best.expires_on)}."
    return (Standing.NOT_CURRENT if expired else Standing.CURRENT), words


def _papers(facts: _Facts, site: Site, kind: str) -> list[Document]:
    return [one for one in facts.documents[site.pk] if one.kind == kind]


_JUDGES = {
    "contract": _contract,
    "scope": _scope,
    "frequency": _frequency,
    "responsible": _responsible,
    "plan": _plan,
    "register": _register,
    "on_time": _on_time,
    "reports": _reports,
    "reached": _reached,
    "sightings": _sightings,
    "findings": _findings,
    "closed_actions": _closed_actions,
    "proofing": _proofing,
    "survey": _survey,
    "treatments": _treatments,
    "labels": _labels,
    "safety_data_sheets": _safety_data_sheets,
    "precautions": _precautions,
    "competence": _competence,
    "insurance": _insurance,
    "risk_assessment": _risk_assessment,
    "trend_review": _trend_review,
}


def _grouped(rows: Any) -> dict[UUID, list[Any]]:
    found: dict[UUID, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.site_id].append(row)
    return found


def _keyed(rows: Any) -> dict[UUID, dict[str, Any]]:
    return {row["site"]: row for row in rows}


def _number(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _of(number: int, all_of: int, noun: str) -> str:
    return f"{number} of {_number(all_of, noun)}"


def _all(number: int, noun: str) -> str:
    return f"The one {noun}" if number == 1 else f"All {number} {noun}s"
