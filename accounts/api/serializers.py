"""Shapes of people, competences and the trail."""

from typing import Any

from rest_framework import serializers

from accounts.access import clients_of
from accounts.api.base import Plain, SeenRelated
from accounts.models import Branch, Competence, CompetenceKind, Role, TrailEntry, User
from accounts.services.competences import HOLDERS


class PersonOut(serializers.ModelSerializer[User]):
    class Meta:
        model = User
        fields = [
            "id",
            "email",
            "name",
            "phone",
            "job_title",
            "role",
            "is_administrator",
            "client",
            "time_zone",
            "wants_digest",
            "is_active",
        ]
        read_only_fields = fields


class PersonInvited(Plain):
    email = serializers.EmailField()
    name = serializers.CharField(max_length=120)
    role = serializers.ChoiceField(choices=Role.choices)
    client = SeenRelated(clients_of, required=False, allow_null=True)
    job_title = serializers.CharField(max_length=80, required=False, allow_blank=True)
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    is_administrator = serializers.BooleanField(required=False)
    branches = serializers.PrimaryKeyRelatedField(
        queryset=Branch.objects.all(), many=True, required=False
    )


class Reason(Plain):
    reason = serializers.CharField(max_length=300)


class CompetenceKindOut(serializers.ModelSerializer[CompetenceKind]):
    class Meta:
        model = CompetenceKind
        fields = ["id", "name", "issuer"]
        read_only_fields = fields


class CompetenceOut(serializers.ModelSerializer[Competence]):
    kind_name = serializers.CharField(source="kind.name", read_only=True)

    class Meta:
        model = Competence
        fields = [
            "id",
            "person",
            "kind",
            "kind_name",
            "number",
            "valid_from",
            "valid_until",
            "withdrawn_on",
        ]
        read_only_fields = fields


class CompetenceDays(Plain):
    number = serializers.CharField(max_length=60, allow_blank=True, default="")
    valid_from = serializers.DateField()
    valid_until = serializers.DateField(required=False, allow_null=True, default=None)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        first, last = attrs["valid_from"], attrs["valid_until"]
        if last is not None and last < first:
            raise serializers.ValidationError(
                {"valid_until": "The last valid day is before the first."}
            )
        return attrs


class CompetenceIn(CompetenceDays):
    person = serializers.PrimaryKeyRelatedField(queryset=User.objects.filter(role__in=HOLDERS))
    kind = serializers.PrimaryKeyRelatedField(queryset=CompetenceKind.objects.all())


class CompetenceWithdrawn(Plain):
    on = serializers.DateField()
    reason = serializers.CharField(max_length=300)


class TrailOut(serializers.ModelSerializer[TrailEntry]):
    chain = serializers.CharField(source="stream_id", read_only=True)

    class Meta:
        model = TrailEntry
        fields = [
            "chain",
            "number",
            "at",
            "recorded_at",
            "actor",
            "actor_name",
            "actor_role",
            "verb",
            "sentence",
            "target_type",
            "target_id",
            "target_label",
            "facts",
            "previous",
            "seal",
        ]
        read_only_fields = fields
