"""How lists are filtered for programs."""

from datetime import UTC, datetime
from typing import Any

from django.db.models import DateTimeField, Field, QuerySet, UUIDField
from django_filters import CharFilter, Filter, IsoDateTimeFilter, UUIDFilter
from django_filters.rest_framework import DjangoFilterBackend, FilterSet


class InstantFilter(IsoDateTimeFilter):  # type: ignore[misc]  # the library has no types
    """An instant with any offset. Compared in UTC: databases know only offsets that zones use."""

    def filter(self, rows: QuerySet[Any], value: datetime | None) -> QuerySet[Any]:
        try:
            instant = value.astimezone(UTC) if value else value
        except OverflowError:  # at the very ends of the calendar
            return rows.none()
        found: QuerySet[Any] = super().filter(rows, instant)
        return found


class PlainFilters(FilterSet):  # type: ignore[misc]  # the library has no types
    """Filters by another record take its bare identifier.

    The library would look the record up and refuse an unknown one, which tells a stranger whether
    it exists. Here what is hidden and what is absent find nothing, in the same words.
    """

    @classmethod
    def filter_for_field(
        cls, field: "Field[Any, Any]", field_name: str, lookup_expr: str | None = None
    ) -> Filter:
        if isinstance(field, DateTimeField) and lookup_expr in ("gte", "lte"):
            return InstantFilter(field_name=field_name, lookup_expr=lookup_expr)
        related = field.related_model
        if related is None or lookup_expr not in (None, "exact"):
            return super().filter_for_field(field, field_name, lookup_expr)
        is_uuid = isinstance(related._meta.pk, UUIDField)
        return (UUIDFilter if is_uuid else CharFilter)(field_name=field_name)


class Filters(DjangoFilterBackend):  # type: ignore[misc]  # the library has no types
    """The filters that an operation names, and no look at what its caller may not see."""

    filterset_base = PlainFilters
