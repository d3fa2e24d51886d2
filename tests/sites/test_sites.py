"""Clients, sites, contacts and contracts are put on file, kept current, and closed."""

from datetime import date, time, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from accounts.models import Branch, Client, TrailEntry
from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from sites.keeping import Taken, fingerprint
from sites.models import Contact, Contract, Site
from sites.services.clients import add_client, change_client
from sites.services.contacts import add_contact, change_contact, remove_contact
from sites.services.contracts import add_contract, change_contract
from sites.services.sites import (
    Opening,
    add_site,
    change_site,
    close_site,
    reopen_site,
    set_access_windows,
)
from tests.builders.accounts import make_client, make_office
from tests.builders.sites import make_site

pytestmark = pytest.mark.django_db
ADDRESS = "1 Quay Street, Port Marlow"


def facts_of(verb):
    return TrailEntry.objects.get(verb=verb).facts


class TestClients:
    def test_a_client_is_added_and_told_once(self, office, trail):
        client = add_client(by=office, reference="QGH", name="Quayside Grand Hotels")

        assert Client.objects.get(reference="QGH") == client
        assert trail() == ["client.added"]

    def test_a_reference_is_used_once_whatever_its_capitals(self, office, trail):
        add_client(by=office, reference="QGH", name="Quayside")

        with pytest.raises(Taken, match="Another client has this reference"):
            add_client(by=office, reference="qgh", name="Other")

        assert (Client.objects.count(), trail()) == (1, ["client.added"])

    def test_a_change_is_told_with_old_and_new(self, office):
        client = add_client(by=office, reference="QGH", name="Quayside")

        change_client(client.pk, by=office, name="Quayside Hotels")

        assert facts_of("client.changed") == {"changed": {"name": ["Quayside", "Quayside Hotels"]}}

    def test_a_change_of_nothing_leaves_no_entry(self, office, trail):
        client = add_client(by=office, reference="QGH", name="Quayside")

        change_client(client.pk, by=office, name="Quayside")

        assert trail() == ["client.added"]


class TestSites:
    def test_a_site_is_added_and_told_on_its_own_stream(self, office, trail):
        site = add_site(
            make_client().pk, by=office, reference="Q1", name="Quayside", address=ADDRESS
        )

        assert trail() == ["site.added"]
        assert TrailEntry.objects.get().stream_id == f"site:{site.pk}"

    def test_a_former_client_gets_no_new_site(self, office):
        client = make_client(closed_on=date(2026, 1, 1))

        with pytest.raises(WrongState, match="no longer a client"):
            add_site(client.pk, by=office, reference="Q1", name="Q", address=ADDRESS)

    @pytest.mark.parametrize(
        ("facts", "field"),
        [
            ({"time_zone": "Europe/Port_Marlow"}, "time_zone"),
            ({"holiday_region": "GB-ATLANTIS"}, "holiday_region"),
        ],
    )
    def test_what_is_not_known_is_refused(self, office, facts, field):
        site = make_site()

        with pytest.raises(Unusable) as refusal:
            change_site(site.pk, by=office, **facts)

        assert refusal.value.facts["field"] == field

    def test_a_change_is_told_with_old_and_new(self, office):
        site = make_site(name="Quayside")

        change_site(site.pk, by=office, name="Quayside Grand", latitude=None)

        assert facts_of("site.changed") == {"changed": {"name": ["Quayside", "Quayside Grand"]}}

    def test_who_did_not_see_the_latest_is_refused_and_writes_nothing(self, office, trail):
        site = make_site(hazards="None known")
        seen = fingerprint(site, ["hazards"])
        change_site(site.pk, by=office, hazards="Steep steps")
        told = trail()

        with pytest.raises(Changed):
            change_site(site.pk, by=office, seen=seen, hazards="")

        assert (Site.objects.get().hazards, trail()) == ("Steep steps", told)

    def test_only_the_office_writes(self, office, technician, manager, auditor, trail):
        site = make_site(client=manager.client)
        told = trail()

        for somebody in (technician, manager, auditor):
            with pytest.raises(NotAllowed):
                change_site(site.pk, by=somebody, name="Mine")

        assert (Site.objects.get().name, trail()) == (site.name, told)

    def test_an_office_of_other_branches_does_not_reach_it(self, office):
        harbour, hills = Branch.objects.create(name="Harbour"), Branch.objects.create(name="Hills")
        site = make_site(branch=harbour)
        limited = make_office()
        limited.branches.add(hills)

        with pytest.raises(Site.DoesNotExist):
            change_site(site.pk, by=limited, name="Mine")


class TestClosing:
    def today(self, site):
        return site.day_of(timezone.now())

    def test_a_site_is_closed_and_opened_again(self, office, trail):
        site = make_site()
        told = trail()

        close_site(site.pk, by=office, on=self.today(site), reason="Sold")
        reopen_site(site.pk, by=office, reason="Bought back")

        site.refresh_from_db()
        assert site.closed_on is None
        assert trail() == [*told, "site.closed", "site.reopened"]

    def test_it_is_not_closed_twice(self, office):
        site = make_site()
        close_site(site.pk, by=office, on=self.today(site), reason="Sold")

        with pytest.raises(WrongState, match="was closed on"):
            close_site(site.pk, by=office, on=self.today(site), reason="Sold")

    def test_it_is_not_closed_in_advance(self, office):
        site = make_site()

        with pytest.raises(Unusable, match="contract its last day"):
            close_site(
                site.pk, by=office, on=self.today(site) + timedelta(days=1), reason="Will be sold"
            )

    def test_an_open_one_is_not_opened(self, office):
        with pytest.raises(WrongState, match="open already"):
            reopen_site(make_site().pk, by=office, reason="Why not")


class TestAccessWindows:
    MORNING = Opening(0, time(6), time(11))

    def test_they_take_the_place_of_those_before(self, office, trail):
        site = make_site()
        told = trail()
        set_access_windows(site.pk, by=office, windows=[Opening(1, time(8), time(9))])

        set_access_windows(site.pk, by=office, windows=[self.MORNING])

        assert [str(one) for one in site.access_windows.all()] == ["Monday 06:00–11:00"]
        assert trail() == [*told, "access.changed", "access.changed"]

    def test_the_same_again_changes_nothing(self, office, trail):
        site = make_site()
        set_access_windows(site.pk, by=office, windows=[self.MORNING])
        kept, told = site.access_windows.get().pk, trail()

        set_access_windows(site.pk, by=office, windows=[self.MORNING])

        assert (site.access_windows.get().pk, trail()) == (kept, told)

    @pytest.mark.parametrize(
        ("windows", "words"),
        [
            ([Opening(0, time(11), time(6))], "closes before it opens"),
            ([Opening(0, time(6), time(6))], "closes before it opens"),
            ([Opening(7, time(6), time(7))], "seven days"),
            ([MORNING, Opening(0, time(10), time(12))], "overlap"),
            ([MORNING, MORNING], "overlap"),
        ],
        ids=["backwards", "no time at all", "an eighth day", "overlapping", "twice"],
    )
    def test_what_makes_no_sense_is_refused(self, office, windows, words):
        site = make_site()

        with pytest.raises(Unusable, match=words):
            set_access_windows(site.pk, by=office, windows=windows)

        assert not site.access_windows.exists()

    def test_one_may_begin_where_another_ends(self, office):
        site = make_site()

        set_access_windows(
            site.pk, by=office, windows=[Opening(0, time(11), time(12)), self.MORNING]
        )

        assert site.access_windows.count() == 2


class TestContacts:
    def test_a_contact_comes_changes_and_goes(self, office, trail):
        site = make_site()
        told = trail()
        contact = add_contact(site.pk, by=office, name="Bo Marsh", phone="01632 960001")

        change_contact(contact.pk, by=office, phone="01632 960002")
        remove_contact(contact.pk, by=office)

        assert not Contact.objects.exists()
        assert trail() == [*told, "contact.added", "contact.changed", "contact.removed"]

    def test_the_trail_keeps_no_telephone_number(self, office):
        """The trail never forgets, so what must be forgettable does not go there."""
        contact = add_contact(make_site().pk, by=office, name="Bo Marsh", phone="01632 960001")
        change_contact(contact.pk, by=office, phone="01632 960002")

        assert not [entry for entry in TrailEntry.objects.all() if "01632" in str(entry.facts)]


class TestContracts:
    def test_a_contract_is_added_and_changed(self, office, trail):
        site = make_site()
        told = trail()
        contract = add_contract(site.pk, by=office, number="K-1", starts_on=date(2026, 1, 1))

        change_contract(contract.pk, by=office, call_out_price=Decimal("95.00"))

        assert Contract.objects.get().call_out_price == Decimal("95.00")
        assert trail() == [*told, "contract.added", "contract.changed"]

    def test_a_number_is_used_once_at_a_site(self, office):
        site = make_site()
        add_contract(site.pk, by=office, number="K-1", starts_on=date(2026, 1, 1))
        add_contract(make_site().pk, by=office, number="K-1", starts_on=date(2026, 1, 1))

        with pytest.raises(Taken, match="already has a contract with this number"):
            add_contract(site.pk, by=office, number="K-1", starts_on=date(2027, 1, 1))

    def test_it_does_not_end_before_it_starts(self, office):
        with pytest.raises(Unusable, match="ends before it starts"):
            add_contract(
                make_site().pk,
                by=office,
                number="K-1",
                starts_on=date(2026, 2, 1),
                ends_on=date(2026, 1, 31),
            )

    def test_a_closed_site_gets_none(self, office):
        site = make_site(closed_on=date(2026, 1, 1))

        with pytest.raises(WrongState, match="was closed"):
            add_contract(site.pk, by=office, number="K-1", starts_on=date(2026, 2, 1))
