"""When a contract has undecided work brought back to mind, and to whom it is then passed on."""

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from accounts.models import Branch, TrailEntry
from accounts.refusals import Unusable
from sites.access import sites_visible_to
from sites.models import Contract
from sites.queries import people_who_see
from sites.services.contracts import change_contract
from sites.services.grants import limit_manager
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_contract

pytestmark = pytest.mark.django_db

RULE = {"remind_days": 7, "remind_every_days": 7, "escalate_days": 14}


@pytest.fixture
def site():
    return make_site()


def test_a_contract_reminds_nobody_unless_it_says_so(site):
    contract = make_contract(site)

    said = (contract.remind_days, contract.escalate_days, contract.escalate_to)
    assert said == (None, None, None)


def test_a_rule_is_put_on_file_and_on_the_trail(site, office):
    contract = make_contract(site, by=office)

    change_contract(contract.pk, by=office, escalate_to=office, **RULE)

    contract.refresh_from_db()
    assert (contract.remind_days, contract.escalate_to) == (7, office)
    changed = TrailEntry.objects.get(verb="contract.changed").facts["changed"]
    assert changed["escalate_days"] == [None, 14]
    assert changed["escalate_to"] == [None, office.name]


@pytest.mark.parametrize(
    "rule",
    [
        pytest.param({"remind_days": 0}, id="no day"),
        pytest.param({"remind_days": 366}, id="more than a year"),
        pytest.param({"remind_every_days": 7}, id="a second without a first"),
        pytest.param({"escalate_days": 14}, id="after so long, to nobody"),
    ],
)
def test_a_rule_that_cannot_be_followed_is_refused(site, office, rule):
    with pytest.raises(Unusable):
        make_contract(site, by=office, **rule)
    contract = make_contract(site, by=office)

    with pytest.raises(IntegrityError), transaction.atomic():
        Contract.objects.filter(pk=contract.pk).update(**rule)


def test_to_somebody_but_after_no_time_is_refused(site, office):
    with pytest.raises(Unusable):
        make_contract(site, by=office, escalate_to=office)


def test_only_who_sees_the_site_can_be_told(site, office):
    """A stranger would be told what stands undecided at a site that is not theirs to see."""
    away = make_office()
    away.branches.set([Branch.objects.create(name="Upriver")])
    site.branch = Branch.objects.create(name="Harbour")
    site.save()
    gone = make_manager(client=site.client, is_active=False)
    limited = make_manager(client=site.client)
    limit_manager(limited.pk, by=office, sites=[make_site(client=site.client)])

    for person in (away, make_manager(), gone, limited, make_technician()):
        with pytest.raises(Unusable, match="does not see"):
            make_contract(site, by=office, escalate_days=14, escalate_to=person)

    fit = make_manager(client=site.client)
    assert make_contract(site, by=office, escalate_days=14, escalate_to=fit).escalate_to == fit


def test_who_was_chosen_and_has_left_since_stands_in_the_way_of_no_other_change(site, office):
    left = make_manager(client=site.client)
    contract = make_contract(site, by=office, escalate_days=14, escalate_to=left)
    left.is_active = False
    left.save()

    change_contract(contract.pk, by=office, response_hours=4, escalate_to=left)

    contract.refresh_from_db()
    assert (contract.response_hours, contract.escalate_to) == (4, left)


@pytest.mark.parametrize("sites", [2, 20])
def test_who_sees_a_site_is_who_may_look_at_it(sites, django_assert_num_queries):
    """The same answer as ``sites_visible_to`` from the other side, and three queries for it."""
    harbour, upriver = (Branch.objects.create(name=name) for name in ("Harbour", "Upriver"))
    client = make_site().client
    where = [None, harbour, upriver]
    made = [make_site(client=client, branch=where[n % 3]) for n in range(sites)]
    made.append(make_site())
    people = [make_office(), make_office(), make_manager(client=client), make_manager()]
    people[1].branches.set([upriver])
    people += [make_manager(client=client), make_office(is_active=False)]
    limit_manager(people[4].pk, by=people[0], sites=made[:1])

    with django_assert_num_queries(3):
        seeing = people_who_see(made)

    for person in people:
        may = set(sites_visible_to(person).filter(pk__in=[one.pk for one in made]))
        assert {one for one in made if person in seeing[one.pk]} == may


# --- the page and the programs ------------------------------------------------------------------


def sent(contract, **rule) -> dict[str, object]:
    return {
        "number": contract.number,
        "starts_on": contract.starts_on,
        "response_hours": contract.response_hours,
        "call_out_price": contract.call_out_price,
        **rule,
    }


def test_the_office_agrees_a_rule_on_the_page_and_the_site_shows_it(client, site, office):
    contract = make_contract(site, by=office)
    manager = make_manager(client=site.client, name="Petra Lund")
    client.force_login(office)
    page = reverse("sites:contract_edit", args=[contract.pk])
    assert "nobody is reminded" in client.get(site.get_absolute_url()).content.decode()

    answer = client.post(page, sent(contract, escalate_to=manager.pk, **RULE))

    assert answer.status_code == 302
    words = " ".join(client.get(site.get_absolute_url()).content.decode().split())
    assert "reminder after 7 days, then every 7; Petra Lund is told after 14 days" in words


def test_what_is_half_said_stands_beside_its_field(client, site, office):
    contract = make_contract(site, by=office)
    client.force_login(office)
    page = reverse("sites:contract_edit", args=[contract.pk])

    half = client.post(page, sent(contract, escalate_days=14))
    second = client.post(page, sent(contract, remind_every_days=7))

    assert (half.status_code, second.status_code) == (422, 422)
    assert "escalate_to" in half.context["form"].errors
    assert "remind_days" in second.context["form"].errors


def test_a_page_offers_nobody_who_does_not_see_the_site(client, site, office):
    contract = make_contract(site, by=office)
    stranger = make_manager()
    client.force_login(office)

    answer = client.post(
        reverse("sites:contract_edit", args=[contract.pk]),
        sent(contract, escalate_to=stranger.pk, **RULE),
    )

    assert "escalate_to" in answer.context["form"].errors
    assert Contract.objects.get().escalate_to is None


def test_programs_read_and_set_the_rule_and_only_the_office_reads_to_whom(client, site, office):
    contract = make_contract(site, by=office)
    address = reverse("api-contracts-detail", args=[contract.pk])
    client.force_login(office)

    answer = client.patch(
        address, {"escalate_to": str(office.pk), **RULE}, content_type="application/json"
    )

    assert (answer.status_code, answer.json()["escalate_to"]) == (200, str(office.pk))
    client.force_login(make_manager(client=site.client))
    told = client.get(address).json()
    assert (told["remind_days"], told["escalate_days"], told["escalate_to"]) == (7, 14, None)


def test_programs_are_refused_what_cannot_be_followed(client, site, office):
    contract = make_contract(site, by=office)
    client.force_login(office)
    address = reverse("api-contracts-detail", args=[contract.pk])

    for rule in ({"remind_days": 0}, {"remind_every_days": 3}, {"escalate_days": 3}):
        assert client.patch(address, rule, content_type="application/json").status_code in {
            400,
            422,
        }
    contract.refresh_from_db()
    assert (contract.remind_days, contract.escalate_days) == (None, None)
