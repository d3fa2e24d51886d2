"""Sheets of labels for monitors, and finding a monitor by the code on its label."""

from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_http_methods

from accounts.files import safe_name
from accounts.http import PersonRequest
from sites import access, queries
from sites.forms import SHEETS, FindLabels, PrintLabels, TypedCode
from sites.labels.sheets import Label, label_sheet, trial_sheet
from sites.models import Monitor, Site
from sites.services.monitors import print_labels
from sites.views.pages import done, posted, read_filters, site_to_change

MOST_LABELS = 210  # ten sheets: more than one person sticks on in a day


@require_GET
def label(request: PersonRequest, code: str) -> HttpResponse:
    """Where the code on a label leads. Who may not see the site learns nothing: 404.

    The printed address is in capitals, as such codes are smaller; any spelling will do.
    """
    found = get_object_or_404(access.monitors_visible_to(request.user), label_code=code.upper())
    return redirect("sites:monitor", found.pk)


@require_http_methods(["GET", "POST"])
def label_find(request: PersonRequest) -> HttpResponse:
    """Leads to a monitor by the code typed from its label."""
    form = TypedCode(posted(request), monitors=access.monitors_visible_to(request.user))
    if form.is_bound and form.is_valid():
        return redirect("sites:monitor", form.monitor.pk)
    status = 422 if form.is_bound else 200
    return render(request, "sites/label_find.html", {"form": form}, status=status)


@require_http_methods(["GET", "POST"])
def labels(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Chooses monitors of a site and prints a label for each."""
    site = site_to_change(request, site_id)
    standing = site.monitors.filter(removed_on=None)
    form = PrintLabels(posted(request), monitors=standing)
    if form.is_bound and form.is_valid():
        chosen = done(form, print_labels, site_id, by=request.user, monitor_ids=form.chosen())
        if chosen:
            sheet, skip = SHEETS[form.cleaned_data["sheet"]], form.cleaned_data["skip"]
            pdf = label_sheet(
                [_label(one, site) for one in chosen],
                sheet=sheet,
                skip=skip,
                title=f"Labels of {site.name}",
            )
            return _pdf(pdf, f"labels {site.reference}")
    filters = FindLabels(request.GET, zones=queries.zones_walked(site))
    asked = read_filters(filters)
    zone = asked.get("zone")
    found = queries.monitors_numbered(
        queries.monitors_found(standing, zone_id=zone and zone.pk, kind=asked.get("kind", "")),
        first=asked.get("first"),
        last=asked.get("last"),
    )
    context = {
        "site": site,
        "filters": filters,
        "form": form,
        "count": found.count(),
        "monitors": queries.monitors_listed(found)[:MOST_LABELS],
        "most": MOST_LABELS,
    }
    status = 422 if form.is_bound else 200
    return render(request, "sites/labels.html", context, status=status)


@require_GET
def labels_trial(request: PersonRequest, sheet: str) -> HttpResponse:
    """A sheet with outlines and rulers, to try the printer before labels are used up."""
    access.require_may_keep_sites(request.user)
    chosen = SHEETS.get(sheet)
    if chosen is None:
        return redirect("sites:labels_trial", next(iter(SHEETS)))
    return _pdf(trial_sheet(sheet=chosen), f"trial sheet {sheet}")


def _label(monitor: Monitor, site: Site) -> Label:
    address = settings.BASE_URL + reverse("sites:label", args=[monitor.label_code])
    return Label(
        code=monitor.label_code,
        number=monitor.number,
        zone=monitor.zone.name,
        payload=address.upper(),
        kind=monitor.get_kind_display(),
        site=site.name,
    )


def _pdf(data: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = content_disposition_header(True, safe_name(f"{name}.pdf"))
    return answer
