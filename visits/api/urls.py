"""Addresses of this app's operations for programs."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from visits.api import views
from visits.api.trap_reports import TrapReports

router = SimpleRouter()
router.register("service-lines", views.ServiceLines, basename="api-service-lines")
router.register("visits", views.Visits, basename="api-visits")
router.register("readings", views.Readings, basename="api-readings")
router.register("findings", views.Findings, basename="api-findings")
router.register("not-reached", views.NotReachedList, basename="api-not-reached")
router.register("treatments", views.Treatments, basename="api-treatments")
router.register("pests", views.Pests, basename="api-pests")
router.register("products", views.Products, basename="api-products")
router.register("parked", views.Parked, basename="api-parked")

urlpatterns = [
    path("operations/", views.Operations.as_view(), name="api-operations"),
    path("trap-reports/", TrapReports.as_view(), name="api-trap-reports"),
    path("package/", views.Package.as_view(), name="api-package"),
    *router.urls,
]
