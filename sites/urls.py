"""Addresses of this app's pages."""

from django.urls import path

from sites.views import imports, passes

app_name = "sites"
urlpatterns = [
    path("import/", imports.imports, name="import"),
    path("import/blank/", imports.import_blank, name="import_blank"),
    path("import/<uuid:job_id>/", imports.import_job, name="import_job"),
    path("import/<uuid:job_id>/accept/", imports.import_accept, name="import_accept"),
    path("import/<uuid:job_id>/drop/", imports.import_drop, name="import_drop"),
    path("export/", imports.export, name="export"),
    path("passes/", passes.passes, name="passes"),
    path("passes/new/", passes.pass_new, name="pass_new"),
    path("passes/<uuid:pass_id>/end/", passes.pass_revoke, name="pass_revoke"),
    path("managers/<uuid:person_id>/", passes.manager_sites, name="manager_sites"),
]
