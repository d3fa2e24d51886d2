"""A request as pages meet it."""

from django.http import HttpRequest

from accounts.models import User


class PersonRequest(HttpRequest):
    """A request of somebody signed in, which ``LoginRequiredMiddleware`` has made sure of."""

    user: User
