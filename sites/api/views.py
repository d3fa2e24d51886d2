"""Operations on clients, sites and what is in them."""

from typing import Any

from django.http import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import require_office
from accounts.api.base import ReadViewSet
from accounts.api.serializers import Reason
from accounts.files import private_file
from accounts.models import AuditorPass, Client
from sites import access
from sites.api import serializers as shapes
from sites.models import (
    Contact,
    Contract,
    Document,
    ImportJob,
    Monitor,
    Photo,
    Site,
    SitePlan,
    Zone,
)
from sites.services import (
    clients,
    contacts,
    contracts,
    documents,
    grants,
    imports,
    monitors,
    photos,
    sites,
    zones,
)

BINARY = {(200, "application/octet-stream"): OpenApiTypes.BINARY}


class Clients(ReadViewSet[Client]):
    """Organisations that hold contracts."""

    visible = staticmethod(access.clients_visible_to)
    serializer_class = shapes.ClientOut
    order = ("name", "pk")
    filterset_fields = ["reference", "closed_on"]

    @extend_schema(request=shapes.ClientIn, responses={201: shapes.ClientOut})
    def create(self, request: Request) -> Response:
        """Add a client."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ClientIn, request)
        return self.shown(clients.add_client(by=self.person, **given), status=201)

    @extend_schema(request=shapes.ClientIn, responses=shapes.ClientOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change what is on file for a client."""
        client = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ClientIn, request, partial=True)
        return self.shown(clients.change_client(client.pk, by=self.person, **given))


class Sites(ReadViewSet[Site]):
    """Premises of clients."""

    visible = staticmethod(access.sites_visible_to)
    serializer_class = shapes.SiteOut
    order = ("name", "pk")
    related = ("client",)
    filterset_fields = {"client": ["exact"], "reference": ["exact"], "closed_on": ["isnull"]}

    def get_queryset(self) -> Any:
        return super().get_queryset().prefetch_related("access_windows")

    @extend_schema(request=shapes.SiteIn, responses={201: shapes.SiteOut})
    def create(self, request: Request) -> Response:
        """Add a site to a client."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.SiteIn, request)
        made = sites.add_site(given.pop("client").pk, by=self.person, **given)
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.SiteChanged, responses=shapes.SiteOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change what is on file for a site."""
        site = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.SiteChanged, request, partial=True)
        sites.change_site(site.pk, by=self.person, **given)
        return self.shown(self.again(site.pk))

    @extend_schema(request=shapes.AccessWindowsIn, responses=shapes.SiteOut)
    @action(detail=True, methods=["put"], url_path="access-windows")
    def access_windows(self, request: Request, pk: str) -> Response:
        """Say when the site can be entered; this replaces what was said before."""
        site = self.get_object()
        access.require_may_keep_sites(request.user)
        windows = self.given(shapes.AccessWindowsIn, request)["windows"]
        openings = [sites.Opening(**window) for window in windows]
        sites.set_access_windows(site.pk, by=self.person, windows=openings)
        return self.shown(self.again(site.pk))

    @extend_schema(request=shapes.SiteClosed, responses=shapes.SiteOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: str) -> Response:
        """Close a site: nothing comes due there any more."""
        site = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.SiteClosed, request)
        sites.close_site(site.pk, by=self.person, **given)
        return self.shown(self.again(site.pk))


class Contacts(ReadViewSet[Contact]):
    """People at the premises."""

    visible = staticmethod(access.contacts_visible_to)
    serializer_class = shapes.ContactOut
    order = ("name", "pk")
    filterset_fields = ["site"]

    @extend_schema(request=shapes.ContactIn, responses={201: shapes.ContactOut})
    def create(self, request: Request) -> Response:
        """Add a contact."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ContactIn, request)
        made = contacts.add_contact(given.pop("site").pk, by=self.person, **given)
        return self.shown(made, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: str) -> Response:
        """Take a contact off the site."""
        contact = self.get_object()
        contacts.remove_contact(contact.pk, by=self.person)
        return Response(status=204)


class Contracts(ReadViewSet[Contract]):
    """What was agreed for a site."""

    visible = staticmethod(access.contracts_visible_to)
    serializer_class = shapes.ContractOut
    order = ("-starts_on", "pk")
    filterset_fields = {"site": ["exact"], "ends_on": ["lte", "gte", "isnull"]}

    @extend_schema(request=shapes.ContractIn, responses={201: shapes.ContractOut})
    def create(self, request: Request) -> Response:
        """Put a contract on file."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ContractIn, request)
        made = contracts.add_contract(given.pop("site").pk, by=self.person, **given)
        return self.shown(made, status=201)

    @extend_schema(request=shapes.ContractChanged, responses=shapes.ContractOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change a contract."""
        contract = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ContractChanged, request, partial=True)
        return self.shown(contracts.change_contract(contract.pk, by=self.person, **given))


class Zones(ReadViewSet[Zone]):
    """Parts of a site that are inspected as one, in walking order."""

    visible = staticmethod(access.zones_visible_to)
    serializer_class = shapes.ZoneOut
    order = ("site", "walk_order", "pk")
    filterset_fields = {"site": ["exact"], "kind": ["exact"], "retired_on": ["isnull"]}

    def get_queryset(self) -> Any:
        return super().get_queryset().prefetch_related("checkpoints")

    @extend_schema(request=shapes.ZoneIn, responses={201: shapes.ZoneOut})
    def create(self, request: Request) -> Response:
        """Add a zone with the starting checkpoints of its kind."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ZoneIn, request)
        made = zones.add_zone(given.pop("site").pk, by=self.person, **given)
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.ZoneChanged, responses=shapes.ZoneOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Change a zone."""
        zone = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ZoneChanged, request, partial=True)
        zones.change_zone(zone.pk, by=self.person, **given)
        return self.shown(self.again(zone.pk))

    @extend_schema(request=shapes.CheckpointIn, responses={201: shapes.ZoneOut})
    @action(detail=True, methods=["post"])
    def checkpoints(self, request: Request, pk: str) -> Response:
        """Add a checkpoint to a zone."""
        zone = self.get_object()
        access.require_may_keep_sites(request.user)
        zones.add_checkpoint(zone.pk, by=self.person, **self.given(shapes.CheckpointIn, request))
        return self.shown(self.again(zone.pk), status=201)

    @extend_schema(request=Reason, responses=shapes.ZoneOut)
    @action(detail=True, methods=["post"])
    def retire(self, request: Request, pk: str) -> Response:
        """Take a zone off the walk; what was recorded there stays."""
        zone = self.get_object()
        access.require_may_keep_sites(request.user)
        zones.retire_zone(zone.pk, by=self.person, **self.given(Reason, request))
        return self.shown(self.again(zone.pk))


class Monitors(ReadViewSet[Monitor]):
    """Numbered devices."""

    visible = staticmethod(access.monitors_visible_to)
    serializer_class = shapes.MonitorOut
    order = ("site", "number")
    related = ("zone",)
    filterset_fields = {
        "site": ["exact"],
        "zone": ["exact"],
        "kind": ["exact"],
        "number": ["exact"],
        "removed_on": ["isnull"],
    }

    @extend_schema(request=shapes.MonitorIn, responses={201: shapes.MonitorOut})
    def create(self, request: Request) -> Response:
        """Place a monitor; without a number it gets the site's next one."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.MonitorIn, request)
        made = monitors.place_monitor(given.pop("zone").pk, by=self.person, **given)
        return self.shown(self.again(made.pk), status=201)

    @extend_schema(request=shapes.MonitorMoved, responses=shapes.MonitorOut)
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str) -> Response:
        """Move a monitor to another place or zone of its site."""
        monitor = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.MonitorMoved, request)
        monitors.move_monitor(
            monitor.pk, by=self.person, zone_id=given["zone"].pk, place=given["place"]
        )
        return self.shown(self.again(monitor.pk))

    @extend_schema(request=shapes.MonitorRemoved, responses=shapes.MonitorOut)
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, pk: str) -> Response:
        """Take a monitor away; its number is never used again."""
        monitor = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.MonitorRemoved, request)
        monitors.remove_monitor(monitor.pk, by=self.person, **given)
        return self.shown(self.again(monitor.pk))


class Plans(ReadViewSet[SitePlan]):
    """Drawings of sites."""

    visible = staticmethod(access.plans_visible_to)
    serializer_class = shapes.PlanOut
    filterset_fields = {"site": ["exact"], "retired_on": ["isnull"]}

    @extend_schema(responses=BINARY)
    @action(detail=True, methods=["get"])
    def image(self, request: Request, pk: str) -> HttpResponseBase:
        """The drawing itself."""
        plan = self.get_object()
        return private_file(plan.image, name=f"{plan.title}.png", mime=plan.mime, inline=True)


class Documents(ReadViewSet[Document]):
    """Papers with their expiry."""

    visible = staticmethod(access.documents_visible_to)
    serializer_class = shapes.DocumentOut
    order = ("title", "pk")
    filterset_fields = {
        "site": ["exact"],
        "client": ["exact"],
        "kind": ["exact"],
        "expires_on": ["lte", "gte", "isnull"],
    }
    parser_classes = [MultiPartParser, JSONParser]

    @extend_schema(
        request={"multipart/form-data": shapes.DocumentIn}, responses={201: shapes.DocumentOut}
    )
    def create(self, request: Request) -> Response:
        """Put a paper on file for a site, for a client or, naming neither, for the company."""
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.DocumentIn, request)
        home = given.pop("site", None) or given.pop("client", None)
        given.pop("client", None)
        data = given.pop("file").read()
        return self.shown(
            documents.add_document(home, by=self.person, data=data, **given), status=201
        )

    @extend_schema(
        request={"multipart/form-data": shapes.DocumentNewer}, responses={201: shapes.DocumentOut}
    )
    @action(detail=True, methods=["post"])
    def replace(self, request: Request, pk: str) -> Response:
        """Put a newer issue of a paper on file; the earlier one stays behind it."""
        document = self.get_object()
        access.require_may_keep_sites(request.user)
        given = {"title": document.title, **self.given(shapes.DocumentNewer, request)}
        data = given.pop("file").read()
        newer = documents.replace_document(document.pk, by=self.person, data=data, **given)
        return self.shown(newer, status=201)

    @extend_schema(request=Reason, responses=shapes.DocumentOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Take a paper off file for all but the office."""
        document = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(Reason, request)
        return self.shown(documents.withdraw_document(document.pk, by=self.person, **given))

    @extend_schema(responses=BINARY)
    @action(detail=True, methods=["get"])
    def file(self, request: Request, pk: str) -> HttpResponseBase:
        """The document itself."""
        document = self.get_object()
        return private_file(document.file, name=document.title, mime=document.mime)


class Photos(ReadViewSet[Photo]):
    """Photos, re-encoded; the same photo sent twice is one."""

    visible = staticmethod(access.photos_visible_to)
    serializer_class = shapes.PhotoOut
    filterset_fields = ["site", "given_sha256"]
    parser_classes = [MultiPartParser]

    @extend_schema(
        request={"multipart/form-data": shapes.PhotoIn}, responses={201: shapes.PhotoOut}
    )
    def create(self, request: Request) -> Response:
        """Add a photo to a site."""
        access.require_may_add_photos(request.user)
        given = self.given(shapes.PhotoIn, request)
        made = photos.add_photo(
            given["site"].pk,
            by=self.person,
            data=given["file"].read(),
            taken_at=given.get("taken_at"),
        )
        return self.shown(made, status=201)

    @extend_schema(responses=BINARY)
    @action(detail=True, methods=["get"])
    def image(self, request: Request, pk: str) -> HttpResponseBase:
        """The picture itself."""
        photo = self.get_object()
        return private_file(photo.image, name=f"{photo.pk}.jpg", mime=photo.mime, inline=True)


class Imports(ReadViewSet[ImportJob]):
    """Spreadsheets: sent in, checked by a job, accepted, imported by a job."""

    visible = staticmethod(access.imports_visible_to)
    serializer_class = shapes.ImportOut
    order = ("-pk",)
    filterset_fields = ["state"]
    parser_classes = [MultiPartParser]

    def get_serializer_class(self) -> Any:
        return shapes.ImportListed if self.action == "list" else shapes.ImportOut

    @extend_schema(
        request={"multipart/form-data": shapes.FileIn}, responses={201: shapes.ImportOut}
    )
    def create(self, request: Request) -> Response:
        """Send in a spreadsheet."""
        access.require_may_keep_sites(request.user)
        file = self.given(shapes.FileIn, request)["file"]
        return self.shown(
            imports.receive_import(file.read(), file.name, by=self.person), status=201
        )

    @extend_schema(
        request={"multipart/form-data": shapes.ImportAccepted}, responses=shapes.ImportOut
    )
    @action(detail=True, methods=["post"])
    def accept(self, request: Request, pk: str) -> Response:
        """Order a checked spreadsheet to be imported."""
        job = self.get_object()
        access.require_may_keep_sites(request.user)
        given = self.given(shapes.ImportAccepted, request)
        return self.shown(imports.accept_import(job.pk, by=self.person, **given))

    @extend_schema(request=None, responses=shapes.ImportOut)
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: str) -> Response:
        """Leave a spreadsheet that has not been imported."""
        return self.shown(imports.drop_import(self.get_object().pk, by=self.person))


class Passes(ReadViewSet[AuditorPass]):
    """Auditors' passes."""

    visible = staticmethod(access.passes_visible_to)
    serializer_class = shapes.PassOut
    order = ("-valid_until", "-pk")
    filterset_fields = ["auditor", "client"]

    @extend_schema(request=shapes.PassIn, responses={201: shapes.PassOut})
    def create(self, request: Request) -> Response:
        """Issue a pass for named sites of one client."""
        require_office(request.user)
        given = self.given(shapes.PassIn, request)
        return self.shown(
            grants.issue_pass(given.pop("auditor").pk, by=self.person, **given), status=201
        )

    @extend_schema(request=Reason, responses=shapes.PassOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End a pass now."""
        found = self.get_object()
        require_office(request.user)
        given = self.given(Reason, request)
        return self.shown(grants.revoke_pass(found.pk, by=self.person, **given))
