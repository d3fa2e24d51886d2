"""Shapes of actions, flags, evidence and site files. ``…Out`` is told, ``…In`` is taken."""

from rest_framework import serializers

from accounts.api.base import AgreedMoney, OfficeOnly, Plain, SeenRelated
from compliance.evidence import Standing
from compliance.models import (
    ActionOption,
    ActionThreshold,
    Alarm,
    Breach,
    CorrectiveAction,
    Decision,
    Flag,
    PlaceMonth,
    SealedGap,
    SignOff,
    SiteFile,
    TrendReview,
)
from sites.access import photos_visible_to, sites_visible_to, zones_visible_to
from sites.models import Zone
from visits.models import RemedyKind, WhoseMove


class OptionOut(serializers.ModelSerializer[ActionOption]):
    cost_once = AgreedMoney()
    cost_once_low = AgreedMoney()
    cost_once_high = AgreedMoney()
    cost_monthly = AgreedMoney()
    cost_monthly_low = AgreedMoney()
    cost_monthly_high = AgreedMoney()

    class Meta:
        model = ActionOption
        fields = [
            "id",
            "position",
            "kind",
            "description",
            "cost_once",
            "cost_once_low",
            "cost_once_high",
            "cost_monthly",
            "cost_monthly_low",
            "cost_monthly_high",
            "life_years",
            "life_years_low",
            "life_years_high",
            "effect_percent",
            "effect_basis",
            "effect_words",
            "remaining_risk",
        ]
        read_only_fields = fields


class GapOut(serializers.ModelSerializer[SealedGap]):
    class Meta:
        model = SealedGap
        fields = ["attempt", "position", "place", "material", "before_mm", "after_mm", "risk"]
        read_only_fields = fields


class ActionOut(serializers.ModelSerializer[CorrectiveAction]):
    site_name = serializers.CharField(source="site.name", read_only=True)
    options = OptionOut(source="live_options", many=True, read_only=True)
    internal_note = OfficeOnly()
    gaps = GapOut(many=True, read_only=True)

    class Meta:
        model = CorrectiveAction
        fields = [
            "id",
            "site",
            "site_name",
            "number",
            "zone",
            "visit",
            "kind",
            "title",
            "detail",
            "whose_move",
            "state",
            "declined",
            "due_on",
            "revision",
            "options",
            "raised_at",
            "priced_at",
            "decided_at",
            "done_at",
            "done_note",
            "gaps",
            "attempt",
            "accepted_at",
            "reopened_at",
            "reopened_reason",
            "checked_at",
            "check_note",
            "withdrawn_at",
            "withdrawn_reason",
            "internal_note",
        ]
        read_only_fields = fields


class ActionChanged(Plain):
    kind = serializers.ChoiceField(choices=RemedyKind.choices)
    title = serializers.CharField(max_length=160)
    whose_move = serializers.ChoiceField(choices=WhoseMove.choices)
    detail = serializers.CharField(required=False, allow_blank=True, max_length=4000)
    due_on = serializers.DateField(required=False)
    zone = SeenRelated(zones_visible_to, required=False, allow_null=True)
    internal_note = serializers.CharField(required=False, allow_blank=True, max_length=4000)


class ActionIn(ActionChanged):
    site = SeenRelated(sites_visible_to)
    photos = SeenRelated(photos_visible_to, many=True, required=False)


def _money_or_none() -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=10, decimal_places=2, min_value=0, required=False, allow_null=True
    )


def _years_or_none() -> serializers.IntegerField:
    return serializers.IntegerField(min_value=1, max_value=50, required=False, allow_null=True)


class OptionIn(Plain):
    kind = serializers.ChoiceField(choices=ActionOption.Kind.choices)
    description = serializers.CharField(max_length=4000)
    cost_once = serializers.DecimalField(max_digits=10, decimal_places=2, min_value=0)
    cost_monthly = serializers.DecimalField(max_digits=10, decimal_places=2, min_value=0)
    cost_once_low = _money_or_none()
    cost_once_high = _money_or_none()
    cost_monthly_low = _money_or_none()
    cost_monthly_high = _money_or_none()
    life_years = _years_or_none()
    life_years_low = _years_or_none()
    life_years_high = _years_or_none()
    remaining_risk = serializers.CharField(max_length=4000)
    effect_percent = serializers.IntegerField(
        min_value=0, max_value=100, required=False, allow_null=True
    )
    effect_basis = serializers.ChoiceField(
        choices=ActionOption.Basis.choices, required=False, allow_blank=True
    )
    effect_words = serializers.CharField(required=False, allow_blank=True, max_length=4000)


class Priced(Plain):
    options = serializers.ListField(child=OptionIn(), min_length=2, max_length=4)
    seen_revision = serializers.IntegerField(
        min_value=1, required=False, help_text="What the caller saw, so that nothing is overrun."
    )


class SheetAsked(Plain):
    years = serializers.IntegerField(min_value=1, max_value=10, required=False)


class SheetOut(Plain):
    """What is put to the client: the exact text that a signature is bound to, and its SHA-256."""

    revision = serializers.IntegerField()
    years = serializers.IntegerField()
    text = serializers.CharField()
    hash = serializers.CharField()


class DecisionIn(Plain):
    revision = serializers.IntegerField(min_value=1, help_text="That of the sheet that was read.")
    shown_hash = serializers.CharField(
        max_length=64, help_text="The SHA-256 of the sheet that was read."
    )
    years = serializers.IntegerField(
        min_value=1, max_value=10, required=False, help_text="Those of the sheet."
    )
    outcome = serializers.ChoiceField(choices=Decision.Outcome.choices)
    option = serializers.UUIDField(required=False, allow_null=True)
    reason = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    password = serializers.CharField(
        max_length=128, trim_whitespace=False, help_text="Of the person who signs, typed again."
    )


class SignOffOut(serializers.ModelSerializer[SignOff]):
    class Meta:
        model = SignOff
        fields = [
            "id",
            "person_name",
            "person_role",
            "meaning",
            "at",
            "zone",
            "method",
            "content_hash",
        ]
        read_only_fields = fields


class DecisionOut(serializers.ModelSerializer[Decision]):
    sign_off = SignOffOut(read_only=True)

    class Meta:
        model = Decision
        fields = ["id", "action", "revision", "outcome", "option", "reason", "sign_off"]
        read_only_fields = fields


class GapIn(Plain):
    place = serializers.CharField(max_length=160)
    material = serializers.CharField(max_length=160, help_text="What closes it.")
    before_mm = serializers.DecimalField(max_digits=5, decimal_places=1, min_value=0)
    after_mm = serializers.DecimalField(max_digits=5, decimal_places=1, min_value=0)
    risk = serializers.ChoiceField(
        choices=SealedGap.Risk.choices, help_text="Whom it is to keep out."
    )


class DoneIn(Plain):
    note = serializers.CharField(max_length=4000)
    photos = SeenRelated(photos_visible_to, many=True, required=False)
    gaps = GapIn(many=True, required=False)


class CheckIn(Plain):
    note = serializers.CharField(required=False, allow_blank=True, max_length=4000)
    password = serializers.CharField(
        max_length=128, trim_whitespace=False, help_text="Of the person who signs, typed again."
    )


class FlagOut(serializers.ModelSerializer[Flag]):
    class Meta:
        model = Flag
        fields = [
            "id",
            "kind",
            "subject",
            "site",
            "state",
            "sentence",
            "link",
            "late_since",
            "acknowledged_at",
            "acknowledged_by",
            "note",
            "cleared_at",
        ]
        read_only_fields = fields


class PlaceMonthOut(serializers.ModelSerializer[PlaceMonth]):
    pest = serializers.SlugField(source="pest.slug", read_only=True)
    trap_days = serializers.FloatField(read_only=True)
    per_100 = serializers.FloatField(read_only=True, allow_null=True)

    class Meta:
        model = PlaceMonth
        fields = [
            "site",
            "zone",
            "pest",
            "month",
            "count",
            "trap_days",
            "per_100",
            "at_least",
            "readings",
            "state",
            "centre",
            "alarm_at",
            "allows",
            "chance",
            "words",
        ]
        read_only_fields = fields


class PointerOut(Plain):
    """A monitor to look at first: what it caught, and what was to be expected of it alone."""

    monitor = serializers.UUIDField()
    count = serializers.IntegerField()
    expected = serializers.FloatField(allow_null=True)


class AlarmOut(serializers.ModelSerializer[Alarm]):
    pest = serializers.SlugField(source="pest.slug", read_only=True)
    pointers = PointerOut(many=True, read_only=True)

    class Meta:
        model = Alarm
        fields = [
            "id",
            "site",
            "zone",
            "pest",
            "month",
            "state",
            "words",
            "chance",
            "pointers",
            "raised_at",
            "gone_at",
            "review",
            "explanation",
            "set_aside",
        ]
        read_only_fields = fields


class TrendReviewOut(serializers.ModelSerializer[TrendReview]):
    class Meta:
        model = TrendReview
        fields = [
            "id",
            "site",
            "quarter",
            "number",
            "seen",
            "cause",
            "plan",
            "signed_name",
            "signed_role",
            "competence",
            "signed_at",
            "content",
            "content_hash",
        ]
        read_only_fields = fields


class ThresholdOut(serializers.ModelSerializer[ActionThreshold]):
    pest = serializers.SlugField(source="pest.slug", read_only=True, allow_null=True)
    zone_kinds = serializers.ListField(
        child=serializers.ChoiceField(choices=Zone.Kind.choices), read_only=True
    )

    class Meta:
        model = ActionThreshold
        fields = [
            "id",
            "name",
            "per",
            "least",
            "then",
            "pest",
            "group",
            "site",
            "zone",
            "zone_kinds",
            "begins_on",
            "ended_on",
        ]
        read_only_fields = fields


class BreachOut(serializers.ModelSerializer[Breach]):
    pest = serializers.SlugField(source="pest.slug", read_only=True)
    trap_days = serializers.FloatField(read_only=True)

    class Meta:
        model = Breach
        fields = [
            "id",
            "threshold",
            "site",
            "zone",
            "monitor",
            "pest",
            "on",
            "count",
            "trap_days",
            "at_least",
            "words",
            "state",
            "raised_at",
            "action",
            "follow_up",
            "answered_at",
            "answer",
        ]
        read_only_fields = fields


class FlagAcknowledged(Plain):
    note = serializers.CharField(max_length=300)


class EvidenceLine(Plain):
    key = serializers.CharField(source="item.key")
    title = serializers.CharField(source="item.title")
    asks = serializers.CharField(source="item.asks")
    standing = serializers.ChoiceField(choices=[(one.value, one.words) for one in Standing])
    why = serializers.CharField()
    sources = serializers.ListField(child=serializers.CharField(), source="item.sources")


class EvidenceOut(Plain):
    """Our own list: an auditor must not take it for the published texts themselves."""

    site = serializers.UUIDField(source="site.pk")
    period_from = serializers.DateField(source="period.first")
    period_to = serializers.DateField(source="period.last")
    lines = EvidenceLine(many=True)


class SiteFileOut(serializers.ModelSerializer[SiteFile]):
    class Meta:
        model = SiteFile
        fields = [
            "id",
            "site",
            "period_from",
            "period_to",
            "paper_size",
            "audience",
            "state",
            "step",
            "steps_done",
            "steps_all",
            "problem",
            "sha256",
            "pages",
            "size",
            "built_at",
        ]
        read_only_fields = fields


class SiteFileIn(Plain):
    site = SeenRelated(sites_visible_to)
    period_from = serializers.DateField()
    period_to = serializers.DateField()
    paper_size = serializers.ChoiceField(
        choices=SiteFile.PaperSize.choices, default=SiteFile.PaperSize.A4
    )
