"""The details of the service company that papers carry."""

from typing import Any

from django.db import transaction

from accounts import access
from accounts.models import Company, User
from accounts.trail import record


def company_in_use() -> Company:
    """The company's details, or an empty sheet before they are first kept. One query."""
    return Company.objects.first() or Company(name="")


@transaction.atomic
def change_company(*, by: User, **details: Any) -> Company:
    """Set the details that papers carry. ``details`` are the fields of ``Company``."""
    access.require_administrator(by)
    company = Company.objects.select_for_update().first() or Company(name="")
    for field, value in details.items():
        setattr(company, field, value)
    company.save()
    record(by, "company.changed", company, **details)
    return company
