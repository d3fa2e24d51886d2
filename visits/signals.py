"""What this app tells those after it, after the transaction that made it true."""

from functools import partial

from django.db import transaction
from django.dispatch import Signal

from visits.models import Reading

# Both are sent robustly, so that a fault behind them costs neither visit nor reading.
visit_closed = Signal()  # visit_id: UUID
readings_came = Signal()  # without a visit; those of a visit are told of by its closing


def tell_readings_came() -> None:
    """Tell, once what was written is committed, that readings without a visit came or changed."""
    transaction.on_commit(partial(readings_came.send_robust, sender=Reading), robust=True)
