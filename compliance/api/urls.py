"""Addresses of this app's operations for programs."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
