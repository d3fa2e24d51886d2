"""What a zone, or a whole site, cost beyond the contract: follow-ups and call-outs, as closed.

Visits of a service line were agreed and are no burden; proofing is work of its own. Days are in the
site's own zone, money is in the company's currency. Docs: docs/algorithms/two-ways.md (What
carrying on costs).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from uuid import UUID

from django.db.models import Min, Q, QuerySet

from compliance.models import Breach
from sites.models import Contract, ServiceLine, Site, VisitKind, Zone
from visits.models import Finding, Treatment, Visit

CENT = Decimal("0.01")
CLOSED = Visit.State.CLOSED


@dataclass(frozen=True, slots=True)
class Attendance:
    """One visit beyond the contract. ``zones``: among how many its price is split.

    ``price`` is that of the whole visit, None where the contract of the day says none;
    ``priced_as`` says in words where it is from.
    """

    visit_id: UUID
    kind: str
    on: date
    zones: int
    price: Decimal | None
    priced_as: str

    @property
    def share(self) -> Fraction:
        """The exact part of the price that this place bears; nothing where there is no price."""
        return Fraction(self.price or 0) / self.zones


@dataclass(frozen=True, slots=True)
class Burden:
    """What is on record for a place between two days, both included.

    ``days``: on how many of them the site was known to the record; 0 where nothing was closed yet.
    ``extra_visits``: follow-ups, call-outs not among them. ``treatments``: applications on any
    closed visit; they have no price apart from the visit's. ``money`` is None where nothing is
    known or no visit has a price; it is the least there was where ``unpriced`` visits are left out.
    ``how`` says how it was counted and split, ``missing`` what is not known; both are sentences.
    """

    from_on: date
    to_on: date
    days: int
    extra_visits: int
    call_outs: int
    treatments: int
    unpriced: int
    money: Decimal | None
    attendances: tuple[Attendance, ...]
    how: tuple[str, ...]
    missing: tuple[str, ...]

    @property
    def visits(self) -> int:
        """Follow-ups and call-outs together."""
        return self.extra_visits + self.call_outs

    @property
    def whole(self) -> bool:
        """Whether every day asked about is on record and every visit has its price."""
        return not self.unpriced and self.days == (self.to_on - self.from_on).days + 1


@dataclass(frozen=True, slots=True)
class Asked:
    """A zone, or a whole site where none is given, and two days, both included."""

    site: Site
    zone: Zone | None
    from_on: date
    to_on: date


def burden_of(site: Site, *, zone: Zone | None = None, from_on: date, to_on: date) -> Burden:
    """What a zone, or the whole site where none is given, cost beyond the contract.

    A visit counts for the zones in which it treated or found something; where it did neither, for
    those that it was to look at again. Each of several zones bears an equal part of its price, so
    that the zones of a site together never bear a visit twice. At most eight queries, whatever the
    site. Raises ``ValueError`` if the last day is before the first.
    """
    return burdens_of([Asked(site, zone, from_on, to_on)])[0]


def burdens_of(asked: Sequence[Asked]) -> list[Burden]:
    """The same of many places at once, in the order asked. At most eight queries, however many."""
    for one in asked:
        if one.to_on < one.from_on:
            raise ValueError(f"the last day {one.to_on} is before the first {one.from_on}")
    if not asked:
        return []
    closed = Visit.objects.filter(site__in={one.site.pk for one in asked}, state=CLOSED)
    begun = dict(
        closed.order_by()
        .values("site_id")
        .annotate(first=Min("closed_at"))
        .values_list("site_id", "first")
    )
    within = closed.filter(
        closed_at__gte=min(_midnight(one.site, one.from_on) for one in asked),
        closed_at__lt=max(_midnight(one.site, one.to_on + timedelta(days=1)) for one in asked),
    )
    record = _Record(within) if begun else None
    return [
        _burden(one, record, known_on)
        if record and (known_on := _known_on(one, begun.get(one.site.pk)))
        else _nothing_known(one.from_on, one.to_on)
        for one in asked
    ]


def _known_on(asked: Asked, begun: datetime | None) -> date | None:
    """The first day asked about that is on record, None where there is none."""
    if begun is None:
        return None
    known_on = max(asked.from_on, asked.site.day_of(begun))
    return known_on if known_on <= asked.to_on else None


class _Record:
    """What the visits asked about say, by site. At most seven queries, when it is made."""

    def __init__(self, within: QuerySet[Visit]) -> None:
        visits = _beyond_the_contract(within)
        self.places = _zones_of(visits)
        self.prices = _Prices({one.site_id for one in visits}) if visits else None
        self.visits: dict[UUID, list[Visit]] = defaultdict(list)
        for one in visits:
            self.visits[one.site_id].append(one)
        self.treated: dict[UUID, list[tuple[UUID, datetime]]] = defaultdict(list)
        treatments = Treatment.objects.filter(visit__in=within)
        for site_id, zone_id, at in treatments.values_list(
            "visit__site_id", "zone_id", "visit__closed_at"
        ):
            if at:
                self.treated[site_id].append((zone_id, at))


def _burden(asked: Asked, record: _Record, known_on: date) -> Burden:
    zone, from_on, to_on = asked.zone, asked.from_on, asked.to_on
    first = _midnight(asked.site, from_on)
    after = _midnight(asked.site, to_on + timedelta(days=1))
    visits = [
        one
        for one in record.visits.get(asked.site.pk, ())
        if one.closed_at and first <= one.closed_at < after
    ]
    places = record.places if zone else {}
    theirs = [one for one in visits if zone is None or zone.pk in places[one.pk]]
    attendances = _attendances(theirs, places, asked.site, record.prices)
    nowhere = 0 if zone is None else sum(not places[one.pk] for one in visits)
    unpriced = sum(one.price is None for one in attendances)
    return Burden(
        from_on=from_on,
        to_on=to_on,
        days=(to_on - known_on).days + 1,
        extra_visits=sum(one.kind == VisitKind.FOLLOW_UP for one in attendances),
        call_outs=sum(one.kind == VisitKind.CALL_OUT for one in attendances),
        treatments=sum(
            first <= at < after and (zone is None or zone.pk == zone_id)
            for zone_id, at in record.treated.get(asked.site.pk, ())
        ),
        unpriced=unpriced,
        money=_money(attendances),
        attendances=attendances,
        how=tuple(_how(attendances, zone, from_on, to_on)),
        missing=tuple(_missing(unpriced, nowhere, known_on, from_on, to_on)),
    )


def in_force(first: str, last: str, on: date) -> Q:
    """Rows that hold on a day, by the names of their first and last (or no last) day."""
    return Q(**{f"{first}__lte": on}) & (Q(**{last: None}) | Q(**{f"{last}__gte": on}))


def _midnight(site: Site, day: date) -> datetime:
    return datetime.combine(day, time.min, site.zone_info)


def _beyond_the_contract(within: QuerySet[Visit]) -> list[Visit]:
    """Follow-ups that no service line promised, and call-outs, the oldest first."""
    kinds = (VisitKind.FOLLOW_UP, VisitKind.CALL_OUT)
    rows = within.filter(kind__in=kinds, line=None).select_related("follows__line")
    return list(rows.order_by("closed_at", "pk"))


def _zones_of(visits: Sequence[Visit]) -> dict[UUID, set[UUID]]:
    """The zones that each visit concerned. Three queries, none without visits."""
    before = {one.pk: one.follows_id for one in visits if one.follows_id}
    treated, found, asked = (defaultdict[UUID, set[UUID]](set) for _ in range(3))
    if visits:
        keys = [one.pk for one in visits]
        _gather(treated, Treatment.objects.filter(visit__in=[*keys, *before.values()]), "visit_id")
        _gather(found, Finding.objects.filter(visit__in=keys), "visit_id")
        _gather(asked, Breach.objects.filter(follow_up__in=keys), "follow_up_id")
    return {
        one.pk: treated[one.pk] | found[one.pk]
        or asked[one.pk] | (treated[before[one.pk]] if one.pk in before else set())
        for one in visits
    }


def _gather(
    into: dict[UUID, set[UUID]],
    rows: QuerySet[Treatment] | QuerySet[Finding] | QuerySet[Breach],
    visit: str,
) -> None:
    for visit_id, zone_id in rows.values_list(visit, "zone_id").distinct():
        into[visit_id].add(zone_id)


class _Prices:
    """What the contracts of sites say of visits beyond them. Two queries, when it is made.

    A price of nothing is what stands there before anybody gives one: it counts as none.
    """

    def __init__(self, sites: Collection[UUID]) -> None:
        self._contracts: dict[UUID, list[Contract]] = defaultdict(list)
        contracts = Contract.objects.filter(site__in=sites)
        for contract in contracts.order_by("-starts_on", "number", "pk"):
            self._contracts[contract.site_id].append(contract)
        self._lines: dict[UUID, list[ServiceLine]] = defaultdict(list)
        lines = ServiceLine.objects.filter(contract__site__in=sites, price__gt=0)
        for line in lines.select_related("contract").order_by("price", "pk"):
            self._lines[line.contract.site_id].append(line)

    def of(self, visit: Visit, on: date) -> tuple[Decimal | None, str]:
        """The price of a visit made on a day, and where it is from."""
        if visit.kind == VisitKind.CALL_OUT:
            return self._of_call_out(visit.site_id, on)
        for line in self._in_force(visit.site_id, VisitKind.FOLLOW_UP, on):
            return line.price, "as the contract prices a follow-up"
        followed = visit.follows.line if visit.follows else None
        if followed and followed.price:
            return followed.price, "as the visit that it follows, the contract naming no other"
        for line in self._in_force(visit.site_id, VisitKind.ROUTINE, on):
            return line.price, "as the cheapest routine visit, the contract naming no other"
        return None, "without a price"

    def _of_call_out(self, site_id: UUID, on: date) -> tuple[Decimal | None, str]:
        for one in self._contracts[site_id]:
            if _holds(one.starts_on, one.ends_on, on) and one.call_out_price:
                return one.call_out_price, "as the contract prices a call-out"
        return None, "without a price"

    def _in_force(self, site_id: UUID, kind: str, on: date) -> Iterable[ServiceLine]:
        """Priced lines of a kind that hold on a day, the cheapest first."""
        agreed = {
            one.pk for one in self._contracts[site_id] if _holds(one.starts_on, one.ends_on, on)
        }
        return (
            one
            for one in self._lines[site_id]
            if one.kind == kind
            and one.contract_id in agreed
            and _holds(one.first_on, one.last_on, on)
        )


def _holds(first: date, last: date | None, on: date) -> bool:
    return first <= on and (last is None or on <= last)


def _attendances(
    visits: Sequence[Visit], places: dict[UUID, set[UUID]], site: Site, prices: _Prices | None
) -> tuple[Attendance, ...]:
    """The visits with their prices, split among the places given; whole where there are none."""
    if prices is None:
        return ()
    found = []
    for visit in visits:
        on = site.day_of(visit.closed_at) if visit.closed_at else visit.due_on
        price, priced_as = prices.of(visit, on)
        split = len(places.get(visit.pk, ())) or 1
        found.append(Attendance(visit.pk, visit.kind, on, split, price, priced_as))
    return tuple(found)


def _money(attendances: Sequence[Attendance]) -> Decimal | None:
    """The sum to the cent; nothing where there was no visit, None where none has a price."""
    if attendances and all(one.price is None for one in attendances):
        return None
    exact = sum((one.share for one in attendances), Fraction(0))
    return (Decimal(exact.numerator) / exact.denominator).quantize(CENT, rounding=ROUND_HALF_UP)


def _nothing_known(from_on: date, to_on: date) -> Burden:
    missing = "No visit to this site was closed by then, so nothing is known of what it cost."
    return Burden(from_on, to_on, 0, 0, 0, 0, 0, None, (), (), (missing,))


def _how(
    attendances: Sequence[Attendance], zone: Zone | None, from_on: date, to_on: date
) -> Iterable[str]:
    yield (
        f"Follow-ups and call-outs closed from {_day(from_on)} to {_day(to_on)}, without visits of "
        "a service line and without proofing. Treatments are counted and have no price of their "
        "own."
    )
    if zone is not None:
        yield (
            f"A visit counts for {zone.name} if it treated or found something there, or did "
            "neither anywhere and was to look there again."
        )
    shared = sum(one.zones > 1 for one in attendances)
    if shared:
        yield (
            f"{_visits(shared)} concerned other zones too; each zone bears an equal part of the "
            "price."
        )
    sources: dict[tuple[str, str], int] = defaultdict(int)
    for one in attendances:
        if one.price is not None:
            sources[VisitKind(one.kind).label, one.priced_as] += 1
    for (kind, priced_as), number in sorted(sources.items()):
        yield f"{kind}: {_visits(number)} priced {priced_as}."


def _missing(
    unpriced: int, nowhere: int, known_on: date, from_on: date, to_on: date
) -> Iterable[str]:
    if known_on > from_on:
        known, asked = (to_on - known_on).days + 1, (to_on - from_on).days + 1
        yield f"The record begins on {_day(known_on)}: {known} of {asked} days are known."
    if unpriced:
        yield (
            f"{_visits(unpriced)} without a price in the contract of the day: the sum leaves "
            "that out."
        )
    if nowhere:
        yield (
            f"{_visits(nowhere)} neither treated nor found anything and named no zone: counted "
            "for the site alone, for no zone."
        )


def _day(day: date) -> str:
    return f"{day:%-d %b %Y}"


def _visits(number: int) -> str:
    return "1 visit" if number == 1 else f"{number} visits"
