"""The application register: what is in it for whom, page by page, and as a file."""

import csv
import io
from copy import copy
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from accounts.ids import uuid7
from accounts.models import Company
from compliance.views.applications import MOST_ON_PAPER
from tests.builders.accounts import make_auditor, make_client, make_manager, make_technician
from tests.builders.compliance import give_pass
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_product,
    make_visit,
    treatment_given,
)
from visits.application_record import LABELS
from visits.application_sheet import MOST_ROWS, register_workbook
from visits.models import Treatment, Visit
from visits.queries.application_register import (
    FEW_PRODUCTS,
    MOST_COUNTED,
    ROWS_A_PAGE,
    Narrowed,
    applications,
    mark_of,
    read_mark,
    rows_of,
    slice_of,
)
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, apply_treatment

pytestmark = pytest.mark.django_db

COMPANY = reverse("visits:applications")
AS_CSV = reverse("visits:applications_csv")
AS_XLSX = reverse("visits:applications_xlsx")


@pytest.fixture(autouse=True)
def company(db) -> Company:
    return Company.objects.create(name="Fennimore & Tull", address="4 Quay Street")


def open_visit(office, technician=None, *, site=None, **facts) -> Visit:
    """A visit of somebody with a licence, under way at a site with a kitchen."""
    if site is None:
        site = make_site(**facts.pop("at", {}))
        make_zone(site, kind="kitchen", name="Kitchen")
    technician = technician or make_technician()
    make_competence(technician, make_competence_kind(), number="PM-104")
    return make_visit(site, state="under_way", by=office, technician=technician, **facts)


def treated(visit: Visit, product=None, **facts) -> Treatment:
    given = treatment_given(
        visit.site.zones.first(),
        product or make_product(),
        **{"started_at": local(visit, 9, 40), **facts},
    )
    return apply_treatment(visit.pk, by=visit.technician, at=local(visit, 9, 50), treatment=given)


def closed(visit: Visit) -> Visit:
    return close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )


def found(user, site=None, **asked) -> set:
    return set(applications(user, Narrowed(**asked), site=site).values_list("pk", flat=True))


# --- who sees what --------------------------------------------------------------------------------


def test_client_and_auditor_see_what_was_closed_and_the_office_what_is_under_way(office):
    site = make_site()
    make_zone(site, kind="kitchen")
    under_way = treated(open_visit(office, site=site, due_on=date(2026, 3, 3)))
    visit = open_visit(office, site=site, due_on=date(2026, 3, 4))
    sealed = treated(visit)
    closed(visit)
    manager, auditor = make_manager(client=site.client), make_auditor()
    give_pass(auditor, site)

    assert found(office) == {under_way.pk, sealed.pk}
    for reader in (manager, auditor):
        assert found(reader) == found(reader, site) == {sealed.pk}


def test_nobody_sees_what_was_applied_at_another_clients_site(office, client):
    visit = open_visit(office)
    treated(visit)
    closed(visit)
    stranger = make_manager(client=make_client())
    client.force_login(stranger)

    assert found(stranger) == set()
    assert "No application here" in client.get(COMPANY).content.decode()
    of_site = reverse("visits:site_applications", args=[visit.site_id])
    assert client.get(of_site).status_code == 404


# --- narrowing ------------------------------------------------------------------------------------


def test_it_is_narrowed_by_place_product_pest_technician_and_what_is_wanting(office):
    sam, ana = make_technician(name="Sam Okafor"), make_technician(name="Ana Prior")
    dust = make_product(name="Demo dust Q", formulation="dust")
    at_bakery = open_visit(office, sam, at={"name": "Mill Bakery", "reference": "MB-1"})
    at_hotel = open_visit(office, ana, at={"name": "Harbour Hotel"})
    whole = treated(at_bakery, dust, target="brown-rat")
    wanting = treated(at_hotel, equipment="")
    closed(at_bakery), closed(at_hotel)
    Treatment.objects.filter(pk=whole.pk).update(was_forbidden=True)

    for asked, wanted in (
        ({"where": "bakery"}, whole),
        ({"where": "mb-1"}, whole),
        ({"where": at_hotel.site.client.name}, wanting),
        ({"product": "demo DUST"}, whole),
        ({"product": dust.registration_number}, whole),
        ({"pest": wanting.target_id}, wanting),
        ({"technician": "okafor"}, whole),
        ({"show": "incomplete"}, wanting),
        ({"show": "forbidden"}, whole),
    ):
        assert found(office, **asked) == {wanted.pk}, asked
    assert found(office, show="late") == set()
    assert found(office, product="no such product") == set()


def test_a_word_that_finds_many_products_finds_the_applications_of_each(office):
    """Beyond a handful the rows are asked rather than looked up; both find the same."""
    visit = open_visit(office)
    shelf = [make_product(name=f"Demo bait {n}") for n in range(FEW_PRODUCTS + 1)]
    first, last = treated(visit, shelf[0]), treated(visit, shelf[-1])
    treated(visit, make_product(name="Something else"))

    assert found(office, product="demo bait") == {first.pk, last.pk}


@pytest.mark.parametrize(("zone", "hour"), [("Europe/London", 0), ("America/New_York", 0)])
def test_days_are_those_of_the_sites_own_calendar(office, zone, hour):
    """An application at five past midnight belongs to the new day of that place."""
    visit = open_visit(office, at={"time_zone": zone}, due_on=date(2026, 7, 15))
    elsewhere = open_visit(office, at={"time_zone": "Pacific/Auckland"}, due_on=date(2026, 7, 20))
    after_midnight = treated(
        visit, started_at=local(visit, hour, 5), finished_at=local(visit, hour, 9)
    )
    treated(elsewhere)

    on, day = date(2026, 7, 15), timedelta(days=1)
    assert found(office, first=on, last=on) == {after_midnight.pk}
    assert found(office, visit.site, first=on, last=on) == {after_midnight.pk}
    assert found(office, last=on - day) == set()
    assert found(office, visit.site, first=on + day) == set()


def test_what_cannot_be_read_narrows_nothing(office, client):
    treated(open_visit(office))
    client.force_login(office)

    answer = client.get(COMPANY, {"first": "yesterday", "pest": "no", "show": "x", "older": "?"})

    assert answer.status_code == 200
    assert len(answer.context["page"].rows) == 1


@pytest.mark.parametrize("asked", [{"first": "0001-01-01"}, {"last": "9999-12-31"}])
def test_the_ends_of_the_calendar_narrow_nothing(office, client, asked):
    treated(open_visit(office, at={"time_zone": "Asia/Tokyo"}))
    make_site(time_zone="America/New_York")
    client.force_login(office)

    assert len(client.get(COMPANY, asked).context["page"].rows) == 1
    assert len(b"".join(client.get(AS_CSV, asked).streaming_content).splitlines()) == 2


# --- pages ----------------------------------------------------------------------------------------


def multiplied(treatment: Treatment, times: int) -> None:
    """As many rows in all as ``times``, several of them at the very same instant."""
    rows = []
    for n in range(times - 1):
        row = Treatment.objects.get(pk=treatment.pk) if not rows else copy(rows[0])
        row.pk = uuid7()
        row.started_at = treatment.started_at + timedelta(minutes=n // 7)
        rows.append(row)
    Treatment.objects.bulk_create(rows)


@pytest.fixture
def many(office) -> list[Treatment]:
    """Two pages and a half, newest first."""
    multiplied(treated(open_visit(office)), 2 * ROWS_A_PAGE + ROWS_A_PAGE // 2)
    return list(Treatment.objects.order_by("-started_at", "-pk"))


def test_older_pages_follow_each_other_without_a_gap_or_a_repeat(office, many):
    rows = applications(office, Narrowed())
    pages, mark = [], ""
    while True:
        page = slice_of(rows, mark=mark)
        pages.append(page)
        if not page.older:
            break
        mark = page.older

    assert [one.pk for page in pages for one in page.rows] == [one.pk for one in many]
    assert [bool(page.newer) for page in pages] == [False, True, True]
    assert {page.count for page in pages} == {len(many)}


def test_newer_pages_lead_back_the_same_way(office, many):
    rows = applications(office, Narrowed())
    first = slice_of(rows)
    second = slice_of(rows, mark=first.older)
    third = slice_of(rows, mark=second.older)

    back = slice_of(rows, mark=third.newer, back=True)

    assert back.rows == second.rows
    assert slice_of(rows, mark=back.newer, back=True).rows == first.rows
    assert slice_of(rows, mark=back.newer, back=True).newer == ""


def test_beyond_what_is_counted_and_what_a_workbook_holds_the_register_says_so(office, client):
    visit = open_visit(office)
    multiplied(treated(visit), MOST_ROWS + 1)
    client.force_login(office)

    page = client.get(COMPANY)
    refused = client.get(AS_XLSX, {"where": visit.site.name})

    assert (page.context["page"].count, page.context["page"].is_capped) == (MOST_COUNTED, True)
    assert refused.status_code == 409
    assert f"at most {MOST_ROWS} applications" in refused.content.decode()
    assert f"{AS_CSV}?where=" in refused.content.decode()


def test_a_pdf_that_would_be_too_long_says_what_to_do_instead(office, client):
    multiplied(treated(open_visit(office)), MOST_ON_PAPER + 1)
    client.force_login(office)

    answer = client.get(reverse("compliance:applications_pdf"))

    assert answer.status_code == 409
    assert f"at most {MOST_ON_PAPER} applications" in answer.content.decode()


def test_a_mark_is_read_back_as_it_was_written(office):
    treated(open_visit(office))
    (row,) = rows_of(applications(office, Narrowed()))

    assert read_mark(mark_of(row)) == (row.started_at, row.pk)


@pytest.mark.parametrize("mark", ["", "x", "20260101T000000.000000Z", "-", "20260101-" + "0" * 32])
def test_what_is_no_mark_is_none(mark):
    assert read_mark(mark) is None


def test_a_page_names_what_each_record_leaves_unsaid(office, client):
    visit = open_visit(office)
    treated(visit, batch_number="", equipment="")
    closed(visit)
    client.force_login(office)

    page = client.get(COMPANY).content.decode()

    assert "batch or lot; equipment" in page
    assert "label and safety data sheet come first" in page


# --- files ----------------------------------------------------------------------------------------


def csv_rows(answer) -> list[dict[str, str]]:
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_the_csv_holds_every_element_of_every_record(office, client):
    visit = open_visit(office, at={"reference": "MB-1"})
    treated(visit, amount=Decimal("2.50"), equipment="")
    closed(visit)
    client.force_login(office)

    (row,) = csv_rows(client.get(AS_CSV))

    assert {label.lower() for label in LABELS.values()} <= row.keys()
    assert row["site reference"] == "MB-1"
    assert row["amount of product"] == "2.5 g"
    assert row["employer"] == "Fennimore & Tull"
    assert row["left unsaid"] == "Equipment"
    assert row["judged by"] == "Everything that any of these rules asks for"
    assert row["sealed as"] == "1"


def test_a_cell_that_a_spreadsheet_would_run_is_words(office, client):
    visit = open_visit(office)
    treated(visit, place="=HYPERLINK(1)", batch_number="@now", note="+1")
    closed(visit)
    client.force_login(office)

    (row,) = csv_rows(client.get(AS_CSV))
    book = openpyxl.load_workbook(io.BytesIO(b"".join(client.get(AS_XLSX).streaming_content)))
    header, cells = book.active.iter_rows(values_only=True)
    sheet = dict(zip(header, cells, strict=True))

    for told in (row, sheet):
        assert told["place treated"] == "'=HYPERLINK(1)"
        assert told["batch or lot"] == "'@now"
        assert told["note"] == "'+1"


def test_the_csv_is_read_in_one_go_however_long_it_is(office, client):
    client.force_login(office)
    counts = []
    for _ in range(2):
        visit = open_visit(office)
        for _ in range(3):
            treated(visit)
        closed(visit)
        with CaptureQueriesContext(connection) as captured:
            rows = csv_rows(client.get(AS_CSV))
        counts.append((len(rows), len(captured)))

    (few, few_queries), (many, many_queries) = counts
    assert many == 2 * few
    assert many_queries == few_queries <= 30


def test_a_workbook_holds_days_and_numbers_as_such(office, client):
    visit = open_visit(office)
    treated(visit)
    closed(visit)
    client.force_login(office)

    answer = client.get(AS_XLSX)
    book = openpyxl.load_workbook(io.BytesIO(b"".join(answer.streaming_content)))
    header, cells = book.active.iter_rows(values_only=True)
    row = dict(zip(header, cells, strict=True))

    assert row["keep until"] == datetime(2029, 12, 8)
    assert row["sealed as"] == 1
    assert answer["Content-Disposition"].endswith('filename="applications.xlsx"')


def test_a_workbook_is_written_to_a_file_that_is_gone_once_closed():
    book = register_workbook(["day", "text"], [[date(2026, 1, 2), "=1"], [None, ""]])

    sheet = openpyxl.load_workbook(book).active

    assert [cell.value for cell in sheet[2]] == [datetime(2026, 1, 2), "'=1"]
    book.close()


def test_the_pdf_says_every_element_and_puts_the_label_first(office, client):
    visit = open_visit(office, at={"name": "Mill Bakery"})
    treated(visit, equipment="")
    closed(visit)
    client.force_login(office)

    answer = client.get(
        reverse("compliance:site_applications_pdf", args=[visit.site_id]),
        {"first": "2026-12-01"},
    )
    paper = PdfReader(io.BytesIO(answer.content))
    text = " ".join(" ".join(page.extract_text() for page in paper.pages).split())

    assert "The product label and the safety data sheet come first" in text
    assert "Mill Bakery" in text
    assert "from 1 Dec 2026" in text
    assert "Hinges of the left oven" in text
    assert "Left unsaid Equipment" in text
    assert "Page 1 of" in text


@pytest.mark.parametrize(("paper", "points"), [("", (595, 842)), ("letter", (612, 792))])
def test_the_pdf_is_printed_on_the_paper_that_was_asked_for(office, client, paper, points):
    """ISO 216 A4 and ANSI letter, in points."""
    client.force_login(office)

    answer = client.get(reverse("compliance:applications_pdf"), {"paper": paper})

    page = PdfReader(io.BytesIO(answer.content)).pages[0].mediabox
    assert (round(page.width), round(page.height)) == points


# --- the client's copy ----------------------------------------------------------------------------


def test_the_client_reads_from_when_people_may_come_back_by_the_sites_clock(office, client):
    visit = open_visit(office, at={"time_zone": "Australia/Sydney"})
    product = make_product()
    product.label.re_entry_minutes = 90
    product.label.save()
    treatment = treated(visit, product, finished_at=local(visit, 9, 50))
    closed(visit)
    client.force_login(make_manager(client=visit.site.client))

    page = client.get(reverse("visits:applied", args=[visit.pk])).content.decode()

    back = treatment.finished_at + timedelta(minutes=90)
    assert back.astimezone(visit.site.zone_info).hour == 11
    assert f'<time datetime="{back.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}">' in page
    assert "11:20" in page
    assert "Told the head chef to keep the placements dry." in page
    assert "Keep off food." in page
    assert "2.5 g" in page
    assert "label version 1" in page


def test_there_is_no_copy_of_what_is_not_closed(office, client):
    visit = open_visit(office)
    treated(visit)
    client.force_login(office)

    assert client.get(reverse("visits:applied", args=[visit.pk])).status_code == 404


def test_rows_come_newest_first(office):
    visit = open_visit(office)
    for minutes in (5, 1, 9):
        treated(visit, started_at=local(visit, 9, minutes))

    instants = [one.started_at for one in rows_of(applications(office, Narrowed()))]

    assert all(newer > older for newer, older in pairwise(instants))
