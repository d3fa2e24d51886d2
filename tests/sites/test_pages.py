"""The pages of this room: who sees what, what they cost, and what forms do."""

import re
from datetime import date, time, timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from accounts.models import Client, Role
from sites.labels.codes import spelt
from sites.models import Contact, Contract, Document, Monitor, Site, SitePlan, Zone
from sites.services.clients import change_client
from sites.services.contacts import add_contact
from sites.services.contracts import add_contract
from sites.services.documents import add_document, withdraw_document
from sites.services.grants import issue_pass
from sites.services.monitors import mark_monitor, place_monitors
from sites.services.photos import add_photo
from sites.services.plans import add_plan
from sites.services.sites import Opening, change_site, set_access_windows
from sites.services.zones import draw_zone, retire_zone
from tests.builders.files import SVG, pdf_bytes, picture_bytes
from tests.builders.sites import PLACED_ON, keeper, make_monitor, make_site, make_zone
from tests.builders.visits import make_visit

pytestmark = pytest.mark.django_db
SQUARE = [(0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)]


@pytest.fixture
def site(office, manager, technician, auditor):
    """A site that office, manager, technician and auditor may all see, with one of everything."""
    site = make_site(client=manager.client, name="Quayside Grand", time_zone="Europe/London")
    change_site(
        site.pk,
        by=office,
        access_note="Key with the night porter",
        hazards="Steep cellar steps",
        internal_note="Ask Bo, not the owner",
    )
    add_contact(site.pk, by=office, name="Bo Marsh", phone="01632 960001", job_title="Chef")
    add_contract(
        site.pk,
        by=office,
        number="K-1",
        starts_on=date(2026, 1, 1),
        scope="Cockroaches and mice",
        call_out_price=123,
        internal_note="Raise the price",
    )
    zone = make_zone(site, name="Main kitchen")
    monitor = make_monitor(zone, number=1)
    plan = add_plan(site.pk, by=office, title="Ground floor", data=picture_bytes("PNG"))
    mark_monitor(monitor.pk, by=office, plan_id=plan.pk, x=0.5, y=0.5)
    draw_zone(zone.pk, by=office, plan_id=plan.pk, corners=SQUARE)
    add_document(site, by=office, data=pdf_bytes(), kind="survey", title="Survey of the site")
    add_document(site.client, by=office, data=pdf_bytes(), kind="other", title="Rules of the house")
    add_document(None, by=office, data=pdf_bytes(), kind="insurance", title="Public liability")
    add_photo(site.pk, by=office, data=picture_bytes())
    today = timezone.now().date()
    make_visit(site, state="booked", technician=technician, due_on=today)
    issue_pass(
        auditor.pk,
        by=office,
        sites=[site],
        period_from=today - timedelta(days=365),
        period_to=today,
        valid_from=timezone.now() - timedelta(hours=1),
        valid_until=timezone.now() + timedelta(days=14),
    )
    return site


@pytest.fixture
def as_role(client, office, manager, technician, auditor):
    """Signs in somebody of a role and hands over the browser."""
    people = {one.role: one for one in (office, manager, technician, auditor)}

    def sign_in(role):
        client.force_login(people[role])
        return client

    return sign_in


def address(name, *args):
    return reverse(f"sites:{name}", args=[getattr(one, "pk", one) for one in args])


def words_of(answer):
    """An answer's words, without the secret that every form gets anew."""
    return re.sub(r'name="csrfmiddlewaretoken"\s+value="\w+"', "", answer.content.decode())


def read_pages(site):
    """Every page of a site that anybody who sees the site may open."""
    monitor, zone, plan = site.monitors.get(), site.zones.get(), site.plans.get()
    return {
        "site": address("site", site),
        "zones": address("zones", site),
        "zone": address("zone", zone),
        "monitors": address("monitors", site),
        "monitors_csv": address("monitors_csv", site),
        "monitor": address("monitor", monitor),
        "plan": address("plan", plan),
        "plan_image": address("plan_image", plan),
        "documents": address("site_documents", site),
        "document": address("document", site.documents.get()),
        "photo": address("photo", site.photos.get()),
        "client": address("client", site.client),
    }


def office_pages(site):
    """Every page on which only the office changes something."""
    monitor, zone, plan = site.monitors.get(), site.zones.get(), site.plans.get()
    document = site.documents.get()
    return {
        "site_edit": address("site_edit", site),
        "access_windows": address("access_windows", site),
        "site_close": address("site_close", site),
        "client_edit": address("client_edit", site.client),
        "client_document_new": address("client_document_new", site.client),
        "contact_new": address("contact_new", site),
        "contact_edit": address("contact_edit", site.contacts.get()),
        "contact_remove": address("contact_remove", site.contacts.get()),
        "contract_new": address("contract_new", site),
        "zone_new": address("zone_new", site),
        "zone_edit": address("zone_edit", zone),
        "zone_retire": address("zone_retire", zone),
        "checkpoint_edit": address("checkpoint_edit", zone.checkpoints.first()),
        "plan_new": address("plan_new", site),
        "plan_retire": address("plan_retire", plan),
        "monitor_mark": address("monitor_mark", plan, monitor),
        "zone_draw": address("zone_draw", plan, zone),
        "monitor_new": address("monitor_new", site),
        "monitor_run": address("monitor_run", site),
        "monitor_edit": address("monitor_edit", monitor),
        "monitor_move": address("monitor_move", monitor),
        "monitor_remove": address("monitor_remove", monitor),
        "labels": address("labels", site),
        "site_document_new": address("site_document_new", site),
        "document_replace": address("document_replace", document),
        "document_withdraw": address("document_withdraw", document),
    }


class TestWhoSeesWhat:
    @pytest.mark.parametrize("role", Role.values)
    def test_who_may_see_the_site_sees_its_pages(self, as_role, site, role):
        browser = as_role(role)

        answers = {name: browser.get(at).status_code for name, at in read_pages(site).items()}

        assert answers == dict.fromkeys(answers, 200)

    @pytest.mark.parametrize("role", ["technician", "client_manager", "auditor"])
    def test_only_the_office_opens_what_changes_something(self, as_role, site, role):
        browser = as_role(role)

        answers = {name: browser.get(at).status_code for name, at in office_pages(site).items()}

        assert answers == dict.fromkeys(answers, 403)

    def test_the_office_opens_all_of_it(self, as_role, site):
        browser = as_role("office")

        answers = {name: browser.get(at).status_code for name, at in office_pages(site).items()}

        assert answers == dict.fromkeys(answers, 200)

    def test_nobody_is_asked_to_sign_in(self, client, site):
        for at in [*read_pages(site).values(), *office_pages(site).values()]:
            answer = client.get(at)
            assert (answer.status_code, answer["Location"][:16]) == (302, "/accounts/login/")

    @pytest.mark.parametrize("role", ["technician", "client_manager", "auditor"])
    def test_what_is_a_strangers_looks_like_nothing(self, as_role, site, office, role):
        """A record that may not be seen is answered byte for byte like one that never was."""
        other = make_site()
        zone = make_zone(other)
        monitor = make_monitor(zone)
        plan = add_plan(other.pk, by=office, title="Plan", data=picture_bytes())
        paper = add_document(other, by=office, data=pdf_bytes(), kind="other", title="Paper")
        photo = add_photo(other.pk, by=office, data=picture_bytes())
        contact = add_contact(other.pk, by=office, name="Kit")
        contract = add_contract(other.pk, by=office, number="K", starts_on=PLACED_ON)
        strange = [
            *((name, other) for name in ("site", "site_edit", "zones", "monitors", "labels")),
            *((name, other) for name in ("monitors_csv", "site_documents", "access_windows")),
            *((name, zone) for name in ("zone", "zone_edit", "zone_retire")),
            *((name, monitor) for name in ("monitor", "monitor_edit", "monitor_move")),
            *((name, plan) for name in ("plan", "plan_image", "plan_retire")),
            ("document", paper),
            ("document_replace", paper),
            ("photo", photo),
            ("contact_edit", contact),
            ("contract_edit", contract),
            ("checkpoint_edit", zone.checkpoints.first()),
            ("client", other.client),
        ]
        browser = as_role(role)

        for name, record in strange:
            hidden, absent = browser.get(address(name, record)), browser.get(address(name, uuid4()))
            assert (hidden.status_code, name) == (404, name)
            assert words_of(hidden) == words_of(absent)

    def test_a_label_leads_who_may_see_it_and_nobody_else(self, as_role, site):
        own, strange = site.monitors.get(), make_monitor(make_zone(make_site()))
        browser = as_role("technician")

        assert browser.get(f"/sites/m/{own.label_code}/")["Location"] == address("monitor", own)
        assert browser.get(f"/sites/m/{own.label_code.lower()}/").status_code == 302
        assert browser.get(f"/SITES/M/{own.label_code}/").status_code == 302
        hidden = browser.get(f"/sites/m/{strange.label_code}/")
        absent = browser.get(f"/sites/m/{'2' * 16}/")
        assert (hidden.status_code, words_of(hidden)) == (404, words_of(absent))


class TestTheOnePage:
    def words(self, as_role, site, role):
        return as_role(role).get(address("site", site)).content.decode()

    def test_the_office_sees_all_of_it(self, as_role, site):
        words = self.words(as_role, site, "office")

        for one in ("Ask Bo, not the owner", "Raise the price", "£123.00", "night porter"):
            assert one in words
        assert address("site_edit", site) in words

    def test_the_manager_sees_their_prices_and_no_note_of_ours(self, as_role, site):
        words = self.words(as_role, site, "client_manager")

        assert "£123.00" in words
        assert "01632 960001" in words
        for one in ("Ask Bo, not the owner", "Raise the price", "/edit/", "/new/"):
            assert one not in words

    def test_the_auditor_sees_no_price_no_number_and_no_key(self, as_role, site):
        words = self.words(as_role, site, "auditor")

        assert "Cockroaches and mice" in words
        assert "Bo Marsh" in words
        for one in ("£123", "01632", "night porter", "Ask Bo", "Raise the price", "/edit/"):
            assert one not in words

    def test_the_technician_sees_how_to_get_in_and_no_terms(self, as_role, site):
        words = self.words(as_role, site, "technician")

        for one in ("Steep cellar steps", "night porter", "01632 960001", "Main kitchen"):
            assert one in words
        for one in ("£123", "K-1", "Raise the price", "Ask Bo", "/edit/"):
            assert one not in words

    def test_a_withdrawn_paper_is_gone_for_all_but_the_office(self, as_role, site, office):
        paper = site.documents.get()
        withdraw_document(paper.pk, by=office, reason="Wrong")

        assert as_role("client_manager").get(address("document", paper)).status_code == 404
        assert as_role("office").get(address("document", paper)).status_code == 200

    @pytest.mark.parametrize(
        ("role", "status"),
        [("office", 200), ("client_manager", 200), ("technician", 404), ("auditor", 404)],
    )
    def test_a_signed_contract_is_for_those_whose_prices_it_carries(
        self, as_role, site, office, role, status
    ):
        paper = add_document(site, by=office, data=pdf_bytes(), kind="contract", title="Signed")
        browser = as_role(role)

        assert browser.get(address("document", paper)).status_code == status
        listed = "Signed" in browser.get(address("site_documents", site)).content.decode()
        assert listed == (status == 200)

    def test_what_is_typed_is_shown_and_never_run(self, as_role, site, office):
        change_site(site.pk, by=office, hazards="<script>alert(1)</script>{{ 7|add:7 }}")

        words = self.words(as_role, site, "office")

        assert "<script>alert(1)" not in words
        assert "{{ 7|add:7 }}" in words


class TestCosts:
    @pytest.fixture(params=[2, 20], ids=["small", "ten times"])
    def sized(self, request, office):
        """A site with so many of everything."""
        size = request.param
        site = make_site(zones=size, monitors=size)
        plan = add_plan(site.pk, by=office, title="Ground floor", data=picture_bytes())
        site.monitors.update(plan=plan, x=0.5, y=0.5)
        site.zones.update(plan=plan, outline=SQUARE)
        paper = add_document(site, by=office, data=pdf_bytes(), kind="other", title="Paper")
        for number in range(size):
            add_contact(site.pk, by=office, name=f"Contact {number}")
            add_contract(site.pk, by=office, number=f"K-{number}", starts_on=PLACED_ON)
            make_site(client=site.client)
            Document.objects.create(
                **{
                    field: getattr(paper, field)
                    for field in ("site", "kind", "title", "file", "mime", "size", "sha256")
                },
                uploaded_by=office,
            )
        return site

    # Two of each are for the session and the person who asks.
    @pytest.mark.parametrize(
        ("name", "queries"),
        [
            ("zones", 6),
            ("monitors", 7),
            ("monitors_csv", 4),
            ("labels", 7),
            ("site_documents", 7),
        ],
    )
    def test_a_page_of_a_site_costs_the_same_whatever_its_size(
        self, as_role, sized, name, queries, django_assert_num_queries
    ):
        browser = as_role("office")

        with django_assert_num_queries(queries):
            answer = browser.get(address(name, sized))
            b"".join(answer)

    def test_a_plan_costs_the_same_whatever_is_on_it(
        self, as_role, sized, django_assert_num_queries
    ):
        browser = as_role("office")

        with django_assert_num_queries(10):
            assert browser.get(address("plan", sized.plans.get())).status_code == 200

    @pytest.mark.parametrize(
        ("name", "queries"), [("list", 7), ("list_csv", 3), ("clients", 5), ("clients_csv", 3)]
    )
    def test_a_list_costs_the_same_whatever_its_length(
        self, as_role, sized, name, queries, django_assert_num_queries
    ):
        browser = as_role("office")

        with django_assert_num_queries(queries):
            b"".join(browser.get(address(name)))

    def test_a_client_costs_the_same_whatever_its_sites(
        self, as_role, sized, django_assert_num_queries
    ):
        browser = as_role("office")

        with django_assert_num_queries(7):
            browser.get(address("client", sized.client))

    def test_the_one_page_keeps_to_thirty(self, as_role, sized, django_assert_max_num_queries):
        browser = as_role("office")

        with django_assert_max_num_queries(30):
            browser.get(address("site", sized))


class TestLists:
    def test_sites_are_fifty_a_page_and_filters_live_in_the_address(self, as_role, site):
        for number in range(51):
            make_site(client=site.client, name=f"Bakery {number:02}")
        browser = as_role("office")

        first = browser.get(address("list"), {"text": "bakery"}).context["page"]
        second = browser.get(address("list"), {"text": "bakery", "page": 2}).context["page"]

        assert (first.paginator.count, len(first), len(second)) == (51, 50, 1)

    @pytest.mark.parametrize(
        "query",
        [{"client": "no-uuid"}, {"branch": str(uuid4())}, {"page": "x"}, {"text": "%_'\"\\"}],
        ids=["client", "branch", "page", "text"],
    )
    def test_a_filter_that_cannot_be_read_does_no_harm(self, as_role, site, query):
        assert as_role("office").get(address("list"), query).status_code == 200

    def test_closed_sites_are_listed_where_asked_for(self, as_role, site):
        make_site(name="Former bakery", closed_on=date(2026, 1, 1))
        browser = as_role("office")

        assert "Former bakery" not in browser.get(address("list")).content.decode()
        assert "Former bakery" in browser.get(address("list"), {"closed": "on"}).content.decode()

    def test_a_manager_is_not_offered_other_clients(self, as_role, site):
        make_site(name="Strange bakery")
        words = as_role("client_manager").get(address("list")).content.decode()

        assert Client.objects.exclude(pk=site.client_id).first().name not in words
        assert "Strange bakery" not in words

    def test_a_list_as_a_file_runs_no_formula(self, as_role, site, office):
        change_site(site.pk, by=office, name="=HYPERLINK(1)", postcode="PM1")

        lines = b"".join(as_role("office").get(address("list_csv"))).decode().splitlines()

        assert lines[0].startswith("\ufeffreference,site,client")
        assert any("'=HYPERLINK(1)" in line for line in lines[1:])

    def test_monitors_are_filtered_by_zone_and_kind(self, as_role, site):
        bar = make_zone(site, name="Bar")
        place_monitors(bar.pk, by=keeper(), kind="fly_light", placed_on=PLACED_ON, how_many=2)
        browser = as_role("office")

        page = browser.get(address("monitors", site), {"zone": bar.pk, "kind": "fly_light"})

        assert [one.number for one in page.context["page"]] == [2, 3]


class TestForms:
    def test_a_client_and_a_site_are_added(self, as_role, site):
        browser = as_role("office")

        browser.post(address("client_new"), {"name": "Harbour Bakery", "reference": "HB"})
        bakery = Client.objects.get(reference="HB")
        answer = browser.post(
            address("site_new"),
            {
                "client": bakery.pk,
                "name": "Mill Lane",
                "reference": "HB-1",
                "address": "1 Mill Lane",
                "time_zone": "Europe/Dublin",
                "holiday_region": "ie",
                "holiday_rule": "next",
            },
        )

        added = Site.objects.get(reference="HB-1")
        assert answer["Location"] == added.get_absolute_url()
        assert (added.client, added.holiday_region) == (bakery, "IE")

    def test_a_duplicate_is_said_beside_its_field_and_nothing_typed_is_lost(self, as_role, site):
        answer = as_role("office").post(
            address("client_new"), {"name": "Twin", "reference": site.client.reference.lower()}
        )

        form = answer.context["form"]
        assert answer.status_code == 422
        assert form.errors["reference"] == ["Another client has this reference."]
        assert 'value="Twin"' in answer.content.decode()

    def test_two_people_at_one_form_do_not_overwrite_each_other(self, as_role, site, office):
        """The second is told what the first wrote, and may then write over it knowingly."""
        browser, at = as_role("office"), address("client_edit", site.client)
        form = browser.get(at).context["form"]
        shown = {name: form[name].value() or "" for name in form.fields}
        change_client(site.client_id, by=office, name="What the first wrote")

        refused = browser.post(at, {**shown, "name": "What the second wrote"})

        assert refused.status_code == 422
        assert "Name: What the first wrote" in refused.content.decode()
        assert Client.objects.get(pk=site.client_id).name == "What the first wrote"

        again = {**shown, "name": "What the second wrote"}
        again["seen"] = refused.context["form"]["seen"].value()
        assert browser.post(at, again).status_code == 302
        assert Client.objects.get(pk=site.client_id).name == "What the second wrote"

    def test_opening_times_are_set_and_removed(self, as_role, site, office):
        browser, at = as_role("office"), address("access_windows", site)
        set_access_windows(site.pk, by=office, windows=[Opening(0, time(6), time(11))])
        sent = {
            "windows-TOTAL_FORMS": "3",
            "windows-INITIAL_FORMS": "1",
            "windows-0-weekday": "0",
            "windows-0-opens": "06:00",
            "windows-0-closes": "11:00",
            "windows-0-DELETE": "on",
            "windows-1-weekday": "4",
            "windows-1-opens": "08:30",
            "windows-1-closes": "10:00",
        }

        assert browser.post(at, sent).status_code == 302
        assert [str(one) for one in site.access_windows.all()] == ["Friday 08:30–10:00"]

    def test_opening_times_that_overlap_are_refused_on_the_page(self, as_role, site):
        sent = {"windows-TOTAL_FORMS": "2", "windows-INITIAL_FORMS": "0"}
        for number in "01":
            sent |= {
                f"windows-{number}-weekday": "0",
                f"windows-{number}-opens": "06:00",
                f"windows-{number}-closes": "11:00",
            }

        answer = as_role("office").post(address("access_windows", site), sent)

        assert answer.status_code == 422
        assert "Two spans on Monday overlap" in answer.content.decode()
        assert not site.access_windows.exists()

    def test_zones_are_moved_by_buttons(self, as_role, site):
        second = make_zone(site, name="Bar")
        browser = as_role("office")

        browser.post(address("zone_earlier", second))
        assert [one.name for one in site.zones.order_by("walk_order")] == ["Bar", "Main kitchen"]

        browser.post(address("zone_later", second))
        browser.post(address("zone_later", second))  # it is last already
        assert [one.name for one in site.zones.order_by("walk_order")] == ["Main kitchen", "Bar"]

    def test_a_checkpoint_is_added_and_a_second_time_refused_beside_its_words(self, as_role, site):
        zone, browser = site.zones.get(), as_role("office")
        sent = {"height": "low", "label": "Under the fryer"}

        assert browser.post(address("checkpoint_new", zone), sent).status_code == 302
        again = browser.post(address("checkpoint_new", zone), sent)

        assert again.status_code == 422
        assert "a checkpoint with these words" in again.content.decode()
        assert zone.checkpoints.filter(label="Under the fryer").count() == 1

    def test_a_run_of_monitors_is_placed(self, as_role, site):
        zone, browser = site.zones.get(), as_role("office")
        sent = {"zone": zone.pk, "kind": "sticky", "placed_on": "2026-01-05", "how_many": 3}

        answer = browser.post(address("monitor_run", site), {**sent, "first_number": 1})
        assert answer.status_code == 422
        assert "monitor 1." in answer.content.decode()

        browser.post(address("monitor_run", site), {**sent, "first_number": 2})
        assert site.monitors.count() == 4

    def test_a_zone_of_another_site_cannot_be_chosen(self, as_role, site):
        strange = make_zone(make_site())

        answer = as_role("office").post(
            address("monitor_new", site),
            {"zone": strange.pk, "number": 9, "kind": "sticky", "placed_on": "2026-01-05"},
        )

        assert answer.status_code == 422
        assert not Monitor.objects.filter(number=9).exists()

    def test_a_monitor_is_corrected_moved_and_removed(self, as_role, site):
        monitor, browser = site.monitors.get(), as_role("office")
        bar = make_zone(site, name="Bar")
        facts = {"number": 5, "kind": "sticky", "place": "Sink", "placed_on": "2026-01-05"}

        browser.post(address("monitor_edit", monitor), facts)
        browser.post(address("monitor_move", monitor), {"zone": bar.pk, "place": "Cooler"})
        browser.post(address("monitor_remove", monitor), {"on": "2026-02-01", "reason": "Crushed"})

        monitor.refresh_from_db()
        assert (monitor.number, monitor.zone, monitor.place) == (5, bar, "Cooler")
        assert monitor.removed_on == date(2026, 2, 1)

    def test_what_only_needs_a_yes_is_done_by_post_alone(self, as_role, site, office):
        contact, zone, browser = site.contacts.get(), site.zones.get(), as_role("office")
        browser.get(address("contact_remove", contact))
        assert Contact.objects.exists()

        browser.post(address("contact_remove", contact))
        browser.post(address("monitor_unmark", site.monitors.get()))
        browser.post(address("zone_undraw", zone))
        browser.post(address("plan_retire", site.plans.get()))

        assert not Contact.objects.exists()
        assert not Zone.objects.filter(plan__isnull=False).exists()
        assert SitePlan.objects.get().retired_on

    def test_a_retired_zone_is_brought_back(self, as_role, site, office):
        zone = make_zone(site, name="Bar")
        retire_zone(zone.pk, by=office, reason="Walled up")

        as_role("office").post(address("zone_bring_back", zone))

        zone.refresh_from_db()
        assert zone.retired_on is None

    def test_a_refusal_of_a_service_says_why(self, as_role, site):
        answer = as_role("office").post(
            address("zone_retire", site.zones.get()), {"reason": "Walled up"}
        )

        assert answer.status_code == 409
        assert "still has 1 monitor" in answer.content.decode()

    def test_a_contract_is_changed(self, as_role, site):
        contract, browser = site.contracts.get(), as_role("office")
        form = browser.get(address("contract_edit", contract)).context["form"]
        sent = {name: form[name].value() or "" for name in form.fields}

        browser.post(address("contract_edit", contract), {**sent, "response_hours": 4})

        assert Contract.objects.get().response_hours == 4


class TestUploads:
    def test_a_plan_is_added_from_a_pdf(self, as_role, site):
        file = SimpleUploadedFile("plan.pdf", pdf_bytes(pages=2))

        as_role("office").post(
            address("plan_new", site), {"title": "First floor", "file": file, "page_number": 2}
        )

        assert site.plans.get(title="First floor").mime == "image/png"

    @pytest.mark.parametrize(
        ("name", "data", "words"),
        [
            ("x.pdf", SVG, "not a picture"),
            ("x.pdf", pdf_bytes(password="secret"), "locked with a password"),
            ("x.jpg", picture_bytes()[:400], "damaged"),
        ],
        ids=["svg", "locked", "cut short"],
    )
    def test_a_bad_file_is_refused_beside_the_form(self, as_role, site, name, data, words):
        answer = as_role("office").post(
            address("site_document_new", site),
            {"kind": "other", "title": "Kept", "file": SimpleUploadedFile(name, data)},
        )

        assert answer.status_code == 422
        assert words in answer.content.decode()
        assert 'value="Kept"' in answer.content.decode()
        assert site.documents.count() == 1

    def test_a_paper_is_added_replaced_and_withdrawn(self, as_role, site):
        browser = as_role("office")
        facts = {"title": "Licence", "kind": "licence", "expires_on": "2027-01-01"}
        browser.post(
            address("site_document_new", site),
            {**facts, "file": SimpleUploadedFile("a.pdf", pdf_bytes())},
        )
        first = Document.objects.get(title="Licence")

        browser.post(
            address("document_replace", first),
            {"title": "Licence 2", "file": SimpleUploadedFile("b.pdf", pdf_bytes())},
        )
        second = Document.objects.get(title="Licence 2")
        browser.post(address("document_withdraw", second), {"reason": "Lapsed"})

        second.refresh_from_db()
        assert (second.replaces, second.withdrawn_at is None) == (first, False)

    def test_a_paper_is_a_download_under_its_own_words(self, as_role, site):
        answer = as_role("client_manager").get(address("document", site.documents.get()))

        assert answer["Content-Type"] == "application/pdf"
        assert answer["Content-Disposition"].startswith("attachment")
        assert "Survey of the site.pdf" in answer["Content-Disposition"]
        assert (
            answer["X-Content-Type-Options"],
            "sandbox" in answer["Content-Security-Policy"],
        ) == (
            "nosniff",
            True,
        )

    def test_a_photo_sent_twice_gets_the_same_answer(self, as_role, site):
        browser, at = as_role("technician"), address("photo_upload", site)
        data = picture_bytes(size=(100, 80))

        def send():
            file = SimpleUploadedFile("IMG_1.jpg", data)
            return browser.post(at, {"photo": file, "taken_at": "2026-06-01T12:00:00Z"})

        first, second = send(), send()

        assert (first.status_code, first.json()) == (200, second.json())
        assert browser.get(first.json()["url"])["Content-Type"] == "image/jpeg"
        assert site.photos.count() == 2

    @pytest.mark.parametrize(
        ("role", "data", "status", "code"),
        [
            ("technician", SVG, 422, "not_a_picture"),
            ("technician", b"", 422, "unusable"),
            ("auditor", picture_bytes(size=(90, 90)), 403, "not_allowed"),
        ],
    )
    def test_a_photo_that_is_not_taken_is_answered_as_to_a_program(
        self, as_role, site, role, data, status, code
    ):
        answer = as_role(role).post(
            address("photo_upload", site), {"photo": SimpleUploadedFile("a.jpg", data)}
        )

        assert (answer.status_code, answer.json()["code"]) == (status, code)
        assert site.photos.count() == 1


class TestTapping:
    """The plan is drawn 680 pixels wide where no script says how wide it is; it is 64 by 48."""

    def test_a_tap_marks_a_monitor(self, as_role, site):
        monitor, plan = site.monitors.get(), site.plans.get()

        as_role("office").post(
            address("monitor_mark", plan, monitor), {"tap.x": "170", "tap.y": "255", "width": ""}
        )

        monitor.refresh_from_db()
        assert (monitor.x, monitor.y) == (0.25, 0.5)

    def test_a_tap_is_read_in_the_width_that_the_page_says(self, as_role, site):
        monitor, plan = site.monitors.get(), site.plans.get()

        as_role("office").post(
            address("monitor_mark", plan, monitor), {"tap.x": "100", "tap.y": "150", "width": "400"}
        )

        monitor.refresh_from_db()
        assert (monitor.x, monitor.y) == (0.25, 0.5)

    def test_two_numbers_do_as_well(self, as_role, site):
        monitor, plan = site.monitors.get(), site.plans.get()

        as_role("office").post(address("monitor_mark", plan, monitor), {"x": "12.5", "y": "100"})

        monitor.refresh_from_db()
        assert (monitor.x, monitor.y) == (0.125, 1.0)

    @pytest.mark.parametrize(
        "sent",
        [{"tap.x": "0", "tap.y": "0"}, {"x": "101", "y": "5"}, {"tap.x": "a", "tap.y": "b"}, {}],
        ids=["pressed by keyboard", "beyond the edge", "no numbers", "nothing"],
    )
    def test_what_is_no_place_marks_nothing_and_asks_for_numbers(self, as_role, site, sent):
        monitor, plan = site.monitors.get(), site.plans.get()

        answer = as_role("office").post(address("monitor_mark", plan, monitor), sent)

        monitor.refresh_from_db()
        assert (answer.status_code, monitor.x) == (422, 0.5)

    def test_corners_gather_in_the_address_until_they_are_saved(self, as_role, site):
        zone, plan, browser = site.zones.get(), site.plans.get(), as_role("office")
        at = address("zone_draw", plan, zone)

        page = browser.get(at, {"drawing": "1", "corner": ["0.1,0.1"], "tap.x": 340, "tap.y": 255})
        assert page.context["corners"] == ["0.1000,0.1000", "0.5000,0.5000"]

        page = browser.get(at, {"corner": page.context["corners"], "back": "1"})
        assert page.context["corners"] == ["0.1000,0.1000"]
        zone.refresh_from_db()
        assert zone.outline[0] == [0.1, 0.1]

        browser.post(at, {"corners": "0, 0\n50, 0\n\n50; 50"})
        zone.refresh_from_db()
        assert zone.outline == [[0, 0], [0.5, 0], [0.5, 0.5]]

    @pytest.mark.parametrize("text", ["0, 0\n1, 1", "0, 0\nnorth\n1, 1\n2, 2", "0,0\n1,1\n200,5"])
    def test_corners_that_are_none_are_refused_on_the_page(self, as_role, site, text):
        zone, plan = site.zones.get(), site.plans.get()

        answer = as_role("office").post(address("zone_draw", plan, zone), {"corners": text})

        zone.refresh_from_db()
        assert (answer.status_code, len(zone.outline)) == (422, 4)

    def test_a_monitor_is_not_marked_on_the_plan_of_another_site(self, as_role, site):
        strange = make_monitor(make_zone(make_site()))

        answer = as_role("office").get(address("monitor_mark", site.plans.get(), strange))

        assert answer.status_code == 404


class TestLabels:
    def test_chosen_monitors_come_as_a_pdf(self, as_role, site):
        monitor = site.monitors.get()

        answer = as_role("office").post(
            address("labels", site), {"monitors": [monitor.pk], "sheet": "a4", "skip": 3}
        )

        assert answer["Content-Type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF-")

    @pytest.mark.parametrize("wrong", [{"monitors": []}, {"sheet": "a0"}, {"skip": 21}])
    def test_what_cannot_be_printed_is_refused_on_the_page(self, as_role, site, wrong):
        sent = {"monitors": [site.monitors.get().pk], "sheet": "a4", "skip": 0, **wrong}

        answer = as_role("office").post(address("labels", site), sent)

        assert answer.status_code == 422

    def test_a_code_is_typed_from_the_label(self, as_role, site):
        monitor, browser = site.monitors.get(), as_role("technician")
        strange = make_monitor(make_zone(make_site()))

        found = browser.post(address("label_find"), {"code": spelt(monitor.label_code).lower()})
        assert found["Location"] == address("monitor", monitor)
        for wrong in (spelt(strange.label_code), monitor.label_code, "no code"):
            assert browser.post(address("label_find"), {"code": wrong}).status_code == 422

    @pytest.mark.parametrize("sheet", ["a4", "letter"])
    def test_a_trial_sheet_comes_as_a_pdf(self, as_role, site, sheet):
        answer = as_role("office").get(address("labels_trial", sheet))

        assert answer.content.startswith(b"%PDF-")
