"""The office's pages of one visit, of service lines, products and what is to be placed."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.urls import reverse

from accounts.models import Role
from sites.models import AccessWindow, ServiceLine
from tests.builders.accounts import make_client, make_manager, make_technician
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_contract, make_line, make_visit
from visits.models import ParkedOperation, Product, Visit
from visits.services.booking import book_visit
from visits.services.products import add_product

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
DUE = date(2026, 12, 8)


@pytest.fixture(autouse=True)
def today():
    """Wednesday 25 November 2026, noon in London."""
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def signed_in(client, office):
    client.force_login(office)
    return client


@pytest.fixture
def visit(office) -> Visit:
    return make_visit(by=office, due_on=DUE)


def url(name: str, *args) -> str:
    return reverse(f"visits:{name}", args=args)


class TestOneVisit:
    def test_the_usual_technician_and_the_due_day_are_filled_in(
        self, signed_in, office, technician
    ):
        line = make_line(by=office, preferred_technician=technician)
        visit = line.visits.earliest("due_on")

        form = signed_in.get(visit.get_absolute_url()).context["booking"]

        assert (form.initial["technician"], form.initial["day"]) == (technician.pk, visit.due_on)

    def test_booking_leads_back_to_the_visit(self, signed_in, visit, technician):
        response = signed_in.post(
            url("book", visit.pk),
            {"technician": technician.pk, "day": "2026-12-08", "time": "09:30", "version": 1},
        )

        assert response.url == visit.get_absolute_url()
        visit.refresh_from_db()
        assert (visit.state, visit.booked_at_time) == ("booked", time(9, 30))

    def test_a_refusal_stands_on_the_page_and_keeps_what_was_typed(
        self, signed_in, visit, technician, office
    ):
        other = make_visit(
            by=office, due_on=DUE, state="booked", technician=technician, time=time(10)
        )

        response = signed_in.post(
            url("book", visit.pk),
            {"technician": technician.pk, "day": "2026-12-08", "time": "10:30", "version": 1},
        )

        html = response.content.decode()
        assert response.status_code == 409
        assert f"is booked at {other.site.name}" in html
        assert 'value="10:30"' in html

    def test_outside_the_hours_of_access_a_second_yes_is_asked_for(
        self, signed_in, visit, technician
    ):
        AccessWindow.objects.create(site=visit.site, weekday=0, opens=time(6), closes=time(9))
        booking = {"technician": technician.pk, "day": "2026-12-08", "version": 1}

        first = signed_in.post(url("book", visit.pk), booking)
        again = signed_in.post(url("book", visit.pk), booking)
        second = signed_in.post(url("book", visit.pk), {**booking, "despite_access": "on"})

        assert 'name="despite_access"' not in signed_in.get(visit.get_absolute_url())
        assert 'type="checkbox" name="despite_access"' in first.content.decode()
        assert (again.status_code, second.status_code) == (409, 302)

    def test_two_people_on_one_page_do_not_undo_each_other(
        self, signed_in, visit, technician, office
    ):
        book_visit(visit.pk, by=office, technician=technician, day=DUE)

        response = signed_in.post(
            url("book", visit.pk),
            {"technician": make_technician().pk, "day": "2026-12-09", "version": 1},
        )

        assert (
            response.status_code,
            "Somebody changed this visit" in response.content.decode(),
        ) == (
            409,
            True,
        )
        visit.refresh_from_db()
        assert visit.technician == technician

    @pytest.mark.parametrize(
        ("name", "data", "state"),
        [
            ("call_off", {"reason": "Closed for works."}, "called_off"),
            (
                "move",
                {"due_on": "2026-12-10", "opens_on": "2026-12-10", "closes_on": "2026-12-11"},
                "planned",
            ),
            ("note", {"minutes": 90, "office_note": "Bring the ladder."}, "planned"),
        ],
    )
    def test_what_else_may_be_done(self, signed_in, visit, name, data, state):
        page = signed_in.get(url(name, visit.pk))

        response = signed_in.post(url(name, visit.pk), {**data, "version": visit.version})

        assert (page.status_code, response.url) == (200, visit.get_absolute_url())
        visit.refresh_from_db()
        assert (visit.state, visit.version) == (state, 2)

    @pytest.mark.parametrize(
        ("name", "data"),
        [
            ("call_off", {"reason": ""}),
            ("miss", {"reason": "Nobody came."}),
            ("move", {"due_on": "2026-12-10", "opens_on": "2026-12-11", "closes_on": "2026-12-12"}),
            ("move", {"due_on": "soon", "opens_on": "2026-12-11", "closes_on": "2026-12-12"}),
            ("note", {"minutes": 2}),
        ],
    )
    def test_what_makes_no_sense_is_said_beside_the_field(self, signed_in, visit, name, data):
        response = signed_in.post(url(name, visit.pk), {**data, "version": visit.version})

        assert response.status_code == 422
        assert "Error: " in response.content.decode()
        visit.refresh_from_db()
        assert visit.version == 1

    def test_the_way_to_later_visits_starts_at_this_one(self, signed_in, office):
        line = make_line(by=office)
        visit = line.visits.get(occurrence_on=date(2027, 1, 5))

        html = signed_in.get(url("days", visit.pk)).content.decode()

        assert url("move", visit.pk) in html
        assert f"{url('line_rule', line.pk)}?from=2027-01-05" in html

    @pytest.mark.parametrize("changes", [1, 12])
    def test_the_page_costs_the_same_however_often_it_was_booked(
        self, signed_in, visit, office, technician, changes, django_assert_num_queries
    ):
        for n in range(changes):
            book_visit(
                visit.pk,
                by=office,
                technician=technician,
                day=DUE + timedelta(days=n),
                time=time(9),
            )
        signed_in.get(visit.get_absolute_url())

        # Session and person (2), the visit; what stands in the way (4: the line has none), access
        # windows, technicians, follow-ups, records to place, the phone's clock, the trail.
        with django_assert_num_queries(15):
            signed_in.get(visit.get_absolute_url())


class TestRoles:
    """Hidden is 404 for everybody; seen and not theirs to do is 403."""

    STEPS = ("book", "unbook", "days", "move", "note", "call_off", "miss")

    @pytest.mark.parametrize("name", STEPS)
    @pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
    def test_a_strangers_visit_is_absent(self, client, visit, request, name, role):
        client.force_login(request.getfixturevalue(role))

        answers = {
            client.get(url(name, visit.pk)).status_code,
            client.post(url(name, visit.pk), {"version": 1}).status_code,
        }

        assert answers <= {404, 405}
        visit.refresh_from_db()
        assert visit.version == 1

    @pytest.mark.parametrize("name", STEPS)
    def test_a_technician_does_not_plan_their_own_visits(
        self, client, visit, office, technician, name
    ):
        book_visit(visit.pk, by=office, technician=technician, day=DUE)
        client.force_login(technician)

        response = client.post(url(name, visit.pk), {"version": 2, "reason": "Tired."})

        assert response.status_code in {403, 405}
        visit.refresh_from_db()
        assert visit.state == "booked"

    def test_a_technician_sees_how_their_visit_stands_and_no_booking_form(
        self, client, visit, office, technician
    ):
        book_visit(visit.pk, by=office, technician=technician, day=DUE)
        client.force_login(technician)

        response = client.get(visit.get_absolute_url())

        assert response.status_code == 200
        assert "Book it" not in response.content.decode()

    def test_the_manager_sees_their_line_in_words_and_may_not_change_it(self, client, office):
        theirs = make_client()
        line = make_line(make_contract(make_site(client=theirs), by=office), by=office)
        client.force_login(make_manager(client=theirs))

        page = client.get(reverse("sites:site", args=[line.contract.site_id])).content.decode()

        assert "Every month on the first Tuesday" in page
        assert url("line", line.pk) not in page
        for name in ("line", "line_change", "line_rule", "line_end"):
            assert client.get(url(name, line.pk)).status_code == 403
        assert client.get(url("line_new", line.contract_id)).status_code == 403

    @pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
    def test_a_strangers_line_is_absent(self, client, office, request, role):
        line = make_line(by=office)
        client.force_login(request.getfixturevalue(role))

        for name in ("line", "line_change", "line_rule", "line_end"):
            assert client.get(url(name, line.pk)).status_code == 404
        assert client.get(url("line_new", line.contract_id)).status_code == 404

    @pytest.mark.parametrize(
        ("role", "sees", "keeps"),
        [
            ("office", 200, 200),
            ("technician", 200, 403),
            ("manager", 404, 404),
            ("auditor", 404, 404),
        ],
    )
    def test_products(self, client, office, request, role, sees, keeps):
        product = make_product(office)
        client.force_login(request.getfixturevalue(role))

        assert client.get(url("product", product.pk)).status_code == sees
        for name in ("product_change", "product_withdraw"):
            assert client.get(url(name, product.pk)).status_code == keeps
        assert client.get(url("products")).status_code == (200 if sees == 200 else 403)
        assert client.get(url("product_add")).status_code == (200 if role == "office" else 403)

    def test_the_manager_sees_coming_days_only(self, client, office, technician):
        """Neither who comes nor at what hour."""
        theirs = make_client()
        site = make_site(client=theirs)
        make_visit(site, by=office, due_on=DUE, state="booked", technician=technician, time=time(9))
        make_visit(site, by=office, due_on=date(2026, 12, 20))
        client.force_login(make_manager(client=theirs))

        html = client.get(reverse("sites:site", args=[site.pk])).content.decode()

        assert "Tue 8 Dec 2026" in html
        assert "Sun 20 Dec 2026" in html
        assert technician.name not in html
        assert "09:00" not in html


class TestCallOuts:
    def test_the_office_takes_one(self, signed_in):
        site = make_site()

        response = signed_in.post(
            url("call_out", site.pk),
            {
                "reported_on": "2026-11-25",
                "reported_time": "11:15",
                "reported_by": "Night porter",
                "problem": "Rat at the bin store",
                "minutes": 60,
            },
        )

        visit = site.visits.get()
        assert response.url == visit.get_absolute_url()
        assert visit.respond_by == datetime(2026, 11, 26, 11, 15, tzinfo=UTC)

    def test_nobody_has_called_tomorrow(self, signed_in):
        site = make_site()

        response = signed_in.post(
            url("call_out", site.pk),
            {
                "reported_on": "2026-11-25",
                "reported_time": "12:01",
                "reported_by": "Night porter",
                "problem": "Rat at the bin store",
                "minutes": 60,
            },
        )

        assert (response.status_code, site.visits.count()) == (422, 0)

    def test_the_manager_asks_and_comes_back_to_the_site(self, client):
        theirs = make_client()
        site = make_site(client=theirs)
        client.force_login(make_manager(client=theirs))

        response = client.post(url("call_out", site.pk), {"problem": "Flies at the bar"})

        assert response.url == site.get_absolute_url()
        assert site.visits.get().reported_problem == "Flies at the bar"

    def test_a_strangers_site_is_absent(self, client, manager):
        site = make_site()
        client.force_login(manager)

        assert client.post(url("call_out", site.pk), {"problem": "Flies"}).status_code == 404
        assert not site.visits.exists()

    def test_sites_are_found_by_part_of_a_name(self, signed_in):
        wanted = make_site(name="Harbour Bakery")
        make_site(name="Museum Café")

        page = signed_in.get(url("call_out_where"), {"q": "bakery"}).context["page"]

        assert list(page.object_list) == [wanted]

    def test_a_follow_up_is_added_beside_what_it_follows(self, signed_in, visit):
        address = url("add", visit.site_id) + f"?follows={visit.pk}"
        days = {"due_on": "2026-12-15", "opens_on": "2026-12-14", "closes_on": "2026-12-16"}

        page = signed_in.get(address)
        signed_in.post(address, {"kind": "follow_up", "minutes": 30, **days})

        assert page.context["follows"] == visit
        assert visit.followed_by.get().due_on == date(2026, 12, 15)

    @pytest.mark.parametrize("follows", ["nonsense", "00000000-0000-0000-0000-000000000000"])
    def test_following_nothing_is_absent(self, signed_in, visit, follows):
        address = url("add", visit.site_id) + f"?follows={follows}"

        assert signed_in.get(address).status_code == 404


class TestLines:
    FIELDS = {
        "title": "Fly lights",
        "kind": "routine",
        "first_on": "2026-12-01",
        "days_before": 3,
        "days_after": 3,
        "minutes": 45,
        "price": "60.00",
    }

    @pytest.mark.parametrize(
        ("typed", "rule"),
        [
            (
                {"pattern": "weeks", "weeks": 2, "weekdays": [1, 4]},
                "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR",
            ),
            (
                {"pattern": "month_weekday", "months": 3, "ordinal": -1, "weekday": 4},
                "FREQ=MONTHLY;INTERVAL=3;BYDAY=-1FR",
            ),
            (
                {"pattern": "month_day", "day_months": 1, "month_day": 31},
                "FREQ=MONTHLY;BYMONTHDAY=28,29,30,31;BYSETPOS=-1",
            ),
            ({"pattern": "year"}, "FREQ=YEARLY;BYMONTH=12;BYMONTHDAY=1"),
            ({"pattern": "text", "rule_text": "freq=daily;interval=10"}, "FREQ=DAILY;INTERVAL=10"),
        ],
    )
    def test_looked_at_first_and_agreed_then(self, signed_in, office, typed, rule):
        contract = make_contract(by=office)
        address = url("line_new", contract.pk)

        looked = signed_in.post(address, {**self.FIELDS, **typed, "step": "look"})
        assert (looked.status_code, contract.lines.count()) == (200, 0)
        assert looked.context["windows"]

        mark = looked.context["form"]["looked_at"].value()
        agreed = signed_in.post(
            address, {**self.FIELDS, **typed, "step": "agree", "looked_at": mark}
        )

        line = contract.lines.get()
        assert (line.rule, agreed.url) == (rule, url("line", line.pk))
        assert line.visits.exists()

    def test_what_was_edited_since_is_looked_at_again(self, signed_in, office):
        contract = make_contract(by=office)
        address = url("line_new", contract.pk)
        typed = {**self.FIELDS, "pattern": "year"}
        looked = signed_in.post(address, {**typed, "step": "look"})
        mark = looked.context["form"]["looked_at"].value()

        again = signed_in.post(
            address, {**typed, "days_after": 9, "step": "agree", "looked_at": mark}
        )

        assert (again.status_code, contract.lines.count()) == (200, 0)
        assert again.context["previewed"]

    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"pattern": "weeks", "weeks": 1}, "weekdays"),
            ({"pattern": "month_day", "day_months": 1}, "month_day"),
            ({"pattern": "text", "rule_text": "every full moon"}, "rule_text"),
            ({"pattern": "text"}, "rule_text"),
            ({"pattern": "sometimes"}, "pattern"),
            ({"pattern": "year", "last_on": "2026-11-30"}, "last_on"),
            ({"pattern": "year", "title": ""}, "title"),
        ],
    )
    def test_what_cannot_recur_is_said_beside_its_field(self, signed_in, office, typed, field):
        contract = make_contract(by=office)

        response = signed_in.post(
            url("line_new", contract.pk), {**self.FIELDS, **typed, "step": "agree"}
        )

        assert response.status_code == 422
        assert field in response.context["form"].errors
        assert not contract.lines.exists()

    @pytest.mark.parametrize(
        "rule",
        [
            "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR",
            "FREQ=MONTHLY;INTERVAL=3;BYDAY=-1FR",
            "FREQ=MONTHLY;BYMONTHDAY=28,29,30,31;BYSETPOS=-1",
            "FREQ=MONTHLY;INTERVAL=6;BYMONTHDAY=15",
            "FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1",
            "FREQ=MONTHLY;BYDAY=1MO,3MO",
            "FREQ=DAILY;INTERVAL=10",
        ],
    )
    def test_a_rule_comes_back_into_the_form_as_it_was_made(self, signed_in, office, rule):
        """What the page fills in for a line gives the same rule again."""
        line = make_line(by=office, rule=rule)
        filled = signed_in.get(url("line_rule", line.pk)).context["form"]
        sent = {
            name: value
            for name in filled.fields
            if (value := filled[name].value()) not in (None, "")
        }

        looked = signed_in.post(url("line_rule", line.pk), {**sent, "step": "look"})

        assert looked.context["form"].cleaned_data["rule"] == rule

    def test_this_and_later_is_looked_at_first_and_changed_then(self, signed_in, office):
        line = make_line(by=office)
        address = url("line_rule", line.pk)
        typed = {
            "from_on": "2027-01-05",
            "pattern": "month_weekday",
            "months": 1,
            "ordinal": 1,
            "weekday": 3,
            "days_before": 3,
            "days_after": 3,
            "minutes": 45,
        }

        looked = signed_in.post(address, {**typed, "step": "look"})
        assert (looked.context["change"]["moved"]["count"], ServiceLine.objects.count()) == (12, 1)

        mark = looked.context["form"]["looked_at"].value()
        signed_in.post(address, {**typed, "step": "change", "looked_at": mark})

        following = ServiceLine.objects.get(follows=line)
        assert following.rule == "FREQ=MONTHLY;BYDAY=1TH"

    def test_of_ten_times_those_that_are_left_are_offered(self, signed_in, office):
        line = make_line(by=office, rule="FREQ=MONTHLY;COUNT=10;BYDAY=1TU")

        page = signed_in.get(url("line_rule", line.pk), {"from": "2027-02-02"})

        assert page.context["form"].initial["rule_text"] == "FREQ=MONTHLY;COUNT=8;BYDAY=1TU"

    def test_what_a_line_asks_for_is_changed(self, signed_in, office):
        line = make_line(by=office)
        form = signed_in.get(url("line_change", line.pk)).context["form"]

        response = signed_in.post(
            url("line_change", line.pk),
            {
                "kind": "survey",
                "title": "Yearly survey",
                "days_before": 5,
                "days_after": 5,
                "minutes": 120,
                "price": "150.00",
                "seen": form["seen"].value(),
            },
        )

        assert response.url == url("line", line.pk)
        assert line.visits.filter(kind="survey", minutes=120).count() == line.visits.count()

    def test_a_line_is_ended(self, signed_in, office):
        line = make_line(by=office)

        signed_in.post(
            url("line_end", line.pk), {"last_on": "2027-01-31", "reason": "The client asked."}
        )

        assert line.visits.count() == 2


def make_product(office, **facts) -> Product:
    defaults = {
        "name": "Demo gel 0.5",
        "registration_number": "PM-0001",
        "formulation": "gel",
        "unit": "g",
        "is_demo": True,
        "label": {"cautions": "Keep off food-contact surfaces."},
    }
    return add_product(by=office, **{**defaults, **facts})


class TestProducts:
    @pytest.mark.parametrize("name", ["products", "product"])
    def test_the_label_comes_first_and_demo_products_say_what_they_are(
        self, signed_in, office, name
    ):
        product = make_product(office)
        args = [product.pk] if name == "product" else []

        html = signed_in.get(url(name, *args)).content.decode()

        assert "The product label and safety data sheet come first" in html
        assert "for use" in html or "Invented for demonstration" in html

    def test_added_changed_and_withdrawn(self, signed_in, trail):
        facts = {
            "name": "Demo dust P",
            "registration_number": "PM-0002",
            "formulation": "dust",
            "unit": "g",
            "is_demo": "on",
        }
        label = {
            "in_force_from": "2026-11-20",
            "actives-TOTAL_FORMS": "0",
            "actives-INITIAL_FORMS": "0",
            "rates-TOTAL_FORMS": "0",
            "rates-INITIAL_FORMS": "0",
        }
        signed_in.post(url("product_add"), {**facts, **label})
        product = Product.objects.get()
        seen = signed_in.get(url("product_change", product.pk)).context["form"]["seen"].value()
        signed_in.post(url("product_change", product.pk), {**facts, "unit": "ml", "seen": seen})
        signed_in.post(
            url("product_withdraw", product.pk), {"on": "2026-11-25", "reason": "No longer sold."}
        )

        product.refresh_from_db()
        assert (product.unit, product.withdrawn_on) == ("ml", date(2026, 11, 25))
        assert trail()[-3:] == ["product.added", "product.changed", "product.withdrawn"]

    def test_the_same_label_twice_is_said_beside_the_form(self, signed_in, office):
        make_product(office)

        response = signed_in.post(
            url("product_add"),
            {
                "name": "Demo gel 0.5",
                "registration_number": "PM-0001",
                "formulation": "gel",
                "unit": "g",
            },
        )

        assert (response.status_code, Product.objects.count()) == (422, 1)

    def test_withdrawn_ones_are_shown_when_asked_for(self, signed_in, office):
        product = make_product(office)
        signed_in.post(
            url("product_withdraw", product.pk), {"on": "2026-11-25", "reason": "No longer sold."}
        )

        assert list(signed_in.get(url("products")).context["page"]) == []
        assert list(signed_in.get(url("products"), {"withdrawn": "on"}).context["page"]) == [
            product
        ]


class TestToPlace:
    @pytest.fixture
    def parked(self, office, technician, visit) -> ParkedOperation:
        monitor = make_monitor(make_zone(visit.site, name="Cellar"), number=12)
        return ParkedOperation.objects.create(
            operation_id="01900000-0000-7000-8000-000000000001",
            person=technician,
            visit=visit,
            sent={
                "kind": "reading",
                "body": {"monitor": str(monitor.pk), "counts": [{"pest": "Ant", "count": 3}]},
            },
            content_hash="a" * 64,
            reason="The visit was called off before this arrived.",
            code="wrong_state",
        )

    def test_everything_the_phone_said_can_be_read(self, signed_in, parked):
        html = signed_in.get(url("inbox_item", parked.pk)).content.decode()

        assert "The visit was called off before this arrived." in html
        assert "Monitor 12, Cellar" in html
        assert parked.sent["body"]["monitor"] in html
        assert "Ant" in html

    def test_what_is_set_aside_leaves_the_list_and_stays_readable(self, signed_in, parked):
        signed_in.post(
            url("inbox_item", parked.pk), {"step": "aside", "aside-note": "Recorded on paper."}
        )

        assert list(signed_in.get(url("inbox")).context["page"]) == []
        assert list(signed_in.get(url("inbox"), {"settled": "on"}).context["page"]) == [parked]
        assert "Recorded on paper." in signed_in.get(url("inbox_item", parked.pk)).content.decode()

    @pytest.mark.parametrize(
        "data", [{"step": "aside"}, {"step": "place"}, {"step": "place", "place-visit": "x"}]
    )
    def test_nothing_is_settled_without_saying_how(self, signed_in, parked, data):
        response = signed_in.post(url("inbox_item", parked.pk), data)

        assert response.status_code == 422
        parked.refresh_from_db()
        assert parked.settled_at is None

    def test_a_refusal_is_said_and_settles_nothing(self, signed_in, parked, visit):
        response = signed_in.post(
            url("inbox_item", parked.pk), {"step": "place", "place-visit": str(visit.pk)}
        )

        assert response.status_code in {409, 422}
        parked.refresh_from_db()
        assert parked.settled_at is None

    @pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.CLIENT_MANAGER, Role.AUDITOR])
    def test_placing_is_the_offices(self, client, parked, technician, manager, auditor, role):
        person = {
            Role.TECHNICIAN: technician,
            Role.CLIENT_MANAGER: manager,
            Role.AUDITOR: auditor,
        }[role]
        client.force_login(person)

        assert client.get(url("inbox")).status_code == 403
        assert client.get(url("inbox_item", parked.pk)).status_code in {403, 404}


@pytest.mark.parametrize("count", [2, 20])
def test_a_sites_visits_cost_the_same_however_many(
    signed_in, office, count, django_assert_num_queries
):
    site = make_site()
    for n in range(count):
        make_visit(site, by=office, due_on=DUE + timedelta(days=n))
    signed_in.get(url("site_visits", site.pk))

    # Session and person (2), the site, the length of the list and its rows.
    with django_assert_num_queries(6):
        signed_in.get(url("site_visits", site.pk))
