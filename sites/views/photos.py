"""Photos of a site: taking them in, and showing them to who may see the site."""

from uuid import UUID

from django.http import HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from accounts.files import private_file
from accounts.http import PersonRequest
from accounts.refusals import Refused, Unusable
from sites import access
from sites.forms import NewPhoto
from sites.services.photos import add_photo


@require_GET
def photo(request: PersonRequest, photo_id: UUID) -> HttpResponseBase:
    """The photo itself, shown in the page."""
    found = get_object_or_404(access.photos_visible_to(request.user), pk=photo_id)
    return private_file(
        found.image, name=f"photo {found.sha256[:8]}.jpg", mime=found.mime, inline=True
    )


@require_POST
def photo_upload(request: PersonRequest, site_id: UUID) -> JsonResponse:
    """Takes a photo in. The same photo again gets the same answer, so a phone may try twice."""
    site = get_object_or_404(access.sites_visible_to(request.user), pk=site_id)
    form = NewPhoto(request.POST, request.FILES)
    try:
        if not form.is_valid():
            raise Unusable("Send one photo, and when it was taken.", fields=form.errors)
        kept = add_photo(
            site.pk,
            by=request.user,
            data=form.cleaned_data["photo"].read(),
            taken_at=form.cleaned_data["taken_at"],
        )
    except Refused as refusal:
        # This address answers programs (the phone page), in their form, on every path.
        answer = {"code": refusal.code, "message": str(refusal), "facts": refusal.facts}
        return JsonResponse(answer, status=refusal.status)
    return JsonResponse(
        {
            "id": str(kept.pk),
            "given_sha256": kept.given_sha256,
            "url": reverse("sites:photo", args=[kept.pk]),
        }
    )
