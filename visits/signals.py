"""What this app tells those after it, after the transaction that made it true."""

from django.dispatch import Signal

visit_closed = Signal()  # visit_id: UUID; sent robustly, so that a fault behind it costs no visit
