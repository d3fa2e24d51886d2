"""Addresses of this app's operations for programs."""

from rest_framework.routers import SimpleRouter

from compliance.api import views

router = SimpleRouter()
router.register("actions", views.Actions, basename="api-actions")
router.register("flags", views.Flags, basename="api-flags")
router.register("evidence", views.Evidence, basename="api-evidence")
router.register("site-files", views.SiteFiles, basename="api-site-files")
router.register("trends", views.Trends, basename="api-trends")
router.register("trend-reviews", views.TrendReviews, basename="api-trend-reviews")
router.register("alarms", views.Alarms, basename="api-alarms")
router.register("thresholds", views.Thresholds, basename="api-thresholds")
router.register("breaches", views.Breaches, basename="api-breaches")

urlpatterns = router.urls
