"""Stock by batch: what came in, what the records have used since, and what was counted.

Amounts are in the product's own unit. A record's batch is the one whose number it names, whatever
the capitals. Days of use are UTC days, as a count names no hour: a treatment on the day of a count
is taken to come before it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, DecimalField, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce, Lower

from visits.models import Batch, BatchCount, Treatment

EXPIRES_SOON = timedelta(days=60)
NEARLY = Decimal("0.05")
"""Share of what came in up to which a difference is put down to scales and scoops.

Common practice, no source.
"""

_AMOUNT: "DecimalField[Any, Any]" = DecimalField(max_digits=16, decimal_places=6)
_NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class BatchStand:
    """One batch and how it stands."""

    batch: Batch
    used: Decimal
    unreckoned: int
    counted: Decimal | None
    counted_on: date | None
    used_to_count: Decimal
    today: date

    @property
    def left(self) -> Decimal:
        """What should be left by the records; below zero where more was used than came in."""
        return self.batch.amount - self.used

    @property
    def difference(self) -> Decimal | None:
        """What was counted less what should have been there that day."""
        if self.counted is None:
            return None
        return self.counted - (self.batch.amount - self.used_to_count)

    @property
    def is_expired(self) -> bool:
        return bool(self.batch.expires_on and self.batch.expires_on < self.today)

    @property
    def is_expiring(self) -> bool:
        until = self.batch.expires_on
        return bool(until and self.today <= until <= self.today + EXPIRES_SOON)

    @property
    def state(self) -> tuple[str, str]:
        """A word of ``TONES`` and what it says."""
        if self.batch.used_up_on:
            return "dropped", "Used up"
        if self.is_expired:
            return "expired", "Expired"
        if self.is_expiring:
            return "expiring", "Expires soon"
        return "current", "In use"

    @property
    def words(self) -> tuple[str, ...]:
        """What a person should know of it beside the figures, in sentences."""
        said = []
        unit = self.batch.product.unit
        if self.left < 0:
            said.append(
                f"The records use {plain(-self.left)} {unit} more than came in: look for another "
                "batch, a wrong number on a pack or a wrong amount."
            )
        if self.unreckoned:
            many = self.unreckoned != 1
            said.append(
                f"{self.unreckoned} treatment{'s' if many else ''} of this batch "
                f"{'are' if many else 'is'} not in the sum: the amount cannot be told in {unit} "
                "without a density on the label."
            )
        gap = self.difference
        if gap is not None and abs(gap) > self.batch.amount * NEARLY:
            said.append(
                f"The count shows {plain(abs(gap))} {unit} {'more' if gap > 0 else 'less'} than "
                "the records leave."
            )
        return tuple(said)


def plain(amount: Decimal) -> str:
    """A figure without the zeros that a column adds."""
    return f"{amount.normalize():f}"


def batches_reckoned(batches: QuerySet[Batch]) -> QuerySet[Batch]:
    """Batches with ``used``, ``unreckoned``, ``counted``, ``counted_on`` and ``used_to_count``.

    One query, whatever the rows; each row's sums read the treatments of its product and number.
    """
    newest = BatchCount.objects.filter(batch=OuterRef("pk")).order_by(
        "-counted_on", "-created_at", "-pk"
    )
    of_batch = (
        Treatment.objects.filter(product=OuterRef("product"))
        .annotate(folded=Lower("batch_number"))
        .filter(folded=Lower(OuterRef("number")))
        .order_by()
        .values("product")
    )
    used = of_batch.annotate(sum=Sum("product_amount")).values("sum")
    unreckoned = of_batch.annotate(rows=Count("pk", filter=Q(product_amount__isnull=True))).values(
        "rows"
    )
    to_count = (
        of_batch.filter(started_at__date__lte=OuterRef("counted_on"))
        .annotate(sum=Sum("product_amount"))
        .values("sum")
    )
    return batches.annotate(
        used=Coalesce(Subquery(used, output_field=_AMOUNT), _NOTHING, output_field=_AMOUNT),
        unreckoned=Coalesce(Subquery(unreckoned), 0),
        counted=Subquery(newest.values("amount")[:1]),
        counted_on=Subquery(newest.values("counted_on")[:1]),
    ).annotate(
        used_to_count=Coalesce(
            Subquery(to_count, output_field=_AMOUNT), _NOTHING, output_field=_AMOUNT
        )
    )


def stands(batches: Iterable[Batch], today: date) -> Iterator[BatchStand]:
    """How the batches of ``batches_reckoned`` stand, each with its product at hand."""
    for batch in batches:
        yield stand_of(batch, today)


def stand_of(batch: Any, today: date) -> BatchStand:
    """How one batch of ``batches_reckoned`` stands. No query."""
    return BatchStand(
        batch=batch,
        used=batch.used,
        unreckoned=batch.unreckoned,
        counted=batch.counted,
        counted_on=batch.counted_on,
        used_to_count=batch.used_to_count,
        today=today,
    )


def in_order(batches: QuerySet[Batch]) -> QuerySet[Batch]:
    """Those in use first, then by when they expire, the oldest receipt first."""
    return batches.order_by(
        F("used_up_on").asc(nulls_first=True),
        F("expires_on").asc(nulls_last=True),
        "received_on",
        "pk",
    )
