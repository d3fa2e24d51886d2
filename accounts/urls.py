"""Addresses of this app's pages."""

from django.urls import path

from accounts.views import competences, people, settings

app_name = "accounts"
urlpatterns = [
    path("", people.people, name="people"),
    path("invite/", people.invite, name="invite"),
    path("join/<str:secret>/", people.join, name="join"),
    path("competences/", competences.competences, name="competences"),
    path("competences/mine/", competences.my_competences, name="my_competences"),
    path("competences/<uuid:competence_id>/change/", competences.change, name="competence_change"),
    path(
        "competences/<uuid:competence_id>/withdraw/",
        competences.withdraw,
        name="competence_withdraw",
    ),
    path("tokens/", settings.tokens, name="tokens"),
    path("tokens/<str:token_key>/end/", settings.token_end, name="token_end"),
    path("company/", settings.company, name="company"),
    path("trail/", settings.trail, name="trail"),
    path("trail/check/", settings.trail_check, name="trail_check"),
    path("<uuid:person_id>/", people.person, name="person"),
    path("<uuid:person_id>/change/", people.change, name="person_change"),
    path("<uuid:person_id>/invite-again/", people.invite_again, name="invite_again"),
    path("<uuid:person_id>/stop/", people.stop, name="stop"),
    path("<uuid:person_id>/restore/", people.restore, name="restore"),
    path("<uuid:person_id>/competences/add/", competences.add, name="competence_add"),
]
