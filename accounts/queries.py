"""Reads of people and the trail that more than one page needs."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from accounts.models import Company, Competence, Invitation, User


def people_listed() -> QuerySet[User]:
    """Everybody, by role and name, each with ``invited`` (has an open invitation). One query."""
    invited = Invitation.objects.filter(
        person=OuterRef("pk"), accepted_at__isnull=True, withdrawn_at__isnull=True
    )
    return (
        User.objects.select_related("client")
        .annotate(invited=Exists(invited), held=Count("competences", distinct=True))
        .order_by("role", "name", "pk")
    )


def people_found(people: QuerySet[User], *, text: str = "", role: str = "") -> QuerySet[User]:
    """Those whose name or e-mail has the text, and who have the role, where given."""
    if text:
        people = people.filter(Q(name__icontains=text) | Q(email__icontains=text))
    if role:
        people = people.filter(role=role)
    return people


def competences_listed(competences: QuerySet[Competence]) -> QuerySet[Competence]:
    """Soonest to lapse first, those without an end last. One query."""
    return competences.select_related("person", "kind").order_by(
        F("valid_until").asc(nulls_last=True), "person__name", "pk"
    )


def company_today() -> date:
    """What day it is where the company is. One query.

    What belongs to no site (labels, batches) has its days here: in Sydney a morning is already of
    a day that has not begun in UTC.
    """
    company = Company.objects.first() or Company()
    return timezone.localdate(timezone=ZoneInfo(company.time_zone))


def competence_days() -> dict[str, date]:
    """``today`` and the day up to which a competence counts as about to lapse. No query."""
    today = timezone.now().date()
    return {"today": today, "soon": today + timedelta(days=60)}
