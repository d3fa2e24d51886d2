"""Addresses of this app's operations for programs."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from accounts.api import views

router = SimpleRouter()
router.register("people", views.People, basename="api-people")
router.register("competences", views.Competences, basename="api-competences")
router.register("competence-kinds", views.CompetenceKinds, basename="api-competence-kinds")
router.register("trail", views.Trail, basename="api-trail")

urlpatterns = [path("me/", views.Me.as_view(), name="api-me"), *router.urls]
