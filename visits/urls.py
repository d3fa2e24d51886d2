"""Addresses of this app's pages."""

from django.urls import path, register_converter

from visits.views import (
    amendments,
    application_register,
    baiting,
    booking,
    by_hand,
    follow_ups,
    guide,
    inbox,
    labels,
    lines,
    month,
    phone,
    photos,
    products,
    record_rules,
    site_visits,
    stock,
    sync,
    traps,
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
    path("at/<uuid:site_id>/readings/enter/", by_hand.enter, name="readings_enter"),
    path("at/<uuid:site_id>/traps/", traps.traps, name="traps"),
    path("traps/<uuid:trap_sender_id>/", traps.sender, name="trap_sender"),
    path("traps/<uuid:trap_sender_id>/end/", traps.end, name="trap_sender_end"),
    path("traps/<uuid:trap_sender_id>/again/", traps.judge_again, name="trap_reports_again"),
    path("applications/", application_register.applications_page, name="applications"),
    path("applications.csv", application_register.applications_csv, name="applications_csv"),
    path("applications.xlsx", application_register.applications_xlsx, name="applications_xlsx"),
    path(
        "at/<uuid:site_id>/applications/",
        application_register.applications_page,
        name="site_applications",
    ),
    path(
        "at/<uuid:site_id>/applications.csv",
        application_register.applications_csv,
        name="site_applications_csv",
    ),
    path(
        "at/<uuid:site_id>/applications.xlsx",
        application_register.applications_xlsx,
        name="site_applications_xlsx",
    ),
    path("record-rules/", record_rules.record_rules, name="record_rules"),
    path("at/<uuid:site_id>/record-rules/", record_rules.site_rules, name="site_rules"),
    path("<uuid:visit_id>/applied/", application_register.applied, name="applied"),
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
    path("products/<uuid:product_id>/labels/enter/", labels.enter, name="label_enter"),
    path("products/<uuid:product_id>/labels/correct/", labels.correct, name="label_correct"),
    path("products/<uuid:product_id>/labels/<int:number>/", labels.label, name="label"),
    path("products/<uuid:product_id>/batches/add/", stock.batch_receive, name="batch_receive"),
    path("products/batches/", stock.batches, name="batches"),
    path("products/batches.csv", stock.batches_csv, name="batches_csv"),
    path("products/batches/<uuid:batch_id>/", stock.batch, name="batch"),
    path("products/batches/<uuid:batch_id>/change/", stock.batch_change, name="batch_change"),
    path("products/batches/<uuid:batch_id>/count/", stock.batch_count, name="batch_count"),
    path("products/batches/<uuid:batch_id>/used-up/", stock.batch_use_up, name="batch_use_up"),
    path("products/carried/", stock.carriers, name="carriers"),
    path("products/carried/<uuid:person_id>/", stock.carried, name="carried"),
    path("products/<uuid:product_id>/leave/<uuid:person_id>/", stock.leave, name="leave"),
    path("bait/", baiting.baiting, name="baiting"),
    path("bait.csv", baiting.baiting_csv, name="baiting_csv"),
    path("at/<uuid:site_id>/bait/", baiting.bait, name="bait"),
    path("at/<uuid:site_id>/bait.csv", baiting.bait_csv, name="bait_csv"),
    path("at/<uuid:site_id>/bait/review/", baiting.bait_review, name="bait_review"),
    path("follow-ups/", follow_ups.follow_ups, name="follow_ups"),
    path("follow-ups.csv", follow_ups.follow_ups_csv, name="follow_ups_csv"),
    path("follow-ups/accept/", follow_ups.accept_many, name="follow_ups_accept"),
    path("follow-ups/<uuid:follow_up_id>/accept/", follow_ups.accept, name="follow_up_accept"),
    path(
        "follow-ups/<uuid:follow_up_id>/pass-over/",
        follow_ups.pass_over,
        name="follow_up_pass_over",
    ),
    path("guide/", guide.guide, name="guide"),
    path("guide.csv", guide.guide_csv, name="guide_csv"),
    path("guide/try/", guide.guide_try, name="guide_try"),
    path("guide/add/", guide.guide_add, name="guide_add"),
    path("guide/<uuid:guide_line_id>/amend/", guide.guide_amend, name="guide_amend"),
    path("guide/<uuid:guide_line_id>/retire/", guide.guide_retire, name="guide_retire"),
    path("guide/<uuid:guide_line_id>/restore/", guide.guide_restore, name="guide_restore"),
    path("guide/<uuid:guide_line_id>/put-back/", guide.guide_put_back, name="guide_put_back"),
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
