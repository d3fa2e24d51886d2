"""All addresses. Pages by room, the interface for programs under ``/api/``."""

from django.urls import include, path

from config import health, views
from sites.views.labels import label
from visits.views import phone

urlpatterns = [
    path("", views.home, name="home"),
    # Stands before the library's page, where people could swap addresses past the office and trail.
    path("accounts/email/", views.own_email, name="own_email"),
    path("accounts/", include("allauth.urls")),
    path("people/", include("accounts.urls")),
    path("notices/", include("accounts.notice_urls")),
    path("sites/", include("sites.urls")),
    # Labels spell their address in capitals, which makes the printed code smaller.
    path("SITES/M/<str:code>/", label, name="label-in-capitals"),
    path("visits/", include("visits.urls")),
    path("compliance/", include("compliance.urls")),
    path("api/", include("config.api_urls")),
    # At the root, as a service worker only answers for what lies beneath it.
    path("worker.js", phone.worker, name="worker"),
    path("kickplate.webmanifest", phone.manifest, name="manifest"),
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
    path("health/jobs", health.jobs, name="health-jobs"),
]
