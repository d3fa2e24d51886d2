"""The pages of thresholds and breaches: who sees what, what the forms take, what the list says."""

import csv
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.models import ActionThreshold, Breach
from compliance.services.thresholds import end_threshold, find_breaches
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import give_pass
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.thresholds import catch, count_month, make_threshold, pest
from tests.builders.visits import make_contract, make_visit

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.filterwarnings("ignore:No directory at"),
]


@pytest.fixture(autouse=True)
def _no_usual_thresholds():
    ActionThreshold.objects.all().delete()


@pytest.fixture
def trap():
    return make_monitor(make_zone(make_site(name="Harbour Grand"), name="Bakery"))


@pytest.fixture
def boss(client):
    person = make_office(is_administrator=True)
    client.force_login(person)
    return person


def today() -> date:
    return timezone.now().date()


def page(client, name: str, *args, **query) -> str:
    answer = client.get(reverse(f"compliance:{name}", args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def typed(**fields) -> dict[str, str]:
    return {"name": "Mice", "per": "reading", "least": "2", "then": "action", **fields}


# --- thresholds ---------------------------------------------------------------------------------


def test_a_threshold_is_set_at_a_site_with_zone_and_contract(client, boss, trap):
    contract = make_contract(trap.site, number="K-7")
    url = reverse("compliance:site_threshold_new", args=[trap.site_id])
    assert client.get(url).status_code == 200
    answer = client.post(
        url, typed(pest=pest().pk, zone=trap.zone_id, contract=contract.pk, begins_on="")
    )
    assert answer.url == reverse("compliance:site_thresholds", args=[trap.site_id])

    made = ActionThreshold.objects.get()
    assert (made.pest, made.zone, made.contract) == (pest(), trap.zone, contract)
    assert (made.least, made.then, made.begins_on) == (2, "action", today())
    shown = page(client, "site_thresholds", trap.site_id)
    for words in ("Mice", "House mouse", "Bakery", "2 at one reading", "Agreed in Contract K-7"):
        assert words in shown


def test_an_administrator_sets_one_for_the_whole_company(client, boss):
    url = reverse("compliance:threshold_new")
    fields = typed(group="rodent", zone_kinds=["kitchen", "cellar"], least="2.5", per="zone_month")
    assert client.post(url, fields).url == reverse("compliance:thresholds")
    shown = page(client, "thresholds")
    assert "Each of: rodents" in shown
    assert "Cellar, Kitchen" in shown
    assert "2.5 per 100 trap-days in a month" in shown


def test_an_office_person_who_is_no_administrator_reads_the_companys(client):
    made = make_threshold()
    client.force_login(make_office())
    shown = page(client, "thresholds")
    assert "Any mouse" in shown
    assert reverse("compliance:threshold_change", args=[made.pk]) not in shown
    assert reverse("compliance:threshold_new") not in shown
    for name, args in [("threshold_new", ()), ("threshold_end", (made.pk,))]:
        assert client.post(reverse(f"compliance:{name}", args=args)).status_code == 403


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"least": "1.5"}, "Individuals at one reading are whole numbers."),
        ({"least": "0"}, "A threshold lies above 0"),
        ({"least": "many"}, "Write a number"),
        ({"begins_on": "2001-01-01"}, "Nothing further back than 62 days"),
        ({"group": "ant"}, "one pest or a group"),
        ({"name": ""}, "required"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(
    client, boss, trap, fields, words
):
    url = reverse("compliance:site_threshold_new", args=[trap.site_id])
    answer = client.post(url, typed(pest=pest().pk, **fields))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not ActionThreshold.objects.exists()


def test_a_change_begins_with_what_stands_and_ends_it(client, boss, trap):
    old = make_threshold(trap.zone, begins_on=date(2020, 1, 1), least=Decimal(3))
    url = reverse("compliance:threshold_change", args=[old.pk])
    form = client.get(url).context["form"]
    assert form["least"].value() == "3"
    assert form["zone"].value() == trap.zone_id

    client.post(url, typed(pest=pest().pk, zone=trap.zone_id, least="4"))
    old.refresh_from_db()
    assert old.ended_on == today()
    assert ActionThreshold.objects.get(ended_on=None).least == 4
    assert client.post(url, typed(pest=pest().pk)).status_code == 409


def test_a_threshold_is_ended_once_asked(client, boss, trap):
    made = make_threshold(trap.zone)
    url = reverse("compliance:threshold_end", args=[made.pk])
    assert "Harbour Grand" in client.get(url).content.decode()
    client.post(url)
    made.refresh_from_db()
    assert made.ended_on == today()
    answer = client.get(reverse("compliance:site_thresholds", args=[trap.site_id]))
    assert not answer.context["page"].object_list
    assert "ended" in page(client, "site_thresholds", trap.site_id, state="ended")


def test_a_site_shows_its_own_and_the_companys_with_what_they_caught_there(client, trap):
    manager = make_manager(client=trap.site.client)
    make_threshold(name="For all", begins_on=today() - timedelta(days=9))
    make_threshold(trap.zone, name="Our own")
    stranger = make_monitor(make_zone(make_site()))
    make_threshold(stranger.zone, name="Of strangers")
    for monitor in (trap, stranger):
        catch(monitor, today())
    find_breaches()
    client.force_login(manager)
    answer = client.get(reverse("compliance:site_thresholds", args=[trap.site_id]))

    rows = {one.name: (one.reached, one.waiting) for one in answer.context["page"]}
    assert rows == {"For all": (1, 1), "Our own": (1, 1)}
    assert "Set a threshold" not in answer.content.decode()
    url = reverse("compliance:site_thresholds_csv", args=[trap.site_id])
    body = b"".join(client.get(url)).decode("utf-8-sig")
    lines = {row["name"]: row["reached"] for row in csv.DictReader(StringIO(body))}
    assert lines == {"For all": "1", "Our own": "1"}


def test_a_technician_reads_the_thresholds_without_the_contract(client, trap):
    technician = make_technician()
    make_visit(trap.site, state="booked", technician=technician, due_on=today())
    make_threshold(trap.zone, contract_id=make_contract(trap.site, number="K-7").pk)
    client.force_login(technician)
    shown = page(client, "site_thresholds", trap.site_id)
    assert "Any mouse" in shown
    assert "K-7" not in shown
    url = reverse("compliance:site_thresholds_csv", args=[trap.site_id])
    assert b"K-7" not in b"".join(client.get(url))


def test_the_list_is_narrowed_and_downloaded(client, boss, trap):
    make_threshold(name="For all")
    make_threshold(trap.zone, name="Our own")
    end_threshold(make_threshold(name="Bygone").pk, by=boss)
    answer = client.get(reverse("compliance:thresholds"), {"where": "sites"})
    assert [one.name for one in answer.context["page"]] == ["Our own"]
    answer = client.get(reverse("compliance:thresholds"), {"state": "all"})
    assert [one.name for one in answer.context["page"]] == ["For all", "Our own", "Bygone"]
    body = b"".join(client.get(reverse("compliance:thresholds_csv"))).decode("utf-8-sig")
    assert [row["name"] for row in csv.DictReader(StringIO(body))] == ["For all", "Our own"]


# --- breaches -----------------------------------------------------------------------------------


@pytest.fixture
def breach(trap):
    make_threshold(begins_on=date(2020, 1, 1))
    for days in range(3):
        catch(trap, today() - timedelta(days=days))
    find_breaches()
    return Breach.objects.latest("on")


def test_breaches_say_what_was_reached_and_what_came_of_it(client, boss, breach):
    shown = page(client, "breaches")
    assert "House mouse, Bakery" in shown
    assert "to act from 1" in shown
    assert reverse("compliance:breach_answer", args=[breach.pk]) in shown
    assert "3</span> breaches" in shown


def test_a_month_is_named_as_a_month(client, boss, trap):
    fields = {"per": "zone_month", "least": Decimal(1), "pest_id": pest("fruit-fly").pk}
    last_month = (today().replace(day=1) - timedelta(days=1)).replace(day=1)
    make_threshold(begins_on=date(2020, 1, 1), **fields)
    count_month(trap, last_month, 12, half_days=60)
    find_breaches()
    assert f"{last_month:%B %Y}" in page(client, "breaches")
    answer_url = reverse("compliance:breach_answer", args=[Breach.objects.get().pk])
    assert "All readings of" in client.get(answer_url).content.decode()


def test_the_office_answers_one_and_the_rest_with_it(client, boss, breach):
    url = reverse("compliance:breach_answer", args=[breach.pk])
    asked = client.get(url).content.decode()
    assert "the 2 other open ones" in asked
    assert f"What was done about {breach.pest.name} in" in asked
    assert client.post(url, {"answer": " "}).status_code == 422
    client.post(url, {"answer": "The door was closed.", "with_the_rest": "on"})
    assert Breach.objects.filter(state="answered").count() == 3
    assert "Nothing here" in page(client, "breaches")
    shown = page(client, "breaches", state="answered")
    assert "The door was closed." in shown
    assert client.post(url, {"answer": "Again."}).status_code == 409


def test_a_manager_reads_own_breaches_and_answers_none(client, breach):
    client.force_login(make_manager(client=breach.site.client))
    shown = page(client, "breaches")
    assert "House mouse, Bakery" in shown
    url = reverse("compliance:breach_answer", args=[breach.pk])
    assert url not in shown
    assert client.post(url, {"answer": "Done."}).status_code == 403
    client.force_login(make_manager())
    assert "Nothing here" in page(client, "breaches", state="all")
    assert client.get(url).status_code == 404


def test_an_auditor_reads_those_of_the_period(client, breach):
    auditor = make_auditor()
    give_pass(
        auditor,
        breach.site,
        period_from=today() - timedelta(days=30),
        period_to=today() - timedelta(days=1),
    )
    client.force_login(auditor)
    answer = client.get(reverse("compliance:breaches"), {"state": "all"})
    assert len(answer.context["page"]) == 2
    body = b"".join(client.get(reverse("compliance:breaches_csv"))).decode("utf-8-sig")
    assert len(list(csv.DictReader(StringIO(body)))) == 2


def test_the_list_is_narrowed_by_site_and_pest_and_says_what_it_cannot_read(client, boss, breach):
    other = make_site(name="Elsewhere")
    assert "Nothing here" in page(client, "breaches", site=other.pk)
    assert "Nothing here" in page(client, "breaches", pest="brown-rat")
    assert "House mouse, Bakery" in page(client, "breaches", site=breach.site_id.hex)
    assert "Select a valid choice" in page(client, "breaches", pest="dragon")


def test_the_csv_carries_figures(client, boss, breach):
    body = b"".join(client.get(reverse("compliance:breaches_csv"))).decode("utf-8-sig")
    first = next(csv.DictReader(StringIO(body)))
    assert (first["site"], first["pest"], first["count"]) == ("Harbour Grand", "House mouse", "1")
    assert (first["trap-days"], first["state"]) == ("30.0", "Open")
