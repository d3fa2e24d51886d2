"""All addresses. Pages by room, the interface for programs under ``/api/``."""

from django.urls import include, path

from config import health, views

urlpatterns = [
    path("", views.home, name="home"),
    path("accounts/", include("allauth.urls")),
    path("people/", include("accounts.urls")),
    path("sites/", include("sites.urls")),
    path("visits/", include("visits.urls")),
    path("compliance/", include("compliance.urls")),
    path("api/", include("config.api_urls")),
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
    path("health/jobs", health.jobs, name="health-jobs"),
]
