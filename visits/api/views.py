"""Operations on service lines, visits and what they record."""

from typing import Any

from django.db.models import Prefetch
from django.http import HttpResponseBase
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from accounts.api.base import ReadViewSet, person_of
from accounts.queries import company_today
from sites.models import ServiceLine
from visits import access
from visits.api import serializers as shapes
from visits.models import (
    Finding,
    LabelRate,
    NotReached,
    ParkedOperation,
    Pest,
    Product,
    Reading,
    Treatment,
    Visit,
)
from visits.services import amendments, booking, lines, parked, products
from visits.services.labels import enter_label
from visits.services.sync import apply_operations
from visits.views.sync import DeepJSON, packed


class ServiceLines(ReadViewSet[ServiceLine]):
    """Recurring services of contracts."""

    visible = staticmethod(access.lines_visible_to)
    serializer_class = shapes.LineOut
    order = ("first_on", "pk")
    related = ("contract",)
    filterset_fields = {
        "contract": ["exact"],
        "contract__site": ["exact"],
        "kind": ["exact"],
        "last_on": ["gte", "isnull"],
    }

    def get_queryset(self) -> Any:
        return super().get_queryset().prefetch_related("competences")

    @extend_schema(request=shapes.LineIn, responses={201: shapes.LineOut})
    def create(self, request: Request) -> Response:
        """Agree a service line; its visits are planned at once."""
        access.require_may_plan(request.user)
        given = self.given(shapes.LineIn, request)
        made = lines.agree_service_line(given.pop("contract").pk, by=self.person, **given)
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.LineChanged, responses=shapes.LineOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change a line without changing when it comes due."""
        line = self.get_object()
        access.require_may_plan(request.user)
        given = self.given(shapes.LineChanged, request, partial=True)
        lines.change_line(line.pk, by=self.person, **given)
        return self.shown(self.again(line.pk))

    @extend_schema(request=shapes.RuleFrom, responses=shapes.LineOut)
    @action(detail=True, methods=["post"], url_path="rule-from")
    def rule_from(self, request: Request, pk: str) -> Response:
        """Change the recurrence of this and later visits; answers the line that follows."""
        line = self.get_object()
        access.require_may_plan(request.user)
        given = self.given(shapes.RuleFrom, request)
        made = lines.change_rule_from(line.pk, by=self.person, **given)
        return self.shown(self.again(made.pk))

    @extend_schema(request=shapes.LineEnded, responses=shapes.LineOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End a line; visits that are planned after its last day are withdrawn."""
        line = self.get_object()
        access.require_may_plan(request.user)
        given = self.given(shapes.LineEnded, request)
        lines.end_line(line.pk, by=self.person, **given)
        return self.shown(self.again(line.pk))


class Visits(ReadViewSet[Visit]):
    """Attendances, soonest due first."""

    visible = staticmethod(access.visits_visible_to)
    serializer_class = shapes.VisitOut
    order = ("due_on", "pk")
    related = ("site", "technician")
    filterset_fields = {
        "site": ["exact"],
        "site__client": ["exact"],
        "line": ["exact"],
        "kind": ["exact"],
        "state": ["exact", "in"],
        "technician": ["exact", "isnull"],
        "due_on": ["gte", "lte"],
        "booked_on": ["exact", "gte", "lte"],
        "closes_on": ["lt", "gte"],
    }

    @extend_schema(request=shapes.VisitIn, responses={201: shapes.VisitOut})
    def create(self, request: Request) -> Response:
        """Add a visit that no service line brings."""
        access.require_may_plan(request.user)
        given = self.given(shapes.VisitIn, request)
        made = booking.add_visit(given.pop("site").pk, by=self.person, **given)
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.CallOutIn, responses={201: shapes.VisitOut})
    @action(detail=False, methods=["post"], url_path="call-outs")
    def call_outs(self, request: Request) -> Response:
        """Take a call-out (office) or ask for one (client manager)."""
        given = self.given(shapes.CallOutIn, request)
        site, now = given["site"], timezone.now()
        if self.person.is_office:
            made = booking.take_call_out(
                site.pk,
                by=self.person,
                reported_at=now,
                problem=given["problem"],
                reported_by=given.get("reported_by", ""),
            )
        else:
            made = booking.ask_call_out(site.pk, by=self.person, at=now, problem=given["problem"])
        shown = Visit.objects.select_related(*self.related).get(pk=made.pk)
        return self.shown(shown, status=201)

    @extend_schema(request=shapes.VisitBooked, responses=shapes.VisitOut)
    @action(detail=True, methods=["post"])
    def book(self, request: Request, pk: str) -> Response:
        """Book a visit for a technician on a day."""
        visit, given = self._planned(shapes.VisitBooked)
        booking.book_visit(visit.pk, by=self.person, **given)
        return self.shown(self.again(visit.pk))

    @extend_schema(request=shapes.Seen, responses=shapes.VisitOut)
    @action(detail=True, methods=["post"])
    def unbook(self, request: Request, pk: str) -> Response:
        """Take a booked visit off the plan again."""
        visit, given = self._planned(shapes.Seen)
        booking.unbook_visit(visit.pk, by=self.person, **given)
        return self.shown(self.again(visit.pk))

    @extend_schema(request=shapes.VisitMoved, responses=shapes.VisitOut)
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str) -> Response:
        """Move the days of this one visit."""
        visit, given = self._planned(shapes.VisitMoved)
        booking.move_visit(visit.pk, by=self.person, **given)
        return self.shown(self.again(visit.pk))

    @extend_schema(request=shapes.VisitReason, responses=shapes.VisitOut)
    @action(detail=True, methods=["post"], url_path="call-off")
    def call_off(self, request: Request, pk: str) -> Response:
        """Call a visit off, with the reason."""
        visit, given = self._planned(shapes.VisitReason)
        booking.call_off_visit(visit.pk, by=self.person, **given)
        return self.shown(self.again(visit.pk))

    @extend_schema(request=shapes.VisitReason, responses=shapes.VisitOut)
    @action(detail=True, methods=["post"])
    def miss(self, request: Request, pk: str) -> Response:
        """Record that a visit was missed, with the reason."""
        visit, given = self._planned(shapes.VisitReason)
        booking.miss_visit(visit.pk, by=self.person, **given)
        return self.shown(self.again(visit.pk))

    @extend_schema(responses=shapes.AmendmentOut(many=True), filters=False)
    @action(detail=True, methods=["get"], pagination_class=None)
    def amendments(self, request: Request, pk: str) -> Response:
        """What was corrected beside a closed visit, oldest first."""
        rows = self.get_object().amendments.select_related("author").order_by("number")
        return Response(shapes.AmendmentOut(rows, many=True).data)

    @extend_schema(request=shapes.AmendmentIn, responses={201: shapes.AmendmentOut})
    @action(detail=True, methods=["post"])
    def amend(self, request: Request, pk: str) -> Response:
        """Correct a closed visit beside its own words."""
        visit = self.get_object()
        given = self.given(shapes.AmendmentIn, request)
        made = amendments.amend_visit(visit.pk, by=self.person, **given)
        return Response(shapes.AmendmentOut(made).data, status=201)

    @extend_schema(responses=shapes.SealedRecord)
    @action(detail=True, methods=["get"])
    def sealed(self, request: Request, pk: str) -> Response:
        """The exact text that was sealed, so that anybody can repeat the seal."""
        return Response(shapes.SealedRecord(self.get_object()).data)

    def _planned(self, shape: type[shapes.Seen]) -> tuple[Visit, dict[str, Any]]:
        """The visit and what is to be done with it, for who may plan."""
        visit = self.get_object()
        access.require_may_plan(self.request.user)
        given = self.given(shape, self.request)
        given["seen_version"] = given.pop("version", None)
        return visit, given


class Readings(ReadViewSet[Reading]):
    """What monitors showed, newest first."""

    visible = staticmethod(access.readings_visible_to)
    serializer_class = shapes.ReadingOut
    order = ("-read_on", "-pk")
    related = ("monitor",)
    filterset_fields = {
        "monitor": ["exact"],
        "monitor__site": ["exact"],
        "monitor__zone": ["exact"],
        "visit": ["exact"],
        "source": ["exact"],
        "read_on": ["gte", "lte"],
    }

    def get_queryset(self) -> Any:
        return super().get_queryset().prefetch_related("counts__pest")


class Findings(ReadViewSet[Finding]):
    """What was seen on visits, newest first."""

    visible = staticmethod(access.findings_visible_to)
    serializer_class = shapes.FindingOut
    order = ("-at", "-pk")
    related = ("pest",)
    filterset_fields = ["visit", "visit__site", "zone", "kind"]


class NotReachedList(ReadViewSet[NotReached]):
    """What could not be looked at, newest first."""

    visible = staticmethod(access.not_reached_visible_to)
    serializer_class = shapes.NotReachedOut
    order = ("-at", "-pk")
    filterset_fields = ["visit", "visit__site", "zone", "reason", "whose_move"]


class Treatments(ReadViewSet[Treatment]):
    """Applications of products, newest first."""

    visible = staticmethod(access.treatments_visible_to)
    serializer_class = shapes.TreatmentOut
    order = ("-started_at", "-pk")
    related = ("target", "label")
    filterset_fields = {
        "visit": ["exact"],
        "visit__site": ["exact"],
        "visit__site__client": ["exact"],
        "visit__technician": ["exact"],
        "product": ["exact"],
        "batch_number": ["exact"],
        "target__slug": ["exact"],
        "method": ["exact"],
        "started_at": ["gte", "lte"],
        "is_incomplete": ["exact"],
        "made_late": ["exact"],
        "was_forbidden": ["exact"],
    }


class Pests(ReadViewSet[Pest]):
    """The pests that readings, findings and treatments name."""

    visible = staticmethod(access.pests_visible_to)
    serializer_class = shapes.PestOut
    lookup_field = "slug"
    order = ("name", "pk")
    filterset_fields = ["group"]


class Products(ReadViewSet[Product]):
    """The product register. The label and the safety data sheet come first."""

    visible = staticmethod(access.products_visible_to)
    serializer_class = shapes.ProductOut
    order = ("name", "pk")
    related = ("label",)
    filterset_fields = {"formulation": ["exact"], "withdrawn_on": ["isnull"]}

    def get_queryset(self) -> Any:
        rates = LabelRate.objects.order_by("position")
        return super().get_queryset().prefetch_related(Prefetch("label__rates", rates))

    @extend_schema(request=shapes.ProductIn, responses={201: shapes.ProductOut})
    def create(self, request: Request) -> Response:
        """Add a product as its label states it."""
        access.require_may_keep_products(request.user)
        given = self.given(shapes.ProductIn, request)
        label = given.pop("label", {})
        made = products.add_product(
            by=self.person, label=label, in_force_from=label.pop("in_force_from", None), **given
        )
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.ProductChanged, responses=shapes.ProductOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change what stays the same for every version of the label."""
        product = self.get_object()
        access.require_may_keep_products(request.user)
        given = self.given(shapes.ProductChanged, request, partial=True)
        products.change_product(product.pk, by=self.person, **given)
        return self.shown(self.again(product.pk))

    @extend_schema(responses=shapes.LabelOut(many=True))
    @action(detail=True, methods=["get"])
    def labels(self, request: Request, pk: str) -> Response:
        """Every version of the label, the newest first."""
        product = self.get_object()
        rates = Prefetch("rates", LabelRate.objects.order_by("position"))
        versions: Any = product.labels.prefetch_related(rates).order_by("-number")
        page: Any = self.paginate_queryset(versions)
        return self.get_paginated_response(shapes.LabelOut(page, many=True).data)

    @extend_schema(request=shapes.LabelIn, responses={201: shapes.ProductOut})
    @labels.mapping.post
    def enter_label(self, request: Request, pk: str) -> Response:
        """Enter a new version of the label; records keep the version of their day."""
        product = self.get_object()
        access.require_may_keep_products(request.user)
        given = self.given(shapes.LabelIn, request)
        day = given.pop("in_force_from", None) or company_today()
        enter_label(product.pk, by=self.person, in_force_from=day, **given)
        return self.shown(self.again(product.pk), status=201)


class Parked(ReadViewSet[ParkedOperation]):
    """What phones sent that the office has to place, newest first."""

    visible = staticmethod(access.parked_visible_to)
    serializer_class = shapes.ParkedOut
    order = ("-pk",)
    filterset_fields = {"visit": ["exact"], "settled_at": ["isnull"]}

    @extend_schema(request=shapes.ParkedPlaced, responses=shapes.ParkedOut)
    @action(detail=True, methods=["post"])
    def place(self, request: Request, pk: str) -> Response:
        """Place it on a visit, in the name of who recorded it; on a closed one as an amendment."""
        found = self.get_object()
        access.require_may_plan(request.user)
        given = self.given(shapes.ParkedPlaced, request)
        visit = given.pop("visit")
        parked.place_parked(found.pk, by=self.person, visit_id=visit.pk, **given)
        return self.shown(self.again(found.pk))

    @extend_schema(request=shapes.ParkedSetAside, responses=shapes.ParkedOut)
    @action(detail=True, methods=["post"], url_path="set-aside")
    def set_aside(self, request: Request, pk: str) -> Response:
        """Settle it without placing it; the content stays, and the note says why."""
        found = self.get_object()
        access.require_may_plan(request.user)
        given = self.given(shapes.ParkedSetAside, request)
        parked.set_aside_parked(found.pk, by=self.person, **given)
        return self.shown(self.again(found.pk))


class Operations(APIView):
    """Where a phone sends what was recorded on visits."""

    permission_classes = [IsAuthenticated]
    parser_classes = [DeepJSON]

    @extend_schema(request=shapes.OperationsSent, responses=shapes.OperationsAnswered)
    def post(self, request: Request) -> Response:
        """Take in up to a hundred operations and answer each, in the order in which they came.

        The same operation sent again gets the same answer; what cannot be applied is kept for the
        office to place.
        """
        access.require_may_record(request.user)
        sent = shapes.OperationsSent(data=request.data)
        sent.is_valid(raise_exception=True)
        answers = apply_operations(sent.validated_data["operations"], by=person_of(request))
        return Response({"answers": answers, "now": timezone.now()})


@method_decorator(gzip_page, name="dispatch")
class Package(APIView):
    """What a phone needs to work without a signal."""

    permission_classes = [IsAuthenticated]

    @extend_schema(
        parameters=[OpenApiParameter("visit", OpenApiTypes.UUID, description="Only this one.")],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request) -> HttpResponseBase:
        """The technician's visits of today and the week after it, with all that they need."""
        access.require_may_record(request.user)
        asked = shapes.PackageAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return packed(request, person_of(request), asked.validated_data.get("visit"))
