"""The interface for programs: every operation under ``/api/``, with its own description."""

from csp.constants import UNSAFE_INLINE
from csp.decorators import csp_update
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

# The library's page sets one style on its own drawing; scripts stay as strict as everywhere.
docs = csp_update({"style-src": [UNSAFE_INLINE]})(
    SpectacularSwaggerSplitView.as_view(url_name="api-schema")
)

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("docs/", docs, name="api-docs"),
    path("", include("accounts.api.urls")),
    path("", include("sites.api.urls")),
    path("", include("visits.api.urls")),
    path("", include("compliance.api.urls")),
]
