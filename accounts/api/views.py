"""Operations on people, competences and the trail."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from accounts import access
from accounts.api.base import ReadViewSet, person_of
from accounts.api.serializers import (
    CompetenceDays,
    CompetenceIn,
    CompetenceKindOut,
    CompetenceOut,
    CompetenceWithdrawn,
    PersonInvited,
    PersonOut,
    Reason,
    TrailOut,
)
from accounts.models import Competence, CompetenceKind, TrailEntry, User
from accounts.services import competences, people


class Me(APIView):
    """Whoever calls."""

    permission_classes = [IsAuthenticated]

    @extend_schema(responses=PersonOut)
    def get(self, request: Request) -> Response:
        """The person whose token or session this is."""
        return Response(PersonOut(person_of(request)).data)


class People(ReadViewSet[User]):
    """People who sign in. The office sees everybody, others themselves."""

    visible = staticmethod(access.people_visible_to)
    serializer_class = PersonOut
    order = ("name", "pk")
    filterset_fields = ["role", "is_active", "client"]

    @extend_schema(request=PersonInvited, responses={201: PersonOut})
    def create(self, request: Request) -> Response:
        """Invite somebody; they get a letter with a link."""
        access.require_office(request.user)
        given = self.given(PersonInvited, request)
        person = people.invite_person(given.pop("email"), by=self.person, **given)
        return self.shown(person, status=201)

    @extend_schema(request=Reason, responses=PersonOut)
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, pk: str) -> Response:
        """Stop somebody from signing in, at once and everywhere."""
        person = self.get_object()
        access.require_may_manage(request.user, person)
        given = self.given(Reason, request)
        return self.shown(people.stop_person(person.pk, by=self.person, **given))

    @extend_schema(request=None, responses=PersonOut)
    @action(detail=True, methods=["post"])
    def restore(self, request: Request, pk: str) -> Response:
        """Let somebody sign in again."""
        return self.shown(people.restore_person(self.get_object().pk, by=self.person))

    @extend_schema(request=None, responses=PersonOut)
    @action(detail=True, methods=["post"], url_path="invite-again")
    def invite_again(self, request: Request, pk: str) -> Response:
        """Send a new link to somebody who has not joined."""
        person = self.get_object()
        people.invite_again(person.pk, by=self.person)
        return self.shown(person)


class Competences(ReadViewSet[Competence]):
    """Licences and certificates of technicians."""

    visible = staticmethod(access.competences_visible_to)
    serializer_class = CompetenceOut
    order = ("person__name", "pk")
    related = ("kind", "person")
    filterset_fields = {
        "person": ["exact"],
        "kind": ["exact"],
        "valid_until": ["lte", "gte", "isnull"],
    }

    @extend_schema(request=CompetenceIn, responses={201: CompetenceOut})
    def create(self, request: Request) -> Response:
        """Put a competence on a technician's file."""
        access.require_office(request.user)
        given = self.given(CompetenceIn, request)
        person = given.pop("person")
        made = competences.add_competence(person.pk, by=self.person, **given)
        return self.shown(made, status=201)

    @extend_schema(request=CompetenceDays, responses=CompetenceOut)
    def update(self, request: Request, pk: str) -> Response:
        """Correct the number or the days."""
        competence = self.get_object()
        access.require_office(request.user)
        given = self.given(CompetenceDays, request)
        return self.shown(competences.change_competence(competence.pk, by=self.person, **given))

    @extend_schema(request=CompetenceWithdrawn, responses=CompetenceOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """End a competence before its time."""
        competence = self.get_object()
        access.require_office(request.user)
        given = self.given(CompetenceWithdrawn, request)
        return self.shown(competences.withdraw_competence(competence.pk, by=self.person, **given))


class CompetenceKinds(ReadViewSet[CompetenceKind]):
    """The kinds of licence that service lines may require."""

    visible = staticmethod(access.competence_kinds_visible_to)
    serializer_class = CompetenceKindOut
    order = ("name", "pk")


class Trail(ReadViewSet[TrailEntry]):
    """Who did what, newest first; for administrators."""

    visible = staticmethod(access.trail_visible_to)
    serializer_class = TrailOut
    order = ("-pk",)
    filterset_fields: Any = {"stream": ["exact"], "verb": ["exact"], "target_id": ["exact"]}
