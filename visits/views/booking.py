"""Pages of the office's plan: book one visit, move it, call it off; add visits and call-outs."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.refusals import NotAllowed, Refused
from sites.access import sites_visible_to
from sites.models import Site
from visits.access import require_may_plan, visits_visible_to
from visits.forms.booking import (
    AddVisit,
    AskCallOut,
    BookVisit,
    FindSite,
    GiveReason,
    MoveVisit,
    SeenVersion,
    TakeCallOut,
    VisitNote,
)
from visits.models import Visit
from visits.queries.month import technicians_known
from visits.queries.objections import words_of
from visits.services import booking as services
from visits.views.answers import told_no
from visits.views.visit import found, visit_page

SITES_A_PAGE = 30


def _to_plan(request: PersonRequest, visit_id: UUID) -> Visit:
    """The visit that the page changes: 404 if hidden, a refusal if not theirs to plan."""
    visit = found(request, visit_id)
    require_may_plan(request.user)
    return visit


@require_POST
def book(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    visit = _to_plan(request, visit_id)
    technicians = [one for one in technicians_known() if one.is_active]
    form = BookVisit(request.POST, technicians=technicians)
    if not form.is_valid():
        return visit_page(request, visit, booking=form, status=422)
    told = form.cleaned_data
    try:
        services.book_visit(
            visit.pk,
            by=request.user,
            technician=told["technician"],
            day=told["day"],
            time=told["time"],
            despite_access=told.get("despite_access", False),
            seen_version=told["version"],
        )
    except Refused as refused:
        form = BookVisit(
            request.POST, technicians=technicians, ask_access=refused.code == "outside_access"
        )
        told_no(form, refused)
        return visit_page(request, visit, booking=form, status=refused.status)
    messages.success(request, f"Booked for {told['technician']} on {words_of(told['day'])}.")
    return redirect(visit)


@require_POST
def unbook(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    visit = _to_plan(request, visit_id)
    form = SeenVersion(request.POST)
    version = form.cleaned_data["version"] if form.is_valid() else None
    services.unbook_visit(visit.pk, by=request.user, seen_version=version)
    messages.success(request, "Taken off the plan; it is still due.")
    return redirect(visit)


@require_GET
def days(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """Asks whether this visit only is meant, or this and later ones."""
    return render(request, "visits/days.html", {"visit": _to_plan(request, visit_id)})


@require_http_methods(["GET", "POST"])
def move(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    visit = _to_plan(request, visit_id)
    form = MoveVisit(
        request.POST or None,
        initial={
            "due_on": visit.due_on,
            "opens_on": visit.opens_on,
            "closes_on": visit.closes_on,
            "version": visit.version,
        },
    )
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            services.move_visit(
                visit.pk,
                by=request.user,
                due_on=told["due_on"],
                opens_on=told["opens_on"],
                closes_on=told["closes_on"],
                seen_version=told["version"],
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"Moved: now due {words_of(told['due_on'])}.")
            return redirect(visit)
    return _form(request, "visits/move.html", form, visit=visit)


@require_http_methods(["GET", "POST"])
def note(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    visit = _to_plan(request, visit_id)
    form = VisitNote(
        request.POST or None,
        initial={
            "minutes": visit.minutes,
            "office_note": visit.office_note,
            "version": visit.version,
        },
    )
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            services.change_visit_note(
                visit.pk,
                by=request.user,
                minutes=told["minutes"],
                office_note=told["office_note"],
                seen_version=told["version"],
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Changed.")
            return redirect(visit)
    return _form(request, "visits/note.html", form, visit=visit)


@require_http_methods(["GET", "POST"])
def call_off(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    visit = _to_plan(request, visit_id)
    form = GiveReason(request.POST or None, initial={"version": visit.version})
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            services.call_off_visit(
                visit.pk, by=request.user, reason=told["reason"], seen_version=told["version"]
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Called off.")
            return redirect(visit)
    return _form(request, "visits/call_off.html", form, visit=visit)


@require_http_methods(["GET", "POST"])
def miss(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    visit = _to_plan(request, visit_id)
    form = GiveReason(request.POST or None, initial={"version": visit.version})
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            services.miss_visit(
                visit.pk, by=request.user, reason=told["reason"], seen_version=told["version"]
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Recorded as missed.")
            return redirect(visit)
    return _form(request, "visits/miss.html", form, visit=visit)


@require_GET
def call_out_where(request: PersonRequest) -> HttpResponse:
    """Finds the site for a call-out or an extra visit. Thirty a page."""
    require_may_plan(request.user)
    form = FindSite(request.GET)
    sites = sites_visible_to(request.user).filter(closed_on__isnull=True)
    text = form.cleaned_data["q"].strip() if form.is_valid() else ""
    if text:
        sites = sites.filter(
            Q(name__icontains=text)
            | Q(reference__icontains=text)
            | Q(address__icontains=text)
            | Q(postcode__icontains=text)
            | Q(client__name__icontains=text)
        )
    found_sites = sites.select_related("client").order_by("client__name", "name", "pk")
    page = Paginator(found_sites, SITES_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "visits/call_out_where.html", {"form": form, "page": page})


@require_http_methods(["GET", "POST"])
def call_out(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Takes a call-out in the office, or asks for one as the client's manager."""
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    if request.user.is_office:
        return _take_call_out(request, site)
    if request.user.is_client_manager:
        return _ask_call_out(request, site)
    raise NotAllowed("The office takes call-outs, and the client's manager asks for them.")


def _take_call_out(request: PersonRequest, site: Site) -> HttpResponse:
    now = timezone.now()
    here = now.astimezone(site.zone_info)
    form = TakeCallOut(
        request.POST or None,
        zone=site.zone_info,
        now=now,
        initial={"reported_on": here.date(), "reported_time": here.time()},
    )
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            visit = services.take_call_out(
                site.pk,
                by=request.user,
                reported_at=told["reported_at"],
                problem=told["problem"],
                reported_by=told["reported_by"],
                minutes=told["minutes"],
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Taken. Book a technician before the deadline.")
            return redirect(visit)
    return _call_out_page(request, form, site)


def _ask_call_out(request: PersonRequest, site: Site) -> HttpResponse:
    form = AskCallOut(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            visit = services.ask_call_out(
                site.pk,
                by=request.user,
                at=timezone.now(),
                problem=form.cleaned_data["problem"],
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(
                request,
                f"The office has it. Somebody comes by {words_of(visit.due_on)} at the latest.",
            )
            return redirect(site)
    return _call_out_page(request, form, site)


def _call_out_page(request: PersonRequest, form: Form, site: Site) -> HttpResponse:
    hours = services.response_hours(site, site.day_of(timezone.now()))
    submit = "Take the call-out" if request.user.is_office else "Ask for a call-out"
    return _form(request, "visits/call_out.html", form, site=site, hours=hours, submit=submit)


@require_http_methods(["GET", "POST"])
def add(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Adds a visit outside any recurrence; ``?follows=`` names the visit that it follows."""
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    require_may_plan(request.user)
    follows = _followed(request, site)
    due_on = site.day_of(timezone.now()) + timedelta(days=7)
    form = AddVisit(
        request.POST or None,
        initial={
            "kind": Visit.Kind.FOLLOW_UP if follows else Visit.Kind.SURVEY,
            "due_on": due_on,
            "opens_on": due_on - timedelta(days=3),
            "closes_on": due_on + timedelta(days=3),
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            visit = services.add_visit(
                site.pk,
                by=request.user,
                follows_id=follows.pk if follows else None,
                **form.cleaned_data,
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Added. It waits to be booked.")
            return redirect(visit)
    return _form(request, "visits/add.html", form, site=site, follows=follows)


def _followed(request: PersonRequest, site: Site) -> Visit | None:
    """The visit named in the address, if it is one of this site's that may be seen; else 404."""
    named = request.GET.get("follows")
    if not named:
        return None
    try:
        visit_id = UUID(named)
    except ValueError:
        visit_id = UUID(int=0)
    return get_object_or_404(visits_visible_to(request.user).filter(site=site), pk=visit_id)


def _form(request: PersonRequest, template: str, form: Form, **context: Any) -> HttpResponse:
    """A page with one form: as asked for, or again with what was wrong beside its fields."""
    status = 422 if form.errors else 200
    return render(request, template, {"form": form, **context}, status=status)
