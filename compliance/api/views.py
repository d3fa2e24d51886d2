"""Operations on actions, flags, evidence and site files."""

from typing import Any

from django.db.models import Prefetch
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import require_office
from accounts.api.base import ReadViewSet, VisibleViewSet
from accounts.api.serializers import Reason
from accounts.files import private_file
from accounts.models import Role
from accounts.refusals import NotAllowed, require_state
from accounts.wake import wake
from compliance import access
from compliance.api import serializers as shapes
from compliance.models import (
    ActionOption,
    ActionThreshold,
    Alarm,
    Breach,
    CorrectiveAction,
    Flag,
    PlaceMonth,
    SealedGap,
    SiteFile,
    TrendReview,
)
from compliance.queries.auditor import read_sites, sites_to_read
from compliance.queries.sheets import sheet_of
from compliance.services import actions, flags
from compliance.services.gaps import GapGiven
from compliance.services.site_files import note_download, request_site_file
from compliance.tasks import build_site_files, make_decision_papers
from sites.models import Site


class Actions(ReadViewSet[CorrectiveAction]):
    """Corrective actions: what must change, whose move it is, by when."""

    visible = staticmethod(access.actions_visible_to)
    serializer_class = shapes.ActionOut
    order = ("due_on", "pk")
    related = ("site__client", "zone")
    filterset_fields = {
        "site": ["exact"],
        "site__client": ["exact"],
        "visit": ["exact"],
        "state": ["exact", "in"],
        "kind": ["exact"],
        "whose_move": ["exact"],
        "declined": ["exact"],
        "due_on": ["exact", "gte", "lte"],
    }

    def get_queryset(self) -> Any:
        live = ActionOption.objects.filter(withdrawn_at=None).order_by("position", "pk")
        options = Prefetch("options", queryset=live, to_attr="live_options")
        gaps = Prefetch("gaps", SealedGap.objects.order_by("attempt", "position", "pk"))
        return super().get_queryset().prefetch_related(options, gaps)

    @extend_schema(request=shapes.ActionIn, responses={201: shapes.ActionOut})
    def create(self, request: Request) -> Response:
        """Raise an action by hand; due in two weeks unless a day is given."""
        require_office(request.user)
        given = self._words(self.given(shapes.ActionIn, request))
        site, photos = given.pop("site"), given.pop("photos", [])
        made = actions.raise_action(
            site.pk, by=self.person, photo_ids=[photo.pk for photo in photos], **given
        )
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.ActionChanged, responses=shapes.ActionOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change an action's words; what the client has before them gets a new revision."""
        found = self.get_object()
        access.require_may_keep(request.user, found)
        given = self._words(self.given(shapes.ActionChanged, request, partial=True))
        kept = {
            "kind": found.kind,
            "title": found.title,
            "detail": found.detail,
            "whose_move": found.whose_move,
            "due_on": found.due_on,
            "internal_note": found.internal_note,
            "zone_id": found.zone_id,
        }
        actions.change_action(found.pk, by=self.person, **{**kept, **given})
        return self.shown(self.again(found.pk))

    @extend_schema(request=shapes.Priced, responses=shapes.ActionOut)
    @action(detail=True, methods=["post"])
    def price(self, request: Request, pk: str) -> Response:
        """Put two to four priced options to the client, in place of those before."""
        found = self.get_object()
        access.require_may_keep(request.user, found)
        given = self.given(shapes.Priced, request)
        options = [actions.OptionGiven(**one) for one in given.pop("options")]
        actions.price_action(found.pk, by=self.person, options=options, **given)
        return self.shown(self.again(found.pk))

    @extend_schema(
        parameters=[OpenApiParameter("years", int, description="Costs over so many, 1 to 10.")],
        responses=shapes.SheetOut,
    )
    @action(detail=True, methods=["get"])
    def sheet(self, request: Request, pk: str) -> Response:
        """What is put to the client, as it stands: read it, then decide by its hash."""
        found = self.get_object()
        access.require_sees_money(request.user)
        asked = shapes.SheetAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        sheet = sheet_of(found, years=asked.validated_data.get("years"))
        told = {
            "revision": found.revision,
            "years": sheet.terms.years,
            "text": sheet.text,
            "hash": sheet.hash,
        }
        return Response(shapes.SheetOut(told).data)

    @extend_schema(request=shapes.DecisionIn, responses=shapes.DecisionOut)
    @action(detail=True, methods=["post"])
    def decide(self, request: Request, pk: str) -> Response:
        """Go ahead with one option or turn the work down, as the client's manager, and sign."""
        found = self.get_object()
        access.require_may_decide(request.user, found)
        given = self.given(shapes.DecisionIn, request)
        option_id = given.pop("option", None)
        decision = actions.decide_action(found.pk, by=self.person, option_id=option_id, **given)
        wake(make_decision_papers)
        return Response(shapes.DecisionOut(decision).data)

    @extend_schema(responses=shapes.SignOffOut(many=True), filters=False)
    @action(detail=True, methods=["get"], url_path="sign-offs", pagination_class=None)
    def sign_offs(self, request: Request, pk: str) -> Response:
        """Who signed what of it, oldest first."""
        rows = self.get_object().sign_offs.order_by("at", "pk")
        return Response(shapes.SignOffOut(rows, many=True).data)

    @extend_schema(request=shapes.DoneIn, responses=shapes.ActionOut)
    @action(detail=True, methods=["post"])
    def done(self, request: Request, pk: str) -> Response:
        """Report the work done, in words, with photos that were sent before and the gaps closed."""
        found = self.get_object()
        access.require_may_report_done(request.user, found)
        given = self.given(shapes.DoneIn, request)
        photo_ids = [photo.pk for photo in given.get("photos", [])]
        gaps = [GapGiven(**one) for one in given.get("gaps", [])]
        actions.report_done(
            found.pk, by=self.person, note=given["note"], photo_ids=photo_ids, gaps=gaps
        )
        return self.shown(self.again(found.pk))

    @extend_schema(request=shapes.CheckIn, responses=shapes.ActionOut)
    @action(detail=True, methods=["post"])
    def check(self, request: Request, pk: str) -> Response:
        """Sign that the finished work was looked at and is sound."""
        found = self.get_object()
        access.require_may_check(request.user)
        actions.check_action(found.pk, by=self.person, **self.given(shapes.CheckIn, request))
        return self.shown(self.again(found.pk))

    @extend_schema(request=Reason, responses=shapes.ActionOut)
    @action(detail=True, methods=["post"])
    def reopen(self, request: Request, pk: str) -> Response:
        """Send work that was reported done back, with the reason."""
        found = self.get_object()
        access.require_may_send_back(request.user, found)
        actions.reopen_action(found.pk, by=self.person, **self.given(Reason, request))
        return self.shown(self.again(found.pk))

    @extend_schema(request=Reason, responses=shapes.ActionOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Withdraw an action that is no longer wanted, with the reason."""
        found = self.get_object()
        access.require_may_keep(request.user, found)
        actions.withdraw_action(found.pk, by=self.person, **self.given(Reason, request))
        return self.shown(self.again(found.pk))

    @staticmethod
    def _words(given: dict[str, Any]) -> dict[str, Any]:
        """The zone by its identifier, as the services take it."""
        if "zone" in given:
            zone = given.pop("zone")
            given["zone_id"] = zone and zone.pk
        return given


class Flags(ReadViewSet[Flag]):
    """What jobs and rules found wrong or late; for the office. Newest first."""

    visible = staticmethod(access.flags_visible_to)
    serializer_class = shapes.FlagOut
    order = ("-pk",)
    filterset_fields = {
        "site": ["exact"],
        "kind": ["exact"],
        "state": ["exact", "in"],
        "late_since": ["lte", "gte"],
    }

    @extend_schema(request=shapes.FlagAcknowledged, responses=shapes.FlagOut)
    @action(detail=True, methods=["post"])
    def acknowledge(self, request: Request, pk: str) -> Response:
        """Say that a flag is seen and what is done; it stays until its cause is gone."""
        found = self.get_object()
        given = self.given(shapes.FlagAcknowledged, request)
        return self.shown(flags.acknowledge_flag(found.pk, by=self.person, **given))


class Evidence(VisibleViewSet[Site]):
    """What published texts ask a site to be able to show, and whether this site has it."""

    visible = staticmethod(access.judged_sites_visible_to)
    serializer_class = shapes.EvidenceOut

    @extend_schema(responses=shapes.EvidenceOut)
    def retrieve(self, request: Request, pk: str) -> Response:
        """The evidence of one site, missing first: for an auditor in the period of the pass."""
        site = sites_to_read(self.person).get(pk=self.get_object().pk)
        return self.shown(read_sites(self.person, [site])[0])


class SiteFiles(ReadViewSet[SiteFile]):
    """The whole record of a site for a period, as a PDF: asked for here, built by a job."""

    visible = staticmethod(access.site_files_visible_to)
    serializer_class = shapes.SiteFileOut
    order = ("-pk",)
    filterset_fields = ["site", "state"]

    @extend_schema(request=shapes.SiteFileIn, responses={201: shapes.SiteFileOut})
    def create(self, request: Request) -> Response:
        """Ask for a site file; look again at what is answered to see how far it is."""
        if self.person.role == Role.TECHNICIAN:
            raise NotAllowed("Site files are for the office, the client and auditors.")
        given = self.given(shapes.SiteFileIn, request)
        made = request_site_file(given.pop("site").pk, by=self.person, **given)
        wake(build_site_files)
        return self.shown(made, status=201)

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"])
    def file(self, request: Request, pk: str) -> HttpResponseBase:
        """The PDF, once it is ready. That it was taken away goes on the trail of the site."""
        found = self.get_object()
        require_state(found, SiteFile.State.READY)
        name = f"site file {found.period_from} to {found.period_to}.pdf"
        answer = private_file(found.file, name=name, mime="application/pdf")
        note_download(found.pk, by=self.person)
        return answer


class Trends(mixins.ListModelMixin, VisibleViewSet[PlaceMonth]):
    """How each zone, or whole site, and pest stood in each month, latest month first.

    Rows are made anew when readings change: what names one is its site, zone, pest and month. Rates
    are individuals per 100 trap-days. Without a zone the row is of the whole site.
    """

    visible = staticmethod(access.place_months_visible_to)
    serializer_class = shapes.PlaceMonthOut
    order = ("-month", "site_id", "zone_id", "pest_id", "pk")
    related = ("pest",)
    filterset_fields = {
        "site": ["exact"],
        "zone": ["exact", "isnull"],
        "pest__slug": ["exact"],
        "state": ["exact", "in"],
        "month": ["exact", "gte", "lte"],
    }


class Alarms(ReadViewSet[Alarm]):
    """More of a pest in a place than is usual there, in one month; latest month first."""

    visible = staticmethod(access.alarms_visible_to)
    serializer_class = shapes.AlarmOut
    order = ("-month", "chance", "pk")
    related = ("pest",)
    filterset_fields = {
        "site": ["exact"],
        "zone": ["exact", "isnull"],
        "pest__slug": ["exact"],
        "state": ["exact", "in"],
        "month": ["exact", "gte", "lte"],
    }


class TrendReviews(ReadViewSet[TrendReview]):
    """What competent people wrote and signed about a site's counts, latest quarter first."""

    visible = staticmethod(access.trend_reviews_visible_to)
    serializer_class = shapes.TrendReviewOut
    order = ("-quarter", "-number", "pk")
    filterset_fields = {"site": ["exact"], "quarter": ["exact", "gte", "lte"]}


class Thresholds(ReadViewSet[ActionThreshold]):
    """From how much on something must be done: those of a site, and those that hold everywhere."""

    visible = staticmethod(access.thresholds_visible_to)
    serializer_class = shapes.ThresholdOut
    order = ("-begins_on", "pk")
    related = ("pest",)
    filterset_fields = {
        "site": ["exact", "isnull"],
        "per": ["exact"],
        "pest__slug": ["exact"],
        "ended_on": ["isnull"],
    }


class Breaches(ReadViewSet[Breach]):
    """Where a threshold was reached: at one reading, or in a zone's month; the latest first."""

    visible = staticmethod(access.breaches_visible_to)
    serializer_class = shapes.BreachOut
    order = ("-on", "pk")
    related = ("pest",)
    filterset_fields = {
        "site": ["exact"],
        "zone": ["exact"],
        "monitor": ["exact", "isnull"],
        "pest__slug": ["exact"],
        "threshold": ["exact"],
        "state": ["exact", "in"],
        "on": ["exact", "gte", "lte"],
    }
