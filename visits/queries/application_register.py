"""The application register: every application of a product, of a site or of the whole company.

It may hold half a million rows, so it is never counted in full, never paged by number, and its rows
are tuples rather than models. What it shows are the stored facts, which the seals of visits vouch
for; sites and zones go by their names of today, products and people by those of the day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.models import Company, Role, User
from sites.access import sites_visible_to
from sites.models import Site
from visits.access import treatments_visible_to
from visits.application_record import (
    BAIT_INSTANTS,
    LABELS,
    PATHS,
    Application,
    labels_of,
    said_of,
    with_bait_instants,
)
from visits.application_record import in_words as day_in_words
from visits.dosing.rules import RULE_SETS
from visits.models import Pest, Product, Treatment

ROWS_A_PAGE = 50
MOST_COUNTED = 10_000
"""Beyond this the list says "more than"; counting on would cost more than the page itself."""
CHUNK = 2_000
FEW_PRODUCTS = 50


@dataclass(frozen=True, slots=True)
class Narrowed:
    """What a register is narrowed to. Days are those of each site's own zone, both included.

    ``show`` is incomplete (something unsaid), late (made after the deadline), forbidden (what the
    label or the law forbids was done), or nothing.
    """

    where: str = ""
    product: str = ""
    pest: UUID | None = None
    technician: str = ""
    first: date | None = None
    last: date | None = None
    show: str = ""


SHOWN = {
    "incomplete": "whose records leave something unsaid",
    "late": "whose records were made after the deadline",
    "forbidden": "that the label or the law forbids",
}


def in_words(asked: Narrowed) -> str:
    """What a register is narrowed to, for the head of a paper. One query for a pest."""
    pest = Pest.objects.filter(pk=asked.pest).first() if asked.pest else None
    parts = (
        asked.where and f"at “{asked.where}”",
        asked.product and f"of “{asked.product}”",
        pest and f"against {pest.name.lower()}",
        asked.technician and f"by “{asked.technician}”",
        asked.first and f"from {day_in_words(asked.first)}",
        asked.last and f"up to {day_in_words(asked.last)}",
        SHOWN.get(asked.show, ""),
    )
    return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Slice:
    """One page. ``newer`` and ``older`` are marks for the address, empty at either end."""

    rows: Sequence[Application]
    newer: str
    older: str
    count: int
    is_capped: bool


def applications(user: User, asked: Narrowed, *, site: Site | None = None) -> QuerySet[Treatment]:
    """The applications that a person may see, newest first. A query each for days and product.

    An office that sees everything reads along the index of instants; everybody else, and every
    search for a place, starts from the few sites that count. Both find the same.
    """
    rows = treatments_visible_to(user)
    if site is not None:
        rows = rows.filter(visit__site=site)
    elif asked.where or user.role != Role.OFFICE:
        rows = rows.filter(visit__site__in=_sites(user, asked.where))
    if asked.product:
        rows = rows.filter(_product(asked.product))
    if asked.pest:
        rows = rows.filter(target=asked.pest)
    if asked.technician:
        people = User.objects.filter(role=Role.TECHNICIAN, name__icontains=asked.technician)
        rows = rows.filter(visit__technician__in=people)
    if asked.first or asked.last:
        rows = rows.filter(_days(user, asked.first, asked.last, site))
    if asked.show == "incomplete":
        rows = rows.filter(is_incomplete=True)
    elif asked.show == "late":
        rows = rows.filter(made_late=True)
    elif asked.show == "forbidden":
        rows = rows.filter(was_forbidden=True)
    return rows.order_by("-started_at", "-pk")


def slice_of(rows: QuerySet[Treatment], *, mark: str = "", back: bool = False) -> Slice:
    """The page behind a mark, or before it with ``back``; the first one without. Two queries.

    A mark names the row at which a page ends, so that page 9,000 costs what page one does.
    """
    at = read_mark(mark)
    count = rows.order_by()[: MOST_COUNTED + 1].count()
    if at and back:
        found = _read(rows.filter(_beyond(at, newer=True)).order_by("started_at", "pk"))
        page, more = found[:ROWS_A_PAGE][::-1], len(found) > ROWS_A_PAGE
        newer, older = more, bool(page)
    else:
        found = _read(rows.filter(_beyond(at, newer=False)) if at else rows)
        page, more = found[:ROWS_A_PAGE], len(found) > ROWS_A_PAGE
        newer, older = at is not None and bool(page), more
    return Slice(
        rows=page,
        newer=mark_of(page[0]) if newer else "",
        older=mark_of(page[-1]) if older else "",
        count=min(count, MOST_COUNTED),
        is_capped=count > MOST_COUNTED,
    )


def mark_of(row: Application) -> str:
    """Where a row stands, for the address."""
    return f"{row.started_at:%Y%m%dT%H%M%S.%fZ}-{row.pk.hex}"


def read_mark(mark: str) -> tuple[datetime, UUID] | None:
    """The instant and the row of a mark; nothing for what is none."""
    instant, _, pk = mark.partition("-")
    try:
        return datetime.strptime(f"{instant}+0000", "%Y%m%dT%H%M%S.%fZ%z"), UUID(pk)
    except ValueError:
        return None


def rows_of(rows: QuerySet[Treatment]) -> Iterator[Application]:
    """Every row, one after another; the database is asked once, and holds back what is not due."""
    found = with_bait_instants(rows).values_list(*PATHS.values(), *BAIT_INSTANTS)
    return (Application._make(row) for row in found.iterator(chunk_size=CHUNK))


HEADER: Sequence[str] = (
    "site reference",
    "site",
    "client",
    *(label.lower() for label in LABELS.values()),
    "note",
    "against the label",
    "judged by",
    "left unsaid",
    "made late",
    "reached us at",
    "keep until",
    "sealed as",
)


def cells_of(one: Application, company: Company | None) -> list[Any]:
    """One application as a row of a sheet, in the order of ``HEADER``. Instants are UTC."""
    rule_set = RULE_SETS.get(one.rule_set)
    return [
        one.site_reference,
        one.site_name,
        one.client_name,
        *said_of(one, company).values(),
        one.note,
        " ".join(notice["words"] for notice in one.against_label),
        rule_set.title if rule_set else one.rule_set,
        "; ".join(labels_of(one.unsaid)),
        "yes" if one.made_late else "no",
        f"{one.made_at:%Y-%m-%d %H:%M:%S}" if one.made_at else "",
        one.keep_until,
        one.seal_number,
    ]


def _read(rows: QuerySet[Treatment]) -> list[Application]:
    found = with_bait_instants(rows).values_list(*PATHS.values(), *BAIT_INSTANTS)
    return [Application._make(row) for row in found[: ROWS_A_PAGE + 1]]


def _beyond(at: tuple[datetime, UUID], *, newer: bool) -> Q:
    """Rows on one side of a mark. The first condition lets the index find its place."""
    instant, pk = at
    if newer:
        return Q(started_at__gte=instant) & (Q(started_at__gt=instant) | Q(pk__gt=pk))
    return Q(started_at__lte=instant) & (Q(started_at__lt=instant) | Q(pk__lt=pk))


def _sites(user: User, where: str) -> QuerySet[Site, Any]:
    sites = sites_visible_to(user)
    if where:
        sites = sites.filter(
            Q(name__icontains=where)
            | Q(reference__icontains=where)
            | Q(client__name__icontains=where)
        )
    return sites.values("pk")


def _product(typed: str) -> Q:
    """Applications of the products that a text finds. One query.

    Of a few products the rows are looked up; where a word finds half the register, each row is
    asked instead, in the order in which it is read: looking up all would mean sorting all.
    """
    words = typed.casefold()
    found = Product.objects.filter(Q(found_by__contains=words) | Q(name__icontains=words))
    few = list(found.values_list("pk", flat=True)[: FEW_PRODUCTS + 1])
    if len(few) <= FEW_PRODUCTS:
        return Q(product__in=few)
    return Q(Exists(found.filter(pk=OuterRef("product_id"))))


def _days(user: User, first: date | None, last: date | None, site: Site | None) -> Q:
    """Applications on days of each site's own calendar. One query, for the zones in use.

    The widest span comes first, as it alone can be found by the index.
    """
    if site is not None:
        return _span(first, last, site.zone_info)
    zones = sites_visible_to(user).order_by().values_list("time_zone", flat=True).distinct()
    names = sorted(zones)
    if len(names) == 1:
        return _span(first, last, ZoneInfo(names[0]))
    each = Q(pk__in=[])
    for name in names:
        each |= Q(visit__site__time_zone=name) & _span(first, last, ZoneInfo(name))
    day = timedelta(days=1)
    widest = _span(first and first - day, last and last + day, ZoneInfo("UTC"))
    return widest & each


def _span(first: date | None, last: date | None, zone: ZoneInfo) -> Q:
    within = Q()
    if first:
        within &= Q(started_at__gte=_midnight(first, zone))
    if last:
        within &= Q(started_at__lt=_midnight(last + timedelta(days=1), zone))
    return within


def _midnight(on: date, zone: ZoneInfo) -> datetime:
    return datetime(on.year, on.month, on.day, tzinfo=zone)
