"""Addresses of this app's pages."""

from django.urls import path, register_converter

from visits.views import (
    amendments,
    booking,
    inbox,
    lines,
    month,
    phone,
    photos,
    products,
    site_visits,
    sync,
    visit,
)


class Sha256:
    """The hash of a file, as 64 digits in lower case."""

    regex = "[0-9a-f]{64}"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(Sha256, "sha256")

app_name = "visits"
urlpatterns = [
    path("", month.month, name="month"),
    path("month.csv", month.month_csv, name="month_csv"),
    path("book-many/", month.book_many, name="book_many"),
    path("unbook-many/", month.unbook_many, name="unbook_many"),
    path("call-out/", booking.call_out_where, name="call_out_where"),
    path("call-out/<uuid:site_id>/", booking.call_out, name="call_out"),
    path("add/<uuid:site_id>/", booking.add, name="add"),
    path("at/<uuid:site_id>/", site_visits.site_visits, name="site_visits"),
    path("at/<uuid:site_id>/visits.csv", site_visits.site_visits_csv, name="site_visits_csv"),
    path("lines/add/<uuid:contract_id>/", lines.line_new, name="line_new"),
    path("lines/<uuid:line_id>/", lines.line, name="line"),
    path("lines/<uuid:line_id>/change/", lines.line_change, name="line_change"),
    path("lines/<uuid:line_id>/rule/", lines.line_rule, name="line_rule"),
    path("lines/<uuid:line_id>/end/", lines.line_end, name="line_end"),
    path("products/", products.products, name="products"),
    path("products.csv", products.products_csv, name="products_csv"),
    path("products/add/", products.add, name="product_add"),
    path("products/<uuid:product_id>/", products.product, name="product"),
    path("products/<uuid:product_id>/change/", products.change, name="product_change"),
    path("products/<uuid:product_id>/withdraw/", products.withdraw, name="product_withdraw"),
    path("inbox/", inbox.inbox, name="inbox"),
    path("inbox/load/", inbox.load_log, name="load_log"),
    path("inbox/<uuid:parked_id>/", inbox.inbox_item, name="inbox_item"),
    path("inbox/photos/<uuid:parked_photo_id>/", inbox.parked_photo, name="parked_photo"),
    path("my-day/", phone.my_day, name="my_day"),
    path("phone/<slug:page>/", phone.phone_page, name="phone_page"),
    path("package/", sync.package, name="package"),
    path("sync/", sync.sync, name="sync"),
    path("<uuid:visit_id>/start/", phone.start, name="start"),
    path("<uuid:visit_id>/walk/", phone.walk, name="walk"),
    path("<uuid:visit_id>/photos/", photos.photo, name="photo"),
    path("<uuid:visit_id>/photos/<sha256:sha256>/", photos.photo_part, name="photo_part"),
    path("<uuid:visit_id>/close/", phone.close, name="close"),
    path("<uuid:visit_id>/amend/", amendments.amend, name="amend"),
    path("<uuid:visit_id>/", visit.visit, name="visit"),
    path("<uuid:visit_id>/book/", booking.book, name="book"),
    path("<uuid:visit_id>/unbook/", booking.unbook, name="unbook"),
    path("<uuid:visit_id>/days/", booking.days, name="days"),
    path("<uuid:visit_id>/move/", booking.move, name="move"),
    path("<uuid:visit_id>/note/", booking.note, name="note"),
    path("<uuid:visit_id>/call-off/", booking.call_off, name="call_off"),
    path("<uuid:visit_id>/miss/", booking.miss, name="miss"),
]
