"""Passes open named sites for a time; managers may be limited to some sites."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.refusals import NotAllowed, Unusable, WrongState
from sites.access import clients_visible_to, passes_visible_to, sites_visible_to
from sites.services.grants import issue_pass, limit_manager, revoke_pass
from tests.builders.sites import make_site


def make_pass(auditor, by, *sites, **fields):
    now = timezone.now()
    defaults = {
        "period_from": date(2026, 1, 1),
        "period_to": date(2026, 12, 31),
        "valid_from": now,
        "valid_until": now + timedelta(days=14),
    }
    return issue_pass(auditor.pk, by=by, sites=sites, **{**defaults, **fields})


@pytest.fixture
def named(office, auditor):
    site = make_site()
    make_site(client=site.client)
    make_pass(auditor, office, site)
    return site


def test_a_pass_opens_the_named_site_and_no_other(named, auditor):
    assert list(sites_visible_to(auditor)) == [named]
    assert list(clients_visible_to(auditor)) == [named.client]


def test_a_pass_that_lapsed_opens_nothing(office, auditor):
    now = timezone.now()
    make_pass(
        auditor,
        office,
        make_site(),
        valid_from=now - timedelta(days=2),
        valid_until=now - timedelta(seconds=1),
    )

    assert not sites_visible_to(auditor).exists()


def test_a_pass_that_is_ended_closes_at_once(named, office, auditor, trail):
    issued = passes_visible_to(auditor).get()
    revoke_pass(issued.pk, by=office, reason="Audit over")

    assert not sites_visible_to(auditor).exists()
    assert trail()[-2:] == ["pass.issued", "pass.revoked"]
    with pytest.raises(WrongState):
        revoke_pass(issued.pk, by=office, reason="Again")


def test_a_pass_names_sites_of_one_client(office, auditor):
    with pytest.raises(Unusable, match="all of one client"):
        make_pass(auditor, office, make_site(), make_site())
    with pytest.raises(Unusable, match="at least one site"):
        make_pass(auditor, office)


def test_only_auditors_get_passes_and_only_from_the_office(office, auditor, technician, manager):
    with pytest.raises(Unusable, match="for an auditor"):
        make_pass(technician, office, make_site())
    with pytest.raises(NotAllowed):
        make_pass(auditor, manager, make_site())


def test_a_manager_sees_all_sites_of_the_client_until_limited(office, manager):
    one, two = make_site(client=manager.client), make_site(client=manager.client)
    strangers = make_site()
    assert set(sites_visible_to(manager)) == {one, two}

    limit_manager(manager.pk, by=office, sites=[one])
    assert list(sites_visible_to(manager)) == [one]

    limit_manager(manager.pk, by=office, sites=[])
    assert set(sites_visible_to(manager)) == {one, two}
    with pytest.raises(Unusable, match="this manager's client"):
        limit_manager(manager.pk, by=office, sites=[strangers])


def test_the_client_sees_who_has_a_pass_on_its_sites(named, office, manager):
    theirs = make_site(client=manager.client)
    from tests.builders.accounts import make_auditor

    make_pass(make_auditor(), office, theirs)

    assert [one.client for one in passes_visible_to(manager)] == [manager.client]


def test_the_office_issues_a_pass_on_a_page(office, auditor, client):
    site = make_site()
    client.force_login(office)
    address = f"{reverse('sites:pass_new')}?client={site.client_id}"
    typed = {
        "auditor": auditor.pk,
        "sites": [site.pk],
        "period_from": "2026-01-01",
        "period_to": "2025-12-31",
        "valid_until": (timezone.now() + timedelta(days=3)).date().isoformat(),
    }

    refused = client.post(address, typed)
    assert (refused.status_code, list(refused.context["form"].errors)) == (422, ["period_to"])

    assert client.post(address, {**typed, "period_to": "2026-12-31"}).status_code == 302
    assert list(sites_visible_to(auditor)) == [site]
    assert client.get(reverse("sites:passes")).status_code == 200
