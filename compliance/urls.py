"""Addresses of this app's pages."""

from django.urls import URLPattern

app_name = "compliance"
urlpatterns: list[URLPattern] = []
