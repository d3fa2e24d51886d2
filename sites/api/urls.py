"""Addresses of this app's operations for programs."""

from rest_framework.routers import SimpleRouter

from sites.api import views

router = SimpleRouter()
router.register("clients", views.Clients, basename="api-clients")
router.register("sites", views.Sites, basename="api-sites")
router.register("contacts", views.Contacts, basename="api-contacts")
router.register("contracts", views.Contracts, basename="api-contracts")
router.register("zones", views.Zones, basename="api-zones")
router.register("monitors", views.Monitors, basename="api-monitors")
router.register("plans", views.Plans, basename="api-plans")
router.register("documents", views.Documents, basename="api-documents")
router.register("photos", views.Photos, basename="api-photos")
router.register("imports", views.Imports, basename="api-imports")
router.register("passes", views.Passes, basename="api-passes")

urlpatterns = router.urls
