"""What every operation for programs is built on: visible rows, one shape in, one shape out."""

from collections.abc import Callable
from typing import Any, Generic, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, QuerySet
from rest_framework import mixins, serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Role, User

Row = TypeVar("Row", bound=Model)


class Plain(serializers.Serializer[Any]):
    """A shape that only carries: it never writes. Services do."""

    def create(self, validated_data: Any) -> Any:
        raise TypeError("serializers do not write")

    def update(self, instance: Any, validated_data: Any) -> Any:
        raise TypeError("serializers do not write")


class OfficeOnly(serializers.CharField):
    """Words that only the office reads; everybody else gets null."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"read_only": True, "allow_null": True, **kwargs})

    def get_attribute(self, instance: Any) -> Any:
        return super().get_attribute(instance) if _role(self) == Role.OFFICE else None


class AgreedMoney(serializers.DecimalField):
    """A price, for the office and the client's own managers; everybody else gets null."""

    def __init__(self, **kwargs: Any) -> None:
        defaults = {"max_digits": 10, "decimal_places": 2, "read_only": True, "allow_null": True}
        super().__init__(**{**defaults, **kwargs})

    def get_attribute(self, instance: Any) -> Any:
        told = _role(self) in (Role.OFFICE, Role.CLIENT_MANAGER)
        return super().get_attribute(instance) if told else None


def _role(field: serializers.Field[Any, Any, Any, Any]) -> str:
    request = field.context.get("request")
    return request.user.role if request and request.user.is_authenticated else ""


def person_of(request: Request) -> User:
    """Whoever calls, where ``IsAuthenticated`` has made sure that there is somebody."""
    user = request.user
    assert isinstance(user, User)  # noqa: S101 (tells the type checker only)
    return user


class VisibleViewSet(viewsets.GenericViewSet[Row], Generic[Row]):
    """Starts every operation from the rows that the caller may see; all others are 404."""

    # In quotes, since Django's querysets are generic to the type checker only.
    visible: "Callable[[User | AnonymousUser], QuerySet[Row]]"
    order: tuple[str, ...] = ("pk",)
    related: tuple[str, ...] = ()

    def get_queryset(self) -> QuerySet[Row]:
        rows = type(self).visible(self.request.user)
        return rows.select_related(*self.related).order_by(*self.order)

    @property
    def person(self) -> User:
        """Whoever calls; ``IsAuthenticated`` has made sure that there is somebody."""
        return person_of(self.request)

    def given(
        self, shape: type[Plain], request: Request, *, partial: bool = False
    ) -> dict[str, Any]:
        """What the request carries, checked by a shape; a bad one is answered with 400."""
        context = self.get_serializer_context()
        incoming = shape(data=request.data, partial=partial, context=context)
        incoming.is_valid(raise_exception=True)
        return dict(incoming.validated_data)

    def shown(self, row: Any, status: int = 200) -> Response:
        """One row in its outgoing shape."""
        return Response(self.get_serializer(row).data, status=status)

    def again(self, pk: Any) -> Row:
        """A row as it is now, with what its shape needs."""
        return self.get_queryset().get(pk=pk)


class ReadViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, VisibleViewSet[Row], Generic[Row]
):
    """A paged, filtered list and its single rows."""


class SeenRelated(serializers.PrimaryKeyRelatedField[Any]):
    """An identifier of a row that the caller may see; any other is an error of the field.

    The words are the same for a row that may not be seen and for one that does not exist.
    """

    def __init__(self, visible: Callable[[Any], QuerySet[Any]], **kwargs: Any) -> None:
        self.visible = visible
        super().__init__(queryset=visible(AnonymousUser()), **kwargs)

    def get_queryset(self) -> QuerySet[Any]:
        return self.visible(self.context["request"].user)
