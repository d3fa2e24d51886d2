"""The interface for programs: every operation under ``/api/``, with its own description."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("docs/", SpectacularSwaggerSplitView.as_view(url_name="api-schema"), name="api-docs"),
    path("", include("accounts.api.urls")),
    path("", include("sites.api.urls")),
    path("", include("visits.api.urls")),
    path("", include("compliance.api.urls")),
]
