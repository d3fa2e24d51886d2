"""Spreadsheets in and out."""

import csv
import io
import zipfile
from datetime import date, datetime
from io import StringIO
from typing import Any

import openpyxl
import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from accounts.models import Client, TrailEntry
from accounts.refusals import Unusable, WrongState
from accounts.sheets import as_cell
from sites.exporting import export_csv, export_xlsx
from sites.importing import sheets
from sites.importing.books import MOST_ROWS, Unreadable, read_book
from sites.importing.planning import plan_file
from sites.importing.sheets import Verdict
from sites.models import ImportJob, Monitor, Site, Zone
from sites.services.imports import (
    accept_import,
    drop_import,
    import_file,
    receive_import,
    work_imports,
)
from visits.models import Pest, Reading

CLIENTS = [["client_reference", "client_name"], ["HARB", "Harbour Hotels"]]
SITES = [
    ["site_reference", "client_reference", "site_name", "address", "time_zone"],
    ["HARB-1", "HARB", "Quay House", "1 Quay\nPort Marlow", "Europe/London"],
    ["HARB-2", "HARB", "Mill House", "2 Mill Lane", "Europe/Lisbon"],
]
ZONES = [
    ["site_reference", "zone_name", "zone_kind", "boundary"],
    ["HARB-1", "Kitchen", "kitchen", ""],
    ["HARB-1", "Yard", "Waste area", "shared"],
]
MONITORS = [
    ["site_reference", "monitor_number", "monitor_kind", "zone_name", "placed_on"],
    ["HARB-1", 1, "sticky", "Kitchen", date(2026, 1, 5)],
    ["harb-1", 2, "Rodent bait station", "yard", datetime(2026, 1, 5)],
]
READINGS = [
    ["site_reference", "monitor_number", "read_on", "pest", "count"],
    ["HARB-1", 1, date(2026, 2, 2), "German cockroach", 4],
    ["HARB-1", 1, date(2026, 2, 2), "House fly", 1],
    ["HARB-1", 1, date(2026, 3, 2), None, None],
]
BOOK = {
    "monitors": MONITORS,
    "clients": CLIENTS,
    "sites": SITES,
    "zones": ZONES,
    "readings": READINGS,
}


def xlsx(**tables: list[list[Any]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tables.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def csv_text(rows: list[list[Any]], delimiter: str = ",") -> str:
    target = io.StringIO()
    csv.writer(target, delimiter=delimiter).writerows(rows)
    return target.getvalue()


def problems(data: bytes, name: str = "book.xlsx") -> list[tuple[str, str]]:
    return [
        (problem.cell, problem.sentence)
        for planned in plan_file(data, name).sheets
        for row in planned.rows
        for problem in row.problems
    ]


def counts(plan: Any) -> dict[str, int]:
    return {verdict.value: plan.count(verdict) for verdict in Verdict}


@pytest.fixture
def pests(db) -> None:
    for slug, name, group in [
        ("german-cockroach", "German cockroach", "cockroach"),
        ("house-fly", "House fly", "fly"),
    ]:
        Pest.objects.get_or_create(slug=slug, defaults={"name": name, "group": group})


@pytest.fixture
def imported(pests, office) -> None:
    import_file(xlsx(**BOOK), "book.xlsx", by=office, write=True)


def test_a_whole_book_goes_in_whatever_the_order_of_its_sheets(imported):
    site = Site.objects.get(reference="HARB-1")
    kitchen, yard = site.zones.order_by("walk_order")

    assert site.client.name == "Harbour Hotels"
    assert (kitchen.kind, yard.kind, yard.boundary) == ("kitchen", "waste", "shared")
    assert kitchen.checkpoints.filter(height="low").exists()
    assert list(site.monitors.order_by("number").values_list("number", "zone__name")) == [
        (1, "Kitchen"),
        (2, "Yard"),
    ]


def test_past_readings_know_their_exposure(imported):
    """Days stood count from the day it was placed, then from the reading before."""
    first, second = Reading.objects.order_by("read_on")

    assert (first.stood_days, second.stood_days) == (28, 28)
    assert sorted(first.counts.values_list("pest__slug", "count")) == [
        ("german-cockroach", 4),
        ("house-fly", 1),
    ]
    assert not second.counts.exists()


def test_the_same_file_twice_changes_nothing(imported, office):
    entries = TrailEntry.objects.count()

    plan = import_file(xlsx(**BOOK), "book.xlsx", by=office, write=True)

    assert counts(plan) == {"new": 0, "changed": 0, "same": 10, "error": 0}
    assert TrailEntry.objects.count() == entries


def test_export_gives_back_what_import_takes(imported, office):
    """Whole workbook and each sheet as CSV: nothing to do when they come back."""
    back = export_xlsx(Site.objects.all())

    plan = plan_file(back, "back.xlsx")

    assert counts(plan) == {"new": 0, "changed": 0, "same": 10, "error": 0}
    came_back = 0
    for sheet in sheets.known_sheets():
        text = "".join(export_csv(sheet, Site.objects.all()))
        one = plan_file(text.encode(), f"{sheet.key}.csv")
        assert one.count(Verdict.SAME) == len(one.sheets[0].rows), sheet.key
        came_back += len(one.sheets[0].rows)
    assert came_back == 10


def test_an_export_builds_the_same_sites_on_an_empty_system(imported, office):
    back = export_xlsx(Site.objects.all())
    Reading.objects.all().delete()
    Monitor.objects.all().delete()
    Zone.objects.get(name="Kitchen").checkpoints.all().delete()
    Zone.objects.get(name="Yard").checkpoints.all().delete()
    for model in (Zone, Site, Client):
        model.objects.all().delete()

    plan = import_file(back, "back.xlsx", by=office, write=True)

    assert counts(plan) == {"new": 10, "changed": 0, "same": 0, "error": 0}
    assert export_xlsx(Site.objects.all())[:4] == b"PK\x03\x04"
    assert counts(plan_file(back, "back.xlsx"))["same"] == 10


def test_a_change_says_what_it_was_and_an_empty_cell_leaves_it(imported, office):
    rows = [SITES[0], ["HARB-1", "HARB", "Quay Hotel", "1 Quay\nPort Marlow", ""]]

    plan = import_file(xlsx(sites=rows), "s.xlsx", by=office, write=True)

    [row] = plan.sheets[0].rows
    assert row.verdict is Verdict.CHANGED
    assert row.words == "Changes site HARB-1: name: “Quay House” becomes “Quay Hotel”"
    site = Site.objects.get(reference="HARB-1")
    assert (site.name, site.time_zone) == ("Quay Hotel", "Europe/London")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_csv_comes_as_spreadsheets_write_it(db, delimiter, encoding):
    rows = [CLIENTS[0], ["CAFÉ", "Café Zoë; and, more"]]

    plan = plan_file(csv_text(rows, delimiter).encode(encoding), "clients.csv")

    assert plan.sheets[0].rows[0].words == "Adds client CAFÉ"


def bad_cell(sheet: str, row: int, column: int, value: Any) -> bytes:
    """The whole good book with one cell replaced."""
    tables = {name: [list(cells) for cells in rows] for name, rows in BOOK.items()}
    tables[sheet][row - 1][column] = value
    return xlsx(**tables)


@pytest.mark.parametrize(
    ("where", "value", "cell", "sentence"),
    [
        (("monitors", 3, 1), 1, "A3", "stands in row 2 already"),
        (("monitors", 2, 3), "Loft", "D2", "no zone of this name"),
        (("monitors", 2, 3), None, "D2", "zone_name is empty"),
        (("monitors", 2, 4), 46027, "E2", "is a number, not a date"),
        (("monitors", 2, 4), "05/01/2026", "E2", "is not a date as 2026-02-03"),
        (("monitors", 2, 4), "2026-02-30", "E2", "There is no day 2026-02-30"),
        (("monitors", 2, 1), "=1+1", "B2", "holds a formula"),
        (("monitors", 2, 1), "one", "B2", "is not a whole number"),
        (("monitors", 2, 1), 0, "B2", "is not between 1 and"),
        (("monitors", 2, 2), "catapult", "C2", "is not one of: bait_station"),
        (("zones", 2, 0), "HARB-9", "A2", "no site with this reference"),
        (("sites", 2, 1), "NOBODY", "B2", "no client with this reference"),
        (("sites", 2, 4), "Mars/Base", "E2", "is not a time zone"),
        (("sites", 2, 2), "x" * 121, "C2", "121 characters long; the most is 120"),
        (("readings", 2, 2), date(2025, 12, 1), "C2", "stands there only since"),
        (("readings", 2, 2), date(2099, 1, 1), "C2", "still to come"),
        (("readings", 2, 3), "Dragon", "D2", "is no pest on the list"),
        (("readings", 2, 4), None, "E2", "Say how many"),
        (("readings", 2, 4), -1, "E2", "is not between 0 and"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_every_bad_cell_is_named_and_nothing_is_written(
    pests, office, where, value, cell, sentence
):
    data = bad_cell(*where, value)

    found = problems(data)

    assert [(where_, words) for where_, words in found if where_ == cell and sentence in words], (
        found
    )
    import_file(data, "book.xlsx", by=office, write=True)
    assert not Site.objects.exists()
    assert not TrailEntry.objects.exists()


def test_a_row_that_leans_on_a_bad_row_is_bad_too(pests):
    """Without its client a site is not added, and so neither are its zones and monitors."""
    data = bad_cell("clients", 2, 0, None)

    plan = plan_file(data, "book.xlsx")

    assert plan.count(Verdict.NEW) == 0


def test_the_good_rows_alone_go_in_when_asked(pests, office):
    data = bad_cell("monitors", 3, 3, "Loft")

    plan = import_file(data, "book.xlsx", by=office, write=True, good_rows_only=True)

    assert plan.count(Verdict.ERROR) == 1
    assert list(Monitor.objects.values_list("number", flat=True)) == [1]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "The file is empty"),
        (b"client_reference,client_name\nA,Caf\xe9\n", "row 2 holds a byte"),
        (b"\xd0\xcf\x11\xe0rest", "old .xls"),
        (b"PK\x03\x04rest", "damaged"),
        (b"\n\n", "holds no table"),
        (b'a,b\n"open\n', "not proper CSV"),
        (b"a,a\n1,2\n", "two columns named a"),
        (b"x" * 15_000_001, "the most is 15 MB"),
    ],
    ids=["empty", "encoding", "old", "damaged", "blank", "quotes", "twice", "large"],
)
def test_a_file_that_is_no_spreadsheet_is_refused_in_words(data, sentence):
    with pytest.raises(Unreadable, match=sentence):
        read_book(data, "file.csv")


def test_a_workbook_that_unpacks_without_end_is_refused_before_it_is_read():
    bomb = io.BytesIO()
    with (
        zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as parts,
        parts.open("xl/worksheets/sheet1.xml", "w") as part,
    ):
        for _ in range(310):
            part.write(b" " * 1_000_000)

    with pytest.raises(Unreadable, match="unpacks to more"):
        read_book(bomb.getvalue(), "bomb.xlsx")


def test_too_many_rows_are_refused_and_the_most_are_taken(db):
    heading, row = "client_reference,client_name\n", "C{0},Client {0}\n"
    most = heading + "".join(row.format(n) for n in range(MOST_ROWS))

    assert plan_file(most.encode(), "clients.csv").count(Verdict.NEW) == MOST_ROWS
    with pytest.raises(Unreadable, match="the most is 50,000"):
        plan_file((most + row.format("X")).encode(), "clients.csv")


def test_checking_costs_no_query_for_a_row(db, django_assert_num_queries):
    def plan_of(rows: int) -> None:
        text = "client_reference,client_name\n" + "".join(f"C{n},N\n" for n in range(rows))
        plan_file(text.encode(), "clients.csv")

    with django_assert_num_queries(1):
        plan_of(3)
    with django_assert_num_queries(1):
        plan_of(300)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "＝", "\ufeff="])
def test_text_that_looks_like_a_formula_leaves_as_text_and_comes_back_as_it_was(office, start):
    """Formula injection in exported cells: OWASP ASVS 5.0, 1.2.10."""
    note = f"{start}HYPERLINK(1)"
    client = Client.objects.create(reference="C", name="C")
    Site.objects.create(client=client, reference="S", name="S", address="A", hazards=note)

    [kept] = [sheet for sheet in sheets.known_sheets() if sheet.key == "sites"]
    text = "".join(export_csv(kept, Site.objects.all()))
    cells = next(iter(csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))))

    assert cells["hazards"].startswith("'")
    assert plan_file(text.encode(), "sites.csv").count(Verdict.SAME) == 1


@pytest.mark.parametrize("text", ["\t=1", "\r=1", " =1", '"=1', "'=1"], ids=repr)
def test_what_hides_a_formula_is_guarded_too(text):
    assert as_cell(text) == f"'{text}"


@pytest.mark.parametrize("value", [-1.5, 3, "plain", "a=b", "", date(2026, 1, 1)], ids=repr)
def test_numbers_days_and_plain_text_stay_as_they_are(value):
    assert as_cell(value) == value


def test_formulas_stay_text_in_the_workbook(db):
    Client.objects.create(reference="C", name="=1+1")
    client = Client.objects.get()
    Site.objects.create(client=client, reference="S", name="S", address="A")

    book = openpyxl.load_workbook(io.BytesIO(export_xlsx(Site.objects.all())))

    assert book["clients"]["B2"].data_type == "s"


def test_a_page_shows_every_row_first_and_writes_when_accepted(pests, office, client, trail):
    client.force_login(office)
    file = io.BytesIO(xlsx(**BOOK))
    file.name = "book.xlsx"

    answer = client.post(reverse("sites:import"), {"file": file})
    job = ImportJob.objects.get()
    assert answer.url == job.get_absolute_url()
    assert "Waiting to be checked" in client.get(answer.url).content.decode()

    work_imports()
    page = client.get(answer.url).content.decode()
    assert "Adds site HARB-1" in page
    assert not Site.objects.exists()

    client.post(reverse("sites:import_accept", args=[job.pk]))
    work_imports()
    assert Site.objects.count() == 2
    assert trail() == [
        "import.received",
        "import.checked",
        "import.accepted",
        "site.imported",
        "site.imported",
        "import.applied",
    ]


def test_errors_must_be_accepted_in_so_many_words(pests, office):
    job = receive_import(bad_cell("monitors", 3, 3, "Loft"), "book.xlsx", by=office)
    work_imports()

    with pytest.raises(Unusable, match="Some rows have errors"):
        accept_import(job.pk, by=office)
    accept_import(job.pk, by=office, good_rows_only=True)
    work_imports()

    job.refresh_from_db()
    assert (job.state, Monitor.objects.count()) == ("applied", 1)


def test_an_import_is_worked_once_however_often_the_sweep_runs(pests, office):
    job = receive_import(xlsx(**BOOK), "book.xlsx", by=office)

    assert [work_imports(), work_imports()] == [1, 0]
    accept_import(job.pk, by=office)
    assert [work_imports(), work_imports()] == [1, 0]
    with pytest.raises(WrongState):
        accept_import(job.pk, by=office)
    with pytest.raises(WrongState):
        drop_import(job.pk, by=office)


def test_data_that_moved_between_check_and_import_is_looked_at_again(pests, office):
    job = receive_import(xlsx(zones=ZONES, monitors=MONITORS), "m.xlsx", by=office)
    work_imports()
    job.refresh_from_db()
    assert job.outcome["counts"]["error"] > 0
    import_file(xlsx(clients=CLIENTS, sites=SITES), "s.xlsx", by=office, write=True)
    again = receive_import(xlsx(zones=ZONES, monitors=MONITORS), "m.xlsx", by=office)
    work_imports()
    accept_import(again.pk, by=office)
    Site.objects.filter(reference="HARB-1").update(reference="GONE-1")

    work_imports()

    again.refresh_from_db()
    assert again.state == "checked"
    assert "changed since" in again.problem
    assert not Zone.objects.exists()


def test_an_unreadable_upload_says_why(office, client):
    client.force_login(office)
    job = receive_import(b"\xff\x00\x01", "photo.csv", by=office)
    work_imports()

    page = client.get(job.get_absolute_url()).content.decode()

    assert "could not be read" in page


def test_the_command_names_cells_and_ends_with_an_error(pests, tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(bad_cell("monitors", 3, 3, "Loft"))
    out, err = StringIO(), StringIO()

    with pytest.raises(CommandError, match="Nothing was written"):
        call_command("import_sites", path, stdout=out, stderr=err)
    assert "Monitors row 3 D3: This site has no zone of this name." in err.getvalue()
    assert not Site.objects.exists()

    call_command("import_sites", path, "--good-rows", stdout=out, stderr=err)
    assert Monitor.objects.count() == 1


def test_the_command_says_what_would_happen_only(pests, tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(xlsx(**BOOK))
    out = StringIO()

    call_command("import_sites", path, "--dry-run", stdout=out)

    assert "Sites row 2: Adds site HARB-1" in out.getvalue()
    assert not Site.objects.exists()


@pytest.mark.parametrize("name", ["technician", "manager", "auditor"])
def test_only_the_office_imports_and_exports(request, client, name):
    client.force_login(request.getfixturevalue(name))

    for address in ("sites:import", "sites:export", "sites:import_blank"):
        assert client.get(reverse(address)).status_code == 403
