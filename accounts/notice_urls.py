"""Addresses of the notices, which are everybody's own and so stand at the root."""

from django.urls import path

from accounts.views import notices

app_name = "notices"
urlpatterns = [
    path("", notices.notices, name="list"),
    path("read/", notices.read_all, name="read_all"),
    path("wishes/", notices.wishes, name="wishes"),
    path("<uuid:notice_id>/", notices.open_notice, name="open"),
]
