"""Shapes of clients, sites and what is in them. ``…Out`` is what is told, ``…In`` what is taken."""

from typing import Any

from rest_framework import serializers

from accounts.access import people_visible_to
from accounts.api.base import AgreedMoney, OfficeOnly, Plain, SeenRelated
from accounts.models import AuditorPass, Branch, Client, Role, User
from sites import access
from sites.holiday_regions import is_known_region
from sites.importing.cells import CellProblem, time_zone
from sites.models import (
    AccessWindow,
    Boundary,
    Checkpoint,
    Contact,
    Contract,
    Document,
    Height,
    ImportJob,
    Monitor,
    Photo,
    Site,
    SitePlan,
    Zone,
)
from sites.models.contract import MOST_RULE_DAYS


def _known_zone(value: str) -> None:
    try:
        time_zone(value)
    except CellProblem as problem:
        raise serializers.ValidationError(str(problem)) from None


def _known_region(value: str) -> None:
    if value and not is_known_region(value):
        raise serializers.ValidationError(f"No public holidays are known for “{value}”.")


class ClientOut(serializers.ModelSerializer[Client]):
    internal_note = OfficeOnly()
    billing_email = OfficeOnly()

    class Meta:
        model = Client
        fields = [
            "id",
            "reference",
            "name",
            "address",
            "billing_email",
            "internal_note",
            "closed_on",
        ]
        read_only_fields = fields


class ClientIn(Plain):
    reference = serializers.CharField(max_length=40)
    name = serializers.CharField(max_length=120)
    address = serializers.CharField(required=False, allow_blank=True)
    billing_email = serializers.EmailField(required=False, allow_blank=True)
    internal_note = serializers.CharField(required=False, allow_blank=True)


class AccessWindowShape(serializers.ModelSerializer[AccessWindow]):
    class Meta:
        model = AccessWindow
        fields = ["weekday", "opens", "closes"]


class AccessWindowIn(Plain):
    weekday = serializers.ChoiceField(choices=AccessWindow.Weekday.choices)
    opens = serializers.TimeField()
    closes = serializers.TimeField()


class AccessWindowsIn(Plain):
    windows = AccessWindowIn(many=True)


class ContactOut(serializers.ModelSerializer[Contact]):
    class Meta:
        model = Contact
        fields = ["id", "site", "name", "job_title", "email", "phone", "is_premises_manager"]
        read_only_fields = fields


class ContactIn(Plain):
    site = SeenRelated(access.sites_visible_to)
    name = serializers.CharField(max_length=120)
    job_title = serializers.CharField(max_length=80, required=False, allow_blank=True)
    email = serializers.EmailField(required=False, allow_blank=True)
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    is_premises_manager = serializers.BooleanField(required=False)


class SiteOut(serializers.ModelSerializer[Site]):
    client_name = serializers.CharField(source="client.name", read_only=True)
    internal_note = OfficeOnly()
    access_windows = AccessWindowShape(many=True, read_only=True)

    class Meta:
        model = Site
        fields = [
            "id",
            "client",
            "client_name",
            "branch",
            "reference",
            "name",
            "address",
            "postcode",
            "time_zone",
            "latitude",
            "longitude",
            "holiday_region",
            "holiday_rule",
            "access_note",
            "hazards",
            "internal_note",
            "access_windows",
            "closed_on",
        ]
        read_only_fields = fields


class SiteChanged(Plain):
    reference = serializers.CharField(max_length=40)
    name = serializers.CharField(max_length=120)
    address = serializers.CharField()
    branch = serializers.PrimaryKeyRelatedField(
        queryset=Branch.objects.all(), required=False, allow_null=True
    )
    postcode = serializers.CharField(max_length=16, required=False, allow_blank=True)
    time_zone = serializers.CharField(max_length=64, required=False, validators=[_known_zone])
    latitude = serializers.DecimalField(
        max_digits=8, decimal_places=5, required=False, allow_null=True
    )
    longitude = serializers.DecimalField(
        max_digits=8, decimal_places=5, required=False, allow_null=True
    )
    holiday_region = serializers.CharField(
        max_length=12, required=False, allow_blank=True, validators=[_known_region]
    )
    holiday_rule = serializers.ChoiceField(choices=Site.HolidayRule.choices, required=False)
    access_note = serializers.CharField(required=False, allow_blank=True)
    hazards = serializers.CharField(required=False, allow_blank=True)
    internal_note = serializers.CharField(required=False, allow_blank=True)


class SiteIn(SiteChanged):
    client = SeenRelated(access.clients_visible_to)


class SiteClosed(Plain):
    on = serializers.DateField()
    reason = serializers.CharField(max_length=300)


class ContractOut(serializers.ModelSerializer[Contract]):
    call_out_price = AgreedMoney()
    escalate_to = OfficeOnly(source="escalate_to_id")
    internal_note = OfficeOnly()

    class Meta:
        model = Contract
        fields = [
            "id",
            "site",
            "number",
            "starts_on",
            "ends_on",
            "scope",
            "response_hours",
            "call_out_price",
            "remind_days",
            "remind_every_days",
            "escalate_days",
            "escalate_to",
            "internal_note",
        ]
        read_only_fields = fields


class RuleDays(serializers.IntegerField):
    """Days after somebody was asked to decide; null for never."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1, max_value=MOST_RULE_DAYS, **kwargs)


class ContractChanged(Plain):
    number = serializers.CharField(max_length=40)
    starts_on = serializers.DateField()
    ends_on = serializers.DateField(required=False, allow_null=True)
    scope = serializers.CharField(required=False, allow_blank=True)
    response_hours = serializers.IntegerField(min_value=1, max_value=999, required=False)
    call_out_price = serializers.DecimalField(
        max_digits=9, decimal_places=2, min_value=0, required=False
    )
    remind_days = RuleDays(required=False, allow_null=True)
    remind_every_days = RuleDays(required=False, allow_null=True)
    escalate_days = RuleDays(required=False, allow_null=True)
    escalate_to = SeenRelated(people_visible_to, required=False, allow_null=True)
    internal_note = serializers.CharField(required=False, allow_blank=True)


class ContractIn(ContractChanged):
    site = SeenRelated(access.sites_visible_to)


class CheckpointOut(serializers.ModelSerializer[Checkpoint]):
    class Meta:
        model = Checkpoint
        fields = ["id", "height", "label", "walk_order", "retired_on"]
        read_only_fields = fields


class ZoneOut(serializers.ModelSerializer[Zone]):
    checkpoints = CheckpointOut(many=True, read_only=True)

    class Meta:
        model = Zone
        fields = [
            "id",
            "site",
            "name",
            "kind",
            "walk_order",
            "boundary",
            "boundary_note",
            "plan",
            "outline",
            "checkpoints",
            "retired_on",
        ]
        read_only_fields = fields


class ZoneChanged(Plain):
    name = serializers.CharField(max_length=80)
    kind = serializers.ChoiceField(choices=Zone.Kind.choices)
    boundary = serializers.ChoiceField(choices=Boundary.choices, required=False)
    boundary_note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class ZoneIn(ZoneChanged):
    site = SeenRelated(access.sites_visible_to)


class CheckpointIn(Plain):
    height = serializers.ChoiceField(choices=Height.choices)
    label = serializers.CharField(max_length=120)  # type: ignore[assignment]


class MonitorOut(serializers.ModelSerializer[Monitor]):
    zone_name = serializers.CharField(source="zone.name", read_only=True)

    class Meta:
        model = Monitor
        fields = [
            "id",
            "site",
            "zone",
            "zone_name",
            "number",
            "kind",
            "place",
            "plan",
            "x",
            "y",
            "placed_on",
            "removed_on",
        ]
        read_only_fields = fields


class MonitorIn(Plain):
    zone = SeenRelated(access.zones_visible_to)
    kind = serializers.ChoiceField(choices=Monitor.Kind.choices)
    placed_on = serializers.DateField()
    number = serializers.IntegerField(min_value=1, max_value=2_000_000_000, required=False)
    place = serializers.CharField(max_length=160, required=False, allow_blank=True)


class MonitorMoved(Plain):
    zone = SeenRelated(access.zones_visible_to)
    place = serializers.CharField(max_length=160, allow_blank=True)


class MonitorRemoved(Plain):
    on = serializers.DateField()
    reason = serializers.CharField(max_length=300)


class PlanOut(serializers.ModelSerializer[SitePlan]):
    class Meta:
        model = SitePlan
        fields = ["id", "site", "title", "width", "height", "sha256", "retired_on"]
        read_only_fields = fields


class DocumentOut(serializers.ModelSerializer[Document]):
    class Meta:
        model = Document
        fields = [
            "id",
            "site",
            "client",
            "kind",
            "title",
            "mime",
            "size",
            "sha256",
            "issued_on",
            "expires_on",
            "withdrawn_at",
        ]
        read_only_fields = fields


class DocumentNewer(Plain):
    file = serializers.FileField()
    title = serializers.CharField(max_length=160, required=False)
    issued_on = serializers.DateField(required=False, allow_null=True)
    expires_on = serializers.DateField(required=False, allow_null=True)


class DocumentIn(DocumentNewer):
    kind = serializers.ChoiceField(choices=Document.Kind.choices)
    title = serializers.CharField(max_length=160)
    site = SeenRelated(access.sites_visible_to, required=False, allow_null=True)
    client = SeenRelated(access.clients_visible_to, required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("site") and attrs.get("client"):
            raise serializers.ValidationError(
                {"client": "A paper belongs to a site or to a client, not to both."}
            )
        return attrs


class PhotoOut(serializers.ModelSerializer[Photo]):
    class Meta:
        model = Photo
        fields = ["id", "site", "mime", "sha256", "width", "height", "size", "taken_at"]
        read_only_fields = fields


class PhotoIn(Plain):
    site = SeenRelated(access.sites_visible_to)
    file = serializers.FileField()
    taken_at = serializers.DateTimeField(required=False, allow_null=True)


class FileIn(Plain):
    file = serializers.FileField()


class ImportOut(serializers.ModelSerializer[ImportJob]):
    class Meta:
        model = ImportJob
        fields = [
            "id",
            "file_name",
            "sha256",
            "state",
            "problem",
            "good_rows_only",
            "outcome",
            "applied_at",
        ]
        read_only_fields = fields


class ImportListed(serializers.ModelSerializer[ImportJob]):
    class Meta:
        model = ImportJob
        fields = ["id", "file_name", "sha256", "state", "problem", "applied_at"]
        read_only_fields = fields


class ImportAccepted(Plain):
    good_rows_only = serializers.BooleanField(default=False)


class PassOut(serializers.ModelSerializer[AuditorPass]):
    class Meta:
        model = AuditorPass
        fields = [
            "id",
            "auditor",
            "client",
            "period_from",
            "period_to",
            "valid_from",
            "valid_until",
            "revoked_at",
            "purpose",
        ]
        read_only_fields = fields


class PassIn(Plain):
    auditor = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(role=Role.AUDITOR, is_active=True)
    )
    sites = SeenRelated(access.sites_visible_to, many=True)
    period_from = serializers.DateField()
    period_to = serializers.DateField()
    valid_from = serializers.DateTimeField()
    valid_until = serializers.DateTimeField()
    purpose = serializers.CharField(max_length=200, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["period_to"] < attrs["period_from"]:
            raise serializers.ValidationError(
                {"period_to": "The period's last day is before its first."}
            )
        if attrs["valid_until"] <= attrs["valid_from"]:
            raise serializers.ValidationError({"valid_until": "The pass must end after it starts."})
        return attrs
