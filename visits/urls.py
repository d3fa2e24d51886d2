"""Addresses of this app's pages."""

from django.urls import path

from visits.views import booking, lines, month, products, site_visits, visit

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
    path("<uuid:visit_id>/", visit.visit, name="visit"),
    path("<uuid:visit_id>/book/", booking.book, name="book"),
    path("<uuid:visit_id>/unbook/", booking.unbook, name="unbook"),
    path("<uuid:visit_id>/days/", booking.days, name="days"),
    path("<uuid:visit_id>/move/", booking.move, name="move"),
    path("<uuid:visit_id>/note/", booking.note, name="note"),
    path("<uuid:visit_id>/call-off/", booking.call_off, name="call_off"),
    path("<uuid:visit_id>/miss/", booking.miss, name="miss"),
]
