"""Shapes of service lines, visits and what they record. ``…Out`` is told, ``…In`` is taken."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from accounts.access import technicians_bookable_by
from accounts.api.base import AgreedMoney, OfficeOnly, Plain, SeenRelated
from accounts.models import CompetenceKind
from sites.access import contracts_visible_to, sites_visible_to
from sites.models import ServiceLine, VisitKind
from visits.access import visits_visible_to
from visits.dosing.label import BASIS_WORDS
from visits.models import (
    Amendment,
    Finding,
    LabelRate,
    MeasureUnit,
    NotReached,
    ParkedOperation,
    Pest,
    PlaceKind,
    Product,
    ProductLabel,
    Reading,
    ReadingCount,
    Treatment,
    Visit,
)
from visits.protocol import MOST_OPERATIONS
from visits.recurrence.words import describe
from visits.services.labels import RATE_STATED, STATED


class LineOut(serializers.ModelSerializer[ServiceLine]):
    site = serializers.UUIDField(source="contract.site_id", read_only=True)
    price = AgreedMoney()
    rule_in_words = serializers.SerializerMethodField()

    class Meta:
        model = ServiceLine
        fields = [
            "id",
            "contract",
            "site",
            "kind",
            "title",
            "rule",
            "rule_in_words",
            "first_on",
            "last_on",
            "days_before",
            "days_after",
            "minutes",
            "competences",
            "preferred_technician",
            "price",
            "follows",
        ]
        read_only_fields = fields

    def get_rule_in_words(self, line: ServiceLine) -> str:
        return describe(line.rule, line.first_on)


class LineChanged(Plain):
    kind = serializers.ChoiceField(choices=VisitKind.choices, required=False)
    title = serializers.CharField(max_length=120)
    days_before = serializers.IntegerField(min_value=0, max_value=60, required=False)
    days_after = serializers.IntegerField(min_value=0, max_value=60, required=False)
    minutes = serializers.IntegerField(min_value=5, max_value=1440, required=False)
    preferred_technician = SeenRelated(technicians_bookable_by, required=False, allow_null=True)
    price = serializers.DecimalField(max_digits=9, decimal_places=2, min_value=0, required=False)
    competences = serializers.PrimaryKeyRelatedField(
        queryset=CompetenceKind.objects.all(), many=True, required=False
    )


class LineIn(LineChanged):
    contract = SeenRelated(contracts_visible_to)
    rule = serializers.CharField(max_length=200, help_text="RFC 5545, as FREQ=MONTHLY;BYDAY=1TU.")
    first_on = serializers.DateField()
    last_on = serializers.DateField(required=False, allow_null=True)


class RuleFrom(Plain):
    from_on = serializers.DateField(help_text="The day of the first visit under the new rule.")
    rule = serializers.CharField(max_length=200)


class LineEnded(Plain):
    last_on = serializers.DateField()
    reason = serializers.CharField(max_length=300)


class VisitOut(serializers.ModelSerializer[Visit]):
    site_name = serializers.CharField(source="site.name", read_only=True)
    technician_name = serializers.CharField(
        source="technician.name", read_only=True, allow_null=True, default=None
    )
    office_note = OfficeOnly()

    class Meta:
        model = Visit
        fields = [
            "id",
            "site",
            "site_name",
            "line",
            "kind",
            "state",
            "state_reason",
            "follows",
            "occurrence_on",
            "due_on",
            "opens_on",
            "closes_on",
            "reported_at",
            "respond_by",
            "reported_problem",
            "technician",
            "technician_name",
            "booked_on",
            "booked_at_time",
            "minutes",
            "office_note",
            "started_at",
            "closed_at",
            "minutes_on_site",
            "minutes_reason",
            "summary",
            "contact_name",
            "contact_job_title",
            "no_signature_reason",
            "coverage",
            "seal_number",
            "seal",
            "previous_seal",
            "version",
        ]
        read_only_fields = fields


class Seen(Plain):
    """What the caller saw, so that nobody's change is written over."""

    version = serializers.IntegerField(min_value=1, required=False)


class VisitBooked(Seen):
    technician = SeenRelated(technicians_bookable_by)
    day = serializers.DateField()
    time = serializers.TimeField(required=False, allow_null=True, help_text="Local to the site.")
    despite_access = serializers.BooleanField(default=False)


class VisitMoved(Seen):
    due_on = serializers.DateField()
    opens_on = serializers.DateField()
    closes_on = serializers.DateField()


class VisitReason(Seen):
    reason = serializers.CharField(max_length=300)


class VisitIn(Plain):
    site = SeenRelated(sites_visible_to)
    kind = serializers.ChoiceField(
        choices=[choice for choice in VisitKind.choices if choice[0] != VisitKind.CALL_OUT]
    )
    due_on = serializers.DateField()
    opens_on = serializers.DateField()
    closes_on = serializers.DateField()
    minutes = serializers.IntegerField(min_value=5, max_value=1440, default=45)
    office_note = serializers.CharField(required=False, allow_blank=True)


class CallOutIn(Plain):
    site = SeenRelated(sites_visible_to)
    problem = serializers.CharField(max_length=2000)
    reported_by = serializers.CharField(
        max_length=120, required=False, help_text="Who reported it; for the office only."
    )


class AmendmentOut(serializers.ModelSerializer[Amendment]):
    author_name = serializers.CharField(source="author.name", read_only=True)

    class Meta:
        model = Amendment
        fields = [
            "id",
            "visit",
            "number",
            "author",
            "author_name",
            "at",
            "about",
            "correction",
            "reason",
            "previous_seal",
            "seal",
        ]
        read_only_fields = fields


class AmendmentIn(Plain):
    about = serializers.CharField(max_length=160)
    correction = serializers.CharField(max_length=4000)
    reason = serializers.CharField(max_length=2000)


class SealedRecord(Plain):
    """The exact text whose chained SHA-256 is the seal, with what is needed to repeat it."""

    sealed_record = serializers.CharField()
    previous_seal = serializers.CharField()
    seal = serializers.CharField()


class CountOut(serializers.ModelSerializer[ReadingCount]):
    pest = serializers.CharField(source="pest.slug", read_only=True)

    class Meta:
        model = ReadingCount
        fields = ["pest", "count"]
        read_only_fields = fields


class ReadingOut(serializers.ModelSerializer[Reading]):
    counts = CountOut(many=True, read_only=True)
    site = serializers.UUIDField(source="monitor.site_id", read_only=True)
    monitor_number = serializers.IntegerField(source="monitor.number", read_only=True)

    class Meta:
        model = Reading
        fields = [
            "id",
            "site",
            "visit",
            "monitor",
            "monitor_number",
            "source",
            "read_on",
            "stood_days",
            "condition",
            "bait_taken",
            "renewed",
            "note",
            "counts",
        ]
        read_only_fields = fields


class FindingOut(serializers.ModelSerializer[Finding]):
    pest = serializers.CharField(source="pest.slug", read_only=True, allow_null=True, default=None)

    class Meta:
        model = Finding
        fields = [
            "id",
            "visit",
            "zone",
            "checkpoint",
            "height",
            "kind",
            "pest",
            "count",
            "urgency",
            "note",
            "place",
            "remedy_kind",
            "remedy",
            "whose_move",
            "at",
        ]
        read_only_fields = fields


class NotReachedOut(serializers.ModelSerializer[NotReached]):
    class Meta:
        model = NotReached
        fields = [
            "id",
            "visit",
            "zone",
            "checkpoint",
            "monitor",
            "reason",
            "note",
            "whose_move",
            "at",
        ]
        read_only_fields = fields


class TreatmentOut(serializers.ModelSerializer[Treatment]):
    """``amount`` is of the product itself, ``product_amount`` the same in the product's own unit.

    ``re_entry_at`` is from when people may come back by the label's minutes; ``rule_set`` to
    ``keep_until`` are what was made of the record when its visit closed.
    """

    target = serializers.CharField(source="target.slug", read_only=True)
    re_entry_at = serializers.DateTimeField(read_only=True, allow_null=True)

    class Meta:
        model = Treatment
        fields = [
            "id",
            "visit",
            "zone",
            "checkpoint",
            "monitor",
            "position",
            "product",
            "label",
            "rate",
            "product_name",
            "registration_number",
            "actives",
            "batch_number",
            "target",
            "method",
            "equipment",
            "place",
            "situation",
            "surface",
            "amount",
            "unit",
            "product_amount",
            "finished_amount",
            "finished_unit",
            "dilution",
            "area",
            "area_unit",
            "started_at",
            "finished_at",
            "outdoors",
            "wind_speed",
            "wind_direction",
            "weather",
            "precautions",
            "cautions_confirmed",
            "re_entry",
            "re_entry_at",
            "explanation",
            "against_label",
            "was_forbidden",
            "applicator_name",
            "applicator_licence",
            "supervised_person",
            "note",
            "received_at",
            "rule_set",
            "unsaid",
            "is_incomplete",
            "made_late",
            "keep_until",
        ]
        read_only_fields = fields


class PestOut(serializers.ModelSerializer[Pest]):
    class Meta:
        model = Pest
        fields = ["slug", "name", "group"]
        read_only_fields = fields


class Amount(serializers.DecimalField):
    """An amount above zero, as labels state it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(14, 6, min_value=Decimal("0.000001"), **kwargs)


class ActiveShape(Plain):
    """An active ingredient; the strength is text, so that no digit is lost."""

    name = serializers.CharField(max_length=80)
    strength = serializers.DecimalField(max_digits=14, decimal_places=6, min_value=0)
    basis = serializers.ChoiceField(choices=list(BASIS_WORDS.items()))

    def to_internal_value(self, data: Any) -> Any:
        given = super().to_internal_value(data)
        return {**given, "strength": f"{given['strength'].normalize():f}"}


class RateOut(serializers.ModelSerializer[LabelRate]):
    class Meta:
        model = LabelRate
        fields = ["id", "position", *RATE_STATED]
        read_only_fields = fields


class RateIn(Plain):
    """One line of rates; its place in the list is its position."""

    per = serializers.ChoiceField(choices=LabelRate.Per.choices)
    of = serializers.ChoiceField(choices=LabelRate.Of.choices, required=False)
    active = serializers.CharField(max_length=80, required=False, allow_blank=True)
    least = Amount(required=False, allow_null=True)
    most = Amount()
    unit = serializers.ChoiceField(choices=MeasureUnit.choices)
    per_amount = Amount(required=False)
    per_unit = serializers.ChoiceField(choices=MeasureUnit.choices)
    cover_amount = Amount(required=False, allow_null=True)
    cover_unit = serializers.ChoiceField(
        choices=MeasureUnit.choices, required=False, allow_blank=True
    )
    cover_per_amount = Amount(required=False, allow_null=True)
    cover_per_unit = serializers.ChoiceField(
        choices=MeasureUnit.choices, required=False, allow_blank=True
    )
    methods = serializers.ListField(
        child=serializers.ChoiceField(choices=Treatment.Method.choices), required=False
    )
    places = serializers.ListField(
        child=serializers.ChoiceField(choices=PlaceKind.choices), required=False
    )
    words = serializers.CharField(max_length=200, required=False, allow_blank=True)


class LabelOut(serializers.ModelSerializer[ProductLabel]):
    """One version of a label, in short. The label itself comes first."""

    actives_words = serializers.CharField(read_only=True)
    rates = RateOut(many=True, read_only=True)

    class Meta:
        model = ProductLabel
        fields = ["id", "number", "in_force_from", *STATED, "actives_words", "rates"]
        read_only_fields = fields


class LabelIn(Plain):
    """What a label states; what is left out stays as in the version before."""

    in_force_from = serializers.DateField(required=False)
    issued_on = serializers.DateField(required=False, allow_null=True)
    actives = ActiveShape(many=True, required=False)
    density = serializers.DecimalField(8, 4, required=False, allow_null=True, min_value=0)
    ready_to_use = serializers.BooleanField(required=False)
    pests = serializers.ListField(child=serializers.SlugField(max_length=40), required=False)
    pest_groups = serializers.ListField(
        child=serializers.ChoiceField(choices=Pest.Group.choices), required=False
    )
    permitted_pests = serializers.CharField(required=False, allow_blank=True)
    places = serializers.ListField(
        child=serializers.ChoiceField(choices=PlaceKind.choices), required=False
    )
    permitted_places = serializers.CharField(required=False, allow_blank=True)
    methods = serializers.ListField(
        child=serializers.ChoiceField(choices=Treatment.Method.choices), required=False
    )
    interval_days = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=32767
    )
    most_a_year = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=32767
    )
    re_entry_minutes = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=14 * 24 * 60
    )
    re_entry = serializers.CharField(max_length=200, required=False, allow_blank=True)
    wind_most_kmh = serializers.DecimalField(5, 1, required=False, allow_null=True, min_value=0)
    names_weather = serializers.BooleanField(required=False)
    cautions = serializers.CharField(required=False, allow_blank=True)
    authorised_until = serializers.DateField(required=False, allow_null=True)
    safety_data_sheet_on = serializers.DateField(required=False, allow_null=True)
    rates = RateIn(many=True, required=False)


class ProductOut(serializers.ModelSerializer[Product]):
    """A product with its label in force. The label and the safety data sheet come first."""

    label = LabelOut(read_only=True)  # type: ignore[assignment]  # fields have a label too

    class Meta:
        model = Product
        fields = [
            "id",
            "name",
            "registration_number",
            "authority",
            "formulation",
            "unit",
            "is_demo",
            "withdrawn_on",
            "label",
        ]
        read_only_fields = fields


class ProductChanged(Plain):
    """What stays the same from one version of the label to the next."""

    name = serializers.CharField(max_length=120)
    registration_number = serializers.CharField(max_length=60)
    authority = serializers.CharField(max_length=80, required=False, allow_blank=True)
    formulation = serializers.ChoiceField(choices=Product.Formulation.choices)
    unit = serializers.ChoiceField(choices=Product.Unit.choices)


class ProductIn(ProductChanged):
    label = LabelIn(required=False)  # type: ignore[assignment]  # fields have a label too


class ParkedOut(serializers.ModelSerializer[ParkedOperation]):
    class Meta:
        model = ParkedOperation
        fields = [
            "id",
            "operation_id",
            "person",
            "visit",
            "sent",
            "reason",
            "code",
            "settled_at",
            "settlement",
        ]
        read_only_fields = fields


class ParkedPlaced(Plain):
    visit = SeenRelated(visits_visible_to)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class ParkedSetAside(Plain):
    note = serializers.CharField(max_length=280)


class OperationsSent(Plain):
    """Each operation is judged by itself, so that a bad one does not hold up the others."""

    operations = serializers.ListField(child=serializers.JSONField(), max_length=MOST_OPERATIONS)


class OperationAnswer(Plain):
    id = serializers.CharField(allow_null=True)
    verdict = serializers.ChoiceField(choices=["applied", "parked", "wait", "refused"])
    version = serializers.IntegerField(required=False, help_text="The visit's, after it.")
    again = serializers.BooleanField(required=False, help_text="This answer was given before.")
    code = serializers.CharField(required=False)
    message = serializers.CharField(required=False)


class OperationsAnswered(Plain):
    answers = OperationAnswer(many=True)
    now = serializers.DateTimeField()


class PackageAsked(Plain):
    visit = serializers.UUIDField(required=False)
