"""Batches: what came in, what the records used since, what was counted, and who carries what."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from sites.keeping import Taken, fingerprint
from tests.builders.accounts import make_technician
from tests.builders.visits import local, make_product, make_visit, treatment_given
from visits.models import Batch, Carried, Product
from visits.queries.stock import BatchStand, batches_reckoned, stand_of
from visits.services.products import withdraw_product
from visits.services.recording import apply_treatment
from visits.services.stock import (
    carry,
    change_batch,
    count_batch,
    leave,
    receive_batch,
    use_up_batch,
)

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()


def ago(days: int):
    return TODAY - timedelta(days=days)


@pytest.fixture
def product(office) -> Product:
    return make_product(by=office)


@pytest.fixture
def batch(office, product) -> Batch:
    return receive_batch(
        product.pk, by=office, number="L26 a", received_on=ago(60), amount=Decimal(100)
    )


@pytest.fixture
def treated(product):
    """Records a treatment with the product, so many days ago."""

    def treat(amount: str, *, days: int = 10, **facts):
        visit = make_visit(zones=2, state="under_way", due_on=ago(days))
        given = treatment_given(
            visit.site.zones.first(),
            product,
            started_at=local(visit, 9, 30),
            amount=Decimal(amount),
            **{"batch_number": "l26 A", **facts},
        )
        return apply_treatment(visit.pk, by=visit.technician, at=local(visit, 10), treatment=given)

    return treat


def standing(batch: Batch) -> BatchStand:
    row = batches_reckoned(Batch.objects.select_related("product")).get(pk=batch.pk)
    return stand_of(row, TODAY)


class TestReckoning:
    def test_what_is_left_is_what_came_in_less_what_records_of_the_batch_used(self, batch, treated):
        treated("12.5")
        treated("7.5", unit="g")
        treated("50", batch_number="L27")

        stand = standing(batch)

        assert (stand.used, stand.left) == (Decimal(20), Decimal(80))
        assert (stand.difference, stand.words) == (None, ())

    def test_another_unit_is_reckoned_in_the_products_own(self, batch, treated):
        treated("0.01", unit="kg")

        assert standing(batch).used == Decimal(10)

    def test_what_cannot_be_reckoned_is_said_in_words(self, batch, treated):
        treated("5", unit="ml")

        stand = standing(batch)

        assert (stand.used, stand.unreckoned) == (0, 1)
        assert "1 treatment of this batch is not in the sum" in stand.words[0]

    def test_a_count_is_held_against_what_was_used_until_its_day(self, office, batch, treated):
        treated("20", days=30)
        treated("30", days=5)
        count_batch(batch.pk, by=office, counted_on=ago(20), amount=Decimal(81))

        stand = standing(batch)

        assert (stand.left, stand.difference) == (Decimal(50), Decimal(1))
        assert stand.words == ()

    def test_the_newest_count_counts(self, office, batch, treated):
        treated("20", days=30)
        count_batch(batch.pk, by=office, counted_on=ago(20), amount=Decimal(80))
        count_batch(batch.pk, by=office, counted_on=ago(3), amount=Decimal(70))
        count_batch(batch.pk, by=office, counted_on=ago(9), amount=Decimal(79))

        stand = standing(batch)

        assert (stand.counted, stand.difference) == (Decimal(70), Decimal(-10))
        assert "10 g less than the records leave" in stand.words[0]

    def test_more_used_than_came_in_is_said(self, batch, treated):
        treated("101")

        assert "1 g more than came in" in standing(batch).words[0]

    @pytest.mark.parametrize(
        ("days", "state"), [(-1, "expired"), (0, "expiring"), (60, "expiring"), (61, "current")]
    )
    def test_when_a_batch_expires(self, office, batch, days, state):
        change_batch(batch.pk, by=office, expires_on=TODAY + timedelta(days=days))

        assert standing(batch).state[0] == state


class TestBatches:
    def test_a_number_is_once_per_product_whatever_its_capitals(self, office, batch, trail):
        seen = trail()

        with pytest.raises(Taken):
            receive_batch(
                batch.product_id,
                by=office,
                number=" l26  A",
                received_on=TODAY,
                amount=Decimal(1),
            )

        assert (Batch.objects.count(), trail()) == (1, seen)

    @pytest.mark.parametrize(
        ("facts", "field"),
        [
            ({"number": "  "}, "number"),
            ({"amount": Decimal(0)}, "amount"),
            ({"received_on": TODAY + timedelta(days=1)}, "received_on"),
            ({"expires_on": ago(90)}, "expires_on"),
        ],
    )
    def test_what_cannot_be_is_refused_beside_its_field(self, office, product, facts, field):
        told = {"number": "L1", "received_on": ago(60), "amount": Decimal(1), **facts}

        with pytest.raises(Unusable) as refused:
            receive_batch(product.pk, by=office, **told)

        assert list(refused.value.facts["fields"]) == [field]
        assert not Batch.objects.exists()

    def test_nothing_comes_in_of_a_withdrawn_product(self, office, product):
        withdraw_product(product.pk, by=office, on=TODAY, reason="No longer sold.")

        with pytest.raises(WrongState, match="withdrawn"):
            receive_batch(product.pk, by=office, number="L1", received_on=TODAY, amount=Decimal(1))

    def test_a_lost_edit_is_refused(self, office, batch):
        seen = fingerprint(Batch.objects.get(), ["amount"])
        change_batch(batch.pk, by=office, seen=seen, amount=Decimal(90))

        with pytest.raises(Changed):
            change_batch(batch.pk, by=office, seen=seen, amount=Decimal(80))

        batch.refresh_from_db()
        assert batch.amount == 90

    @pytest.mark.parametrize("days", [61, -1])
    def test_a_count_is_of_a_day_on_which_the_batch_was_there(self, office, batch, days):
        with pytest.raises(Unusable):
            count_batch(batch.pk, by=office, counted_on=ago(days), amount=Decimal(1))

        assert not batch.counts.exists()

    def test_a_used_up_batch_is_in_no_van(self, office, technician, batch, trail):
        carry(technician.pk, batch.product_id, by=office, batch_id=batch.pk)

        use_up_batch(batch.pk, by=office, on=TODAY)

        batch.refresh_from_db()
        assert (batch.used_up_on, Carried.objects.get().batch) == (TODAY, None)
        assert trail()[-1] == "batch.used_up"
        with pytest.raises(WrongState):
            use_up_batch(batch.pk, by=office, on=TODAY)

    def test_only_the_office_keeps_batches(self, technician, batch):
        with pytest.raises(NotAllowed):
            count_batch(batch.pk, by=technician, counted_on=TODAY, amount=Decimal(1))


class TestCarrying:
    def test_it_is_said_once_and_may_be_said_again(self, office, technician, batch, trail):
        carry(technician.pk, batch.product_id, by=office)
        carry(technician.pk, batch.product_id, by=technician, batch_id=batch.pk)
        carry(technician.pk, batch.product_id, by=technician, batch_id=batch.pk)

        assert [one.batch for one in Carried.objects.all()] == [batch]
        assert trail()[-2:] == ["product.carried", "product.carried"]

    def test_it_is_taken_out_once(self, office, technician, batch, trail):
        carry(technician.pk, batch.product_id, by=office)

        leave(technician.pk, batch.product_id, by=technician)
        leave(technician.pk, batch.product_id, by=technician)

        assert not Carried.objects.exists()
        assert trail()[-2:] == ["product.carried", "product.left"]

    def test_nobody_fills_another_technicians_van(self, technician, product):
        other = make_technician()

        with pytest.raises(NotAllowed):
            carry(other.pk, product.pk, by=technician)

    def test_only_technicians_carry(self, office, product):
        with pytest.raises(NotAllowed):
            carry(office.pk, product.pk, by=office)

    def test_the_batch_is_one_of_the_product_and_in_use(self, office, technician, batch):
        other = make_product(by=office)

        with pytest.raises(Unusable, match="no such batch"):
            carry(technician.pk, other.pk, by=office, batch_id=batch.pk)
        use_up_batch(batch.pk, by=office, on=TODAY)
        with pytest.raises(Unusable, match="used up"):
            carry(technician.pk, batch.product_id, by=office, batch_id=batch.pk)

        assert not Carried.objects.exists()

    def test_nobody_takes_a_withdrawn_product_along(self, office, technician, product):
        withdraw_product(product.pk, by=office, on=TODAY, reason="No longer sold.")

        with pytest.raises(WrongState):
            carry(technician.pk, product.pk, by=office)


class TestPages:
    @pytest.fixture
    def signed_in(self, client, office):
        client.force_login(office)
        return client

    def test_a_batch_is_taken_in_counted_and_used_up(self, signed_in, product):
        signed_in.post(
            reverse("visits:batch_receive", args=[product.pk]),
            {"number": "L1", "received_on": ago(9).isoformat(), "amount": "250,5"},
        )
        batch = Batch.objects.get()
        signed_in.post(
            reverse("visits:batch_count", args=[batch.pk]),
            {"counted_on": TODAY.isoformat(), "amount": "0"},
        )
        signed_in.post(reverse("visits:batch_use_up", args=[batch.pk]), {"on": TODAY.isoformat()})

        batch.refresh_from_db()
        assert (batch.amount, batch.used_up_on) == (Decimal("250.5"), TODAY)
        assert batch.counts.get().amount == 0
        page = signed_in.get(reverse("visits:batch", args=[batch.pk])).content.decode()
        assert "250.5 g less than the records leave" in page

    @pytest.mark.parametrize(
        ("state", "found"),
        [
            ("", ["expiring", "differs"]),
            ("expiring", ["expiring"]),
            ("differs", ["differs"]),
            ("used_up", ["gone"]),
            ("all", ["expiring", "differs", "gone"]),
        ],
    )
    def test_the_list_is_narrowed_and_downloaded_alike(
        self, signed_in, office, product, state, found
    ):
        say = {"by": office, "received_on": ago(30), "amount": Decimal(100)}
        receive_batch(product.pk, number="expiring", expires_on=ago(-9), **say)
        differs = receive_batch(product.pk, number="differs", **say)
        count_batch(differs.pk, by=office, counted_on=TODAY, amount=Decimal(90))
        gone = receive_batch(product.pk, number="gone", **say)
        use_up_batch(gone.pk, by=office, on=TODAY)

        page = signed_in.get(reverse("visits:batches"), {"state": state})
        file = signed_in.get(reverse("visits:batches_csv"), {"state": state})

        assert [one.batch.number for one in page.context["stands"]] == found
        lines = b"".join(file.streaming_content).decode().splitlines()[1:]
        assert [line.split(",")[2] for line in lines] == found

    def test_a_technician_fills_the_own_van_by_name_or_number(self, client, technician, batch):
        client.force_login(technician)
        van = reverse("visits:carried", args=[technician.pk])

        response = client.post(
            van, {"product": batch.product.registration_number.lower(), "batch": "L26 A"}
        )

        assert response.status_code == 302
        assert Carried.objects.get().batch == batch
        assert batch.product.name in client.get(van).content.decode()
        client.post(reverse("visits:leave", args=[batch.product_id, technician.pk]))
        assert not Carried.objects.exists()

    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"product": "no such"}, "product"),
            ({"product": ""}, "product"),
            ({"product": "TEST", "batch": ""}, "product"),
        ],
    )
    def test_what_is_not_found_is_said(self, client, technician, product, typed, field):
        client.force_login(technician)

        response = client.post(reverse("visits:carried", args=[technician.pk]), typed)

        assert response.status_code == 422
        assert list(response.context["form"].errors) == [field]

    def test_another_van_is_not_there_for_a_technician(self, client, technician):
        client.force_login(technician)
        other = make_technician()

        assert client.get(reverse("visits:carried", args=[other.pk])).status_code == 404

    @pytest.mark.parametrize("count", [2, 20])
    def test_a_product_costs_the_same_whatever_its_stock(
        self, signed_in, office, product, count, django_assert_num_queries
    ):
        for n in range(count):
            one = receive_batch(
                product.pk, by=office, number=f"L{n}", received_on=TODAY, amount=Decimal(9)
            )
            carry(make_technician().pk, product.pk, by=office, batch_id=one.pk)
        page = reverse("visits:product", args=[product.pk])
        signed_in.get(page)

        # Session and person (2), the product with its label, rates, pests, whether it was used,
        # its versions (2), its batches (2) and who carries it.
        with django_assert_num_queries(13):
            signed_in.get(page)
