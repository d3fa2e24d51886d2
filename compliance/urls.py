"""Addresses of this app's pages."""

from django.urls import path

from compliance.views import actions, evidence, flags, landing, site_files, summary

app_name = "compliance"
urlpatterns = [
    path("today/", landing.today, name="today"),
    path("your-sites/", landing.your_sites, name="your_sites"),
    path("the-file/", landing.the_file, name="the_file"),
    path("actions/", actions.actions, name="actions"),
    path("actions.csv", actions.actions_csv, name="actions_csv"),
    path("actions/new/<uuid:site_id>/", actions.action_new, name="action_new"),
    path("actions/<uuid:action_id>/", actions.action, name="action"),
    path("actions/<uuid:action_id>/change/", actions.action_change, name="action_change"),
    path("actions/<uuid:action_id>/price/", actions.action_price, name="action_price"),
    path("actions/<uuid:action_id>/decide/", actions.action_decide, name="action_decide"),
    path("actions/<uuid:action_id>/done/", actions.action_done, name="action_done"),
    path("actions/<uuid:action_id>/check/", actions.action_check, name="action_check"),
    path("actions/<uuid:action_id>/reopen/", actions.action_reopen, name="action_reopen"),
    path("actions/<uuid:action_id>/withdraw/", actions.action_withdraw, name="action_withdraw"),
    path("flags/", flags.flags, name="flags"),
    path("flags.csv", flags.flags_csv, name="flags_csv"),
    path("flags/<uuid:flag_id>/acknowledge/", flags.flag_acknowledge, name="flag_acknowledge"),
    path("sites/<uuid:site_id>/evidence/", evidence.evidence, name="evidence"),
    path("summary/", summary.summary, name="summary"),
    path("site-files/of/<uuid:site_id>/", site_files.site_files, name="site_files"),
    path("site-files/<uuid:site_file_id>/", site_files.site_file, name="site_file"),
    path(
        "site-files/<uuid:site_file_id>/download/",
        site_files.site_file_download,
        name="site_file_download",
    ),
    path("reports/<uuid:visit_id>/", site_files.visit_report_pdf, name="visit_report_pdf"),
]
