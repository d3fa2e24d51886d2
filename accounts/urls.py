"""Addresses of this app's pages."""

from django.urls import URLPattern

app_name = "accounts"
urlpatterns: list[URLPattern] = []
