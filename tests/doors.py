"""Who gets what at every address. Read it as a table; tests/test_gate.py goes by it.

Each line: the status for office, technician, client manager and auditor at a record of their own,
then, after the bar, for the same four at a record of somebody else's client, where the office is
one of another branch. 404 for what may not be seen, 403 for what may be seen and not done; 409, 415
and 422 are refusals of the empty request that is tried, by somebody who may. Nobody is sent to the
sign-in page (302), or told 401 by an operation, unless ``anonymous`` says otherwise.
"""

from typing import Any

from tests.gate import Door


def door(*, at: str = "", anonymous: Any = (), **answers: str) -> Door:
    return Door(answers, at, dict(anonymous))


DOORS = {
    # The front door, signing in and health
    "home": door(GET="302 302 302 302", POST="302 302 302 302"),
    "own_email": door(GET="200 200 200 200"),
    "account_login": door(
        GET="302 302 302 302", POST="302 302 302 302", anonymous={"GET": 200, "POST": 200}
    ),
    "account_logout": door(GET="200 200 200 200", POST="302 302 302 302"),
    "account_inactive": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "account_signup": door(
        GET="302 302 302 302", POST="302 302 302 302", anonymous={"GET": 200, "POST": 200}
    ),
    "account_reauthenticate": door(GET="200 200 200 200", POST="200 200 200 200"),
    "account_email": door(GET="200 200 200 200"),
    "account_email_verification_sent": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "account_change_password": door(GET="200 200 200 200", POST="200 200 200 200"),
    "account_set_password": door(GET="302 302 302 302", POST="302 302 302 302"),
    "account_reset_password": door(
        GET="200 200 200 200", POST="200 200 200 200", anonymous={"GET": 200, "POST": 200}
    ),
    "account_confirm_login_code": door(GET="302 302 302 302", POST="302 302 302 302"),
    "account_confirm_email": door(
        GET="200 200 200 200", POST="404 404 404 404", anonymous={"GET": 200, "POST": 404}
    ),
    "account_reset_password_from_key_done": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "account_reset_password_from_key": door(
        GET="200 200 200 200", POST="200 200 200 200", anonymous={"GET": 200, "POST": 200}
    ),
    "account_reset_password_done": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "mfa_index": door(GET="200 200 200 200"),
    "mfa_authenticate": door(GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_reauthenticate": door(GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_activate_totp": door(GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_deactivate_totp": door(GET="404 404 404 404", POST="404 404 404 404"),
    "mfa_view_recovery_codes": door(GET="404 404 404 404"),
    "mfa_generate_recovery_codes": door(GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_download_recovery_codes": door(GET="404 404 404 404", POST="404 404 404 404"),
    "mfa_list_webauthn": door(GET="200 200 200 200"),
    "mfa_add_webauthn": door(GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_reauthenticate_webauthn": door(GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_remove_webauthn": door(at="nothing", GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_edit_webauthn": door(at="nothing", GET="302 302 302 302", POST="302 302 302 302"),
    "mfa_login_webauthn": door(GET="302 302 302 302", POST="302 302 302 302"),
    "usersessions_list": door(GET="200 200 200 200", POST="302 302 302 302"),
    "label-in-capitals": door(GET="302 302 302 302 | 404 404 404 404"),
    "health-live": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "health-ready": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "health-jobs": door(GET="503 503 503 503", anonymous={"GET": 503}),
    # People
    "accounts:people": door(GET="200 403 403 403"),
    "accounts:invite": door(GET="200 403 403 403", POST="422 403 403 403"),
    "accounts:join": door(
        GET="410 410 410 410", POST="410 410 410 410", anonymous={"GET": 410, "POST": 410}
    ),
    "accounts:competences": door(GET="200 403 403 403", POST="422 403 403 403"),
    "accounts:my_competences": door(GET="200 200 200 200"),
    "accounts:competence_change": door(
        GET="200 403 403 403 | 200 403 403 403", POST="422 403 403 403 | 422 403 403 403"
    ),
    "accounts:competence_withdraw": door(
        GET="200 403 403 403 | 200 403 403 403", POST="422 403 403 403 | 422 403 403 403"
    ),
    "accounts:tokens": door(GET="200 200 200 200", POST="422 422 422 422"),
    "accounts:token_end": door(POST="302 302 302 302 | 302 302 302 302"),
    "accounts:company": door(GET="200 403 403 403", POST="422 403 403 403"),
    "accounts:trail": door(GET="200 403 403 403"),
    "accounts:trail_check": door(GET="200 403 403 403"),
    "accounts:person": door(GET="200 403 403 403 | 200 403 403 403"),
    "accounts:person_change": door(
        GET="200 404 404 404 | 200 404 404 404", POST="422 404 404 404 | 422 404 404 404"
    ),
    "accounts:invite_again": door(POST="302 404 404 404 | 302 404 404 404"),
    "accounts:stop": door(
        GET="200 404 404 404 | 200 404 404 404", POST="422 404 404 404 | 422 404 404 404"
    ),
    "accounts:restore": door(POST="409 404 404 404 | 409 404 404 404"),
    "accounts:competence_add": door(
        GET="200 403 403 403 | 200 403 403 403", POST="422 403 403 403 | 422 403 403 403"
    ),
    # Notices
    "notices:list": door(GET="200 200 200 200"),
    "notices:open": door(GET="404 404 302 404 | 404 404 404 404"),
    "notices:read_all": door(POST="302 302 302 302"),
    "notices:wishes": door(GET="200 200 200 200", POST="422 302 422 302"),
    # Sites
    "sites:import": door(GET="200 403 403 403", POST="422 403 403 403"),
    "sites:import_blank": door(GET="200 403 403 403"),
    "sites:import_job": door(GET="200 403 403 403 | 200 403 403 403"),
    "sites:import_accept": door(POST="409 403 403 403 | 409 403 403 403"),
    "sites:import_drop": door(POST="302 403 403 403 | 302 403 403 403"),
    "sites:export": door(GET="200 403 403 403"),
    "sites:passes": door(GET="200 200 200 200"),
    "sites:pass_new": door(GET="200 403 403 403", POST="200 403 403 403"),
    "sites:pass_revoke": door(
        GET="200 403 403 403 | 404 403 403 403", POST="422 403 403 403 | 404 403 403 403"
    ),
    "sites:manager_sites": door(
        GET="200 403 403 403 | 200 403 403 403", POST="302 403 403 403 | 302 403 403 403"
    ),
    "sites:list": door(GET="200 200 200 200"),
    "sites:list_csv": door(GET="200 200 200 200"),
    "sites:site_new": door(GET="200 403 403 403", POST="422 403 403 403"),
    "sites:site": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:site_edit": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:access_windows": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:site_close": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:site_reopen": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:clients": door(GET="200 200 200 200"),
    "sites:clients_csv": door(GET="200 200 200 200"),
    "sites:client_new": door(GET="200 403 403 403", POST="422 403 403 403"),
    "sites:client": door(GET="200 200 200 200 | 200 404 404 404"),
    "sites:client_edit": door(
        GET="200 403 403 403 | 200 404 404 404", POST="422 403 403 403 | 422 404 404 404"
    ),
    "sites:contact_new": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:contact_edit": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:contact_remove": door(
        GET="200 403 403 403 | 404 404 404 404", POST="302 403 403 403 | 404 404 404 404"
    ),
    "sites:contract_new": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:contract_edit": door(
        GET="200 404 403 403 | 404 404 404 404", POST="422 404 403 403 | 404 404 404 404"
    ),
    "sites:zones": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:zone_new": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:zone": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:zone_edit": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:zone_retire": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:zone_bring_back": door(at="retired_zone", POST="302 403 403 403 | 404 404 404 404"),
    "sites:zone_earlier": door(POST="302 403 403 403 | 404 404 404 404"),
    "sites:zone_later": door(POST="302 403 403 403 | 404 404 404 404"),
    "sites:zone_undraw": door(POST="302 403 403 403 | 404 404 404 404"),
    "sites:checkpoint_new": door(POST="422 403 403 403 | 404 404 404 404"),
    "sites:checkpoint_edit": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:checkpoint_retire": door(POST="302 403 403 403 | 404 404 404 404"),
    "sites:plan_new": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:plan": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:plan_image": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:plan_retire": door(
        GET="200 403 403 403 | 404 404 404 404", POST="302 403 403 403 | 404 404 404 404"
    ),
    "sites:monitor_mark": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:zone_draw": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:monitors": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:monitors_csv": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:monitor_new": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:monitor_run": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:labels": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:monitor": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:monitor_edit": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:monitor_move": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:monitor_remove": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:monitor_unmark": door(POST="302 403 403 403 | 404 404 404 404"),
    "sites:labels_trial": door(GET="302 403 403 403"),
    "sites:label_find": door(GET="200 200 200 200", POST="422 422 422 422"),
    "sites:label": door(GET="302 302 302 302 | 404 404 404 404"),
    "sites:documents": door(GET="200 200 200 200"),
    "sites:document_new": door(GET="200 403 403 403", POST="422 403 403 403"),
    "sites:document": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:document_replace": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:document_withdraw": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:client_document_new": door(
        GET="200 403 403 403 | 200 404 404 404", POST="422 403 403 403 | 422 404 404 404"
    ),
    "sites:site_documents": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:site_document_new": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "sites:photo": door(GET="200 200 200 200 | 404 404 404 404"),
    "sites:photo_upload": door(POST="422 422 422 422 | 404 404 404 404"),
    # Visits
    "visits:month": door(GET="200 403 403 403"),
    "visits:month_csv": door(GET="200 403 403 403"),
    "visits:book_many": door(POST="302 403 403 403"),
    "visits:unbook_many": door(POST="302 403 403 403"),
    "visits:call_out_where": door(GET="200 403 403 403"),
    "visits:call_out": door(
        GET="200 403 200 403 | 404 404 404 404", POST="422 403 422 403 | 404 404 404 404"
    ),
    "visits:add": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "visits:site_visits": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:site_visits_csv": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:readings_enter": door(
        GET="200 403 403 403 | 404 404 404 404", POST="302 403 403 403 | 404 404 404 404"
    ),
    "visits:traps": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "visits:trap_sender": door(
        GET="200 404 404 404 | 404 404 404 404", POST="200 404 404 404 | 404 404 404 404"
    ),
    "visits:trap_sender_end": door(POST="302 404 404 404 | 404 404 404 404"),
    "visits:trap_reports_again": door(POST="302 404 404 404 | 404 404 404 404"),
    "visits:calendar": door(GET="200 200 200 403", POST="200 409 200 403"),
    "visits:calendar_renew": door(POST="409 200 409 403"),
    "visits:calendar_end": door(POST="302 302 302 403"),
    "visits:calendar_feed": door(GET="404 404 404 404", anonymous={"GET": 404}),
    "visits:applications": door(GET="200 200 200 200"),
    "visits:applications_csv": door(GET="200 200 200 200"),
    "visits:applications_xlsx": door(GET="200 200 200 200"),
    "visits:site_applications": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:site_applications_csv": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:site_applications_xlsx": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:applied": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:record_rules": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:site_rules": door(
        GET="200 403 403 403 | 404 404 404 404", POST="302 403 403 403 | 404 404 404 404"
    ),
    "visits:line_new": door(
        GET="200 404 403 403 | 404 404 404 404", POST="422 404 403 403 | 404 404 404 404"
    ),
    "visits:line": door(GET="200 404 403 403 | 404 404 404 404"),
    "visits:line_change": door(
        GET="200 404 403 403 | 404 404 404 404", POST="422 404 403 403 | 404 404 404 404"
    ),
    "visits:line_rule": door(
        GET="200 404 403 403 | 404 404 404 404", POST="422 404 403 403 | 404 404 404 404"
    ),
    "visits:line_end": door(
        GET="200 404 403 403 | 404 404 404 404", POST="422 404 403 403 | 404 404 404 404"
    ),
    "visits:products": door(GET="200 200 403 403"),
    "visits:products_csv": door(GET="200 200 403 403"),
    "visits:product_add": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:product": door(GET="200 200 404 404"),
    "visits:product_change": door(GET="200 403 404 404", POST="422 403 404 404"),
    "visits:product_withdraw": door(GET="200 403 404 404", POST="422 403 404 404"),
    "visits:label_enter": door(GET="200 403 404 404", POST="422 403 404 404"),
    # A version by which somebody has treated is not put right any more.
    "visits:label_correct": door(GET="409 403 404 404", POST="409 403 404 404"),
    "visits:label": door(GET="200 200 404 404"),
    "visits:batch_receive": door(GET="200 403 404 404", POST="422 403 404 404"),
    "visits:batches": door(GET="200 403 403 403"),
    "visits:batches_csv": door(GET="200 403 403 403"),
    "visits:batch": door(GET="200 403 403 403"),
    "visits:batch_change": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:batch_count": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:batch_use_up": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:carriers": door(GET="200 302 403 403"),
    "visits:carried": door(
        at="technician",
        GET="200 200 403 403 | 200 404 403 403",
        POST="422 422 403 403 | 422 404 403 403",
    ),
    "visits:leave": door(at="technician", POST="302 302 403 403 | 302 404 403 403"),
    "visits:baiting": door(GET="200 403 403 403"),
    "visits:baiting_csv": door(GET="200 403 403 403"),
    "visits:bait": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:bait_csv": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:bait_review": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "visits:follow_ups": door(GET="200 403 403 403"),
    "visits:follow_ups_csv": door(GET="200 403 403 403"),
    "visits:follow_ups_accept": door(POST="302 403 403 403"),
    "visits:follow_up_accept": door(POST="302 404 404 404 | 404 404 404 404"),
    "visits:follow_up_pass_over": door(
        GET="200 404 404 404 | 404 404 404 404", POST="422 404 404 404 | 404 404 404 404"
    ),
    "visits:guide": door(GET="200 200 403 403"),
    "visits:guide_csv": door(GET="200 200 403 403"),
    "visits:guide_try": door(GET="200 200 403 403"),
    "visits:guide_add": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:guide_amend": door(GET="200 403 404 404", POST="422 403 404 404"),
    "visits:guide_retire": door(GET="200 403 404 404", POST="422 403 404 404"),
    "visits:guide_restore": door(POST="409 403 404 404"),
    "visits:guide_put_back": door(POST="409 403 404 404"),
    "visits:inbox": door(GET="200 403 403 403"),
    "visits:load_log": door(GET="200 403 403 403", POST="422 403 403 403"),
    "visits:inbox_item": door(
        GET="200 403 404 404 | 404 404 404 404", POST="200 403 404 404 | 404 404 404 404"
    ),
    "visits:parked_photo": door(GET="200 404 404 404 | 404 404 404 404"),
    "visits:my_day": door(GET="403 200 403 403"),
    "visits:package": door(GET="403 200 403 403", anonymous={"GET": 401}),
    "visits:sync": door(
        GET="403 200 403 403", POST="403 415 403 403", anonymous={"GET": 401, "POST": 401}
    ),
    # The phone's pages are the same bytes for everybody; who may not have a visit gets none there.
    "visits:phone_page": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "worker": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "manifest": door(GET="200 200 200 200", anonymous={"GET": 200}),
    "visits:start": door(GET="404 200 404 404 | 404 404 404 404"),
    "visits:walk": door(GET="404 200 404 404 | 404 404 404 404"),
    "visits:photo": door(POST="403 400 403 403 | 403 400 403 403", anonymous={"POST": 401}),
    "visits:photo_part": door(
        GET="403 200 403 403 | 403 200 403 403",
        PUT="403 422 403 403 | 403 422 403 403",
        anonymous={"GET": 401, "PUT": 401},
    ),
    "visits:close": door(GET="404 200 404 404 | 404 404 404 404"),
    "visits:amend": door(
        GET="200 200 403 403 | 404 404 404 404", POST="422 422 403 403 | 404 404 404 404"
    ),
    "visits:visit": door(GET="200 200 200 200 | 404 404 404 404"),
    "visits:book": door(at="planned", POST="422 403 404 404 | 404 404 404 404"),
    "visits:unbook": door(at="booked", POST="302 403 404 404 | 404 404 404 404"),
    "visits:days": door(at="planned", GET="200 403 404 404 | 404 404 404 404"),
    "visits:move": door(
        at="planned",
        GET="200 403 404 404 | 404 404 404 404",
        POST="422 403 404 404 | 404 404 404 404",
    ),
    "visits:note": door(
        at="planned",
        GET="200 403 404 404 | 404 404 404 404",
        POST="422 403 404 404 | 404 404 404 404",
    ),
    "visits:call_off": door(
        at="planned",
        GET="200 403 404 404 | 404 404 404 404",
        POST="422 403 404 404 | 404 404 404 404",
    ),
    "visits:miss": door(
        at="booked",
        GET="200 403 404 404 | 404 404 404 404",
        POST="422 403 404 404 | 404 404 404 404",
    ),
    # Actions, flags, evidence and site files
    "compliance:today": door(GET="200 403 403 403"),
    "compliance:your_sites": door(GET="403 403 200 403"),
    "compliance:the_file": door(GET="403 403 403 200"),
    "compliance:actions": door(GET="200 200 200 200"),
    "compliance:actions_csv": door(GET="200 200 200 200"),
    "compliance:ageing": door(GET="200 403 200 403"),
    "compliance:ageing_csv": door(GET="200 403 200 403"),
    "compliance:action_new": door(
        GET="200 403 403 403 | 404 403 403 403", POST="422 403 403 403 | 404 403 403 403"
    ),
    "compliance:action": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:action_change": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "compliance:action_price": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "compliance:action_decide": door(POST="403 403 422 403 | 404 404 404 404"),
    "compliance:action_done": door(
        at="theirs_action",
        GET="200 200 200 403 | 404 404 404 404",
        POST="422 422 422 403 | 404 404 404 404",
    ),
    "compliance:action_accept": door(
        at="done_action",
        GET="403 403 200 403 | 404 404 404 404",
        POST="403 403 422 403 | 404 404 404 404",
    ),
    "compliance:action_check": door(
        at="done_action",
        GET="200 200 403 403 | 404 404 404 404",
        POST="422 422 403 403 | 404 404 404 404",
    ),
    "compliance:action_reopen": door(at="done_action", POST="422 422 422 403 | 404 404 404 404"),
    "compliance:action_withdraw": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "compliance:action_ask": door(
        GET="200 403 200 403 | 404 404 404 404", POST="422 403 422 403 | 404 404 404 404"
    ),
    "compliance:action_ask_nobody": door(POST="302 403 302 403 | 404 404 404 404"),
    "compliance:decisions": door(GET="403 403 200 403", POST="403 403 302 403"),
    "compliance:decisions_sign": door(GET="403 403 302 403", POST="403 403 422 403"),
    "compliance:action_write": door(
        GET="200 403 200 403 | 404 404 404 404", POST="422 403 422 403 | 404 404 404 404"
    ),
    "compliance:money_terms": door(GET="200 403 403 403", POST="422 403 403 403"),
    "compliance:remedies": door(GET="200 403 403 403"),
    "compliance:remedies_usual": door(POST="302 403 403 403"),
    "compliance:remedy_new": door(GET="200 403 403 403", POST="422 403 403 403"),
    "compliance:remedy_change": door(
        GET="200 403 403 403 | 200 403 403 403", POST="422 403 403 403 | 422 403 403 403"
    ),
    "compliance:remedy_end": door(
        GET="200 403 403 403 | 200 403 403 403", POST="302 403 403 403 | 302 403 403 403"
    ),
    "compliance:trends": door(GET="200 403 403 403"),
    "compliance:trends_csv": door(GET="200 403 403 403"),
    "compliance:site_trends": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:site_trends_csv": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:trend_plan": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:place_trend": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:zone_trend": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:trend_reviews": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:trend_review": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:trend_review_new": door(
        GET="200 200 403 403 | 404 404 404 404", POST="422 422 403 403 | 404 404 404 404"
    ),
    "compliance:thresholds": door(GET="200 403 403 403"),
    "compliance:thresholds_csv": door(GET="200 403 403 403"),
    "compliance:threshold_new": door(GET="200 403 403 403", POST="422 403 403 403"),
    "compliance:threshold_change": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "compliance:threshold_end": door(
        GET="200 403 403 403 | 404 404 404 404", POST="302 403 403 403 | 404 404 404 404"
    ),
    "compliance:site_thresholds": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:site_thresholds_csv": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:site_threshold_new": door(
        GET="200 403 403 403 | 404 403 403 403", POST="422 403 403 403 | 404 403 403 403"
    ),
    "compliance:breaches": door(GET="200 200 200 200"),
    "compliance:breaches_csv": door(GET="200 200 200 200"),
    "compliance:breach_answer": door(
        GET="200 403 403 403 | 404 404 404 404", POST="422 403 403 403 | 404 404 404 404"
    ),
    "compliance:flags": door(GET="200 403 403 403"),
    "compliance:flags_csv": door(GET="200 403 403 403"),
    "compliance:flag_acknowledge": door(
        GET="200 404 404 404 | 404 404 404 404", POST="422 404 404 404 | 404 404 404 404"
    ),
    "compliance:evidence": door(GET="200 403 200 200 | 404 403 404 404"),
    "compliance:summary": door(GET="200 200 200 200", POST="422 422 422 422"),
    # No job has made it yet.
    "compliance:decision_paper": door(GET="302 404 302 404 | 404 404 404 404"),
    "compliance:site_files": door(
        GET="200 403 200 200 | 404 403 404 404", POST="422 403 422 422 | 404 403 404 404"
    ),
    "compliance:site_file": door(GET="200 404 200 404 | 404 404 404 404"),
    "compliance:site_file_download": door(GET="302 404 302 404 | 404 404 404 404"),
    "compliance:review_quarters": door(GET="200 404 200 404 | 404 404 404 404"),
    "compliance:review": door(
        GET="200 404 200 404 | 404 404 404 404", POST="422 404 422 404 | 404 404 404 404"
    ),
    "compliance:review_pack": door(GET="200 404 200 404 | 404 404 404 404"),
    "compliance:review_pack_download": door(GET="302 404 302 404 | 404 404 404 404"),
    "compliance:applications_pdf": door(GET="200 200 200 200"),
    "compliance:site_applications_pdf": door(GET="200 200 200 200 | 404 404 404 404"),
    "compliance:visit_report_pdf": door(GET="200 200 200 200 | 404 404 404 404"),
    # The interface for programs
    "api-schema": door(GET="200 200 200 200"),
    "api-docs": door(GET="200 200 200 200"),
    "api-me": door(GET="200 200 200 200"),
    "api-people-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-people-detail": door(at="newcomer", GET="200 404 404 404 | 200 404 404 404"),
    "api-people-invite-again": door(at="newcomer", POST="200 404 404 404 | 200 404 404 404"),
    "api-people-restore": door(at="newcomer", POST="409 404 404 404 | 409 404 404 404"),
    "api-people-stop": door(at="newcomer", POST="400 404 404 404 | 400 404 404 404"),
    "api-competences-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-competences-detail": door(
        at="competence",
        GET="200 200 404 404 | 200 404 404 404",
        PUT="400 403 404 404 | 400 404 404 404",
    ),
    "api-competences-withdraw": door(at="competence", POST="400 403 404 404 | 400 404 404 404"),
    "api-competence-kinds-list": door(GET="200 200 200 200"),
    "api-competence-kinds-detail": door(at="kind", GET="200 200 404 404"),
    "api-trail-list": door(GET="200 200 200 200"),
    "api-trail-detail": door(at="trail_entry", GET="200 404 404 404 | 404 404 404 404"),
    "api-clients-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-clients-detail": door(
        at="client",
        GET="200 200 200 200 | 200 404 404 404",
        PATCH="200 403 403 403 | 200 404 404 404",
    ),
    "api-sites-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-sites-detail": door(
        at="site",
        GET="200 200 200 200 | 404 404 404 404",
        PATCH="200 403 403 403 | 404 404 404 404",
    ),
    "api-sites-access-windows": door(at="site", PUT="400 403 403 403 | 404 404 404 404"),
    "api-sites-close": door(at="site", POST="400 403 403 403 | 404 404 404 404"),
    "api-contacts-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-contacts-detail": door(
        at="contact",
        GET="200 200 200 200 | 404 404 404 404",
        DELETE="204 403 403 403 | 404 404 404 404",
    ),
    "api-contracts-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-contracts-detail": door(
        at="contract",
        GET="200 404 200 200 | 404 404 404 404",
        PATCH="200 404 403 403 | 404 404 404 404",
    ),
    "api-zones-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-zones-detail": door(
        at="zone",
        GET="200 200 200 200 | 404 404 404 404",
        PATCH="200 403 403 403 | 404 404 404 404",
    ),
    "api-zones-checkpoints": door(at="zone", POST="400 403 403 403 | 404 404 404 404"),
    "api-zones-retire": door(at="zone", POST="400 403 403 403 | 404 404 404 404"),
    "api-monitors-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-monitors-detail": door(at="monitor", GET="200 200 200 200 | 404 404 404 404"),
    "api-monitors-move": door(at="monitor", POST="400 403 403 403 | 404 404 404 404"),
    "api-monitors-remove": door(at="monitor", POST="400 403 403 403 | 404 404 404 404"),
    "api-plans-list": door(GET="200 200 200 200"),
    "api-plans-detail": door(at="plan", GET="200 200 200 200 | 404 404 404 404"),
    "api-plans-image": door(at="plan", GET="200 200 200 200 | 404 404 404 404"),
    "api-documents-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-documents-detail": door(at="document", GET="200 200 200 200 | 404 404 404 404"),
    "api-documents-file": door(at="document", GET="200 200 200 200 | 404 404 404 404"),
    "api-documents-replace": door(at="document", POST="400 403 403 403 | 404 404 404 404"),
    "api-documents-withdraw": door(at="document", POST="400 403 403 403 | 404 404 404 404"),
    "api-photos-list": door(GET="200 200 200 200", POST="415 415 415 403"),
    "api-photos-detail": door(at="photo", GET="200 200 200 200 | 404 404 404 404"),
    "api-photos-image": door(at="photo", GET="200 200 200 200 | 404 404 404 404"),
    "api-imports-list": door(GET="200 200 200 200", POST="415 403 403 403"),
    "api-imports-detail": door(at="import", GET="200 404 404 404 | 200 404 404 404"),
    "api-imports-accept": door(at="import", POST="415 404 404 404 | 415 404 404 404"),
    "api-imports-drop": door(at="import", POST="200 404 404 404 | 200 404 404 404"),
    "api-passes-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-passes-detail": door(at="pass", GET="200 404 200 200 | 404 404 404 404"),
    "api-passes-end": door(at="pass", POST="400 404 403 403 | 404 404 404 404"),
    "api-operations": door(POST="403 400 403 403"),
    # Only what carries the token of a trap sender; whoever signs in is nobody here.
    "api-trap-reports": door(POST="401 401 401 401"),
    "api-package": door(GET="403 200 403 403"),
    "api-service-lines-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-service-lines-detail": door(
        at="line",
        GET="200 404 200 200 | 404 404 404 404",
        PATCH="200 404 403 403 | 404 404 404 404",
    ),
    "api-service-lines-end": door(at="line", POST="400 404 403 403 | 404 404 404 404"),
    "api-service-lines-rule-from": door(at="line", POST="400 404 403 403 | 404 404 404 404"),
    "api-visits-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-visits-call-outs": door(POST="400 400 400 400"),
    "api-visits-detail": door(at="closed", GET="200 200 200 200 | 404 404 404 404"),
    "api-visits-amend": door(at="closed", POST="400 400 400 400 | 404 404 404 404"),
    "api-visits-amendments": door(at="closed", GET="200 200 200 200 | 404 404 404 404"),
    "api-visits-book": door(at="planned", POST="400 403 404 404 | 404 404 404 404"),
    "api-visits-call-off": door(at="planned", POST="400 403 404 404 | 404 404 404 404"),
    "api-visits-miss": door(at="booked", POST="400 403 404 404 | 404 404 404 404"),
    "api-visits-move": door(at="planned", POST="400 403 404 404 | 404 404 404 404"),
    "api-visits-sealed": door(at="closed", GET="200 200 200 200 | 404 404 404 404"),
    "api-visits-unbook": door(at="booked", POST="200 403 404 404 | 404 404 404 404"),
    "api-readings-list": door(GET="200 200 200 200"),
    "api-readings-detail": door(at="reading", GET="200 200 200 200 | 404 404 404 404"),
    "api-findings-list": door(GET="200 200 200 200"),
    "api-findings-detail": door(at="finding", GET="200 200 200 200 | 404 404 404 404"),
    "api-not-reached-list": door(GET="200 200 200 200"),
    "api-not-reached-detail": door(at="not_reached", GET="200 200 200 200 | 404 404 404 404"),
    "api-treatments-list": door(GET="200 200 200 200"),
    "api-treatments-detail": door(at="treatment", GET="200 200 200 200 | 404 404 404 404"),
    "api-pests-list": door(GET="200 200 200 200"),
    "api-pests-detail": door(GET="200 200 200 200"),
    "api-products-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-products-detail": door(at="product", GET="200 200 404 404", PATCH="200 403 404 404"),
    "api-products-labels": door(at="product", GET="200 200 404 404", POST="201 403 404 404"),
    "api-parked-list": door(GET="200 200 200 200"),
    "api-parked-detail": door(at="parked", GET="200 200 404 404 | 404 404 404 404"),
    "api-parked-place": door(at="parked", POST="400 403 404 404 | 404 404 404 404"),
    "api-parked-set-aside": door(at="parked", POST="400 403 404 404 | 404 404 404 404"),
    "api-actions-list": door(GET="200 200 200 200", POST="400 403 403 403"),
    "api-actions-detail": door(
        at="priced_action",
        GET="200 200 200 200 | 404 404 404 404",
        PATCH="200 403 403 403 | 404 404 404 404",
    ),
    "api-actions-check": door(at="priced_action", POST="400 400 403 403 | 404 404 404 404"),
    "api-actions-decide": door(at="priced_action", POST="403 403 400 403 | 404 404 404 404"),
    "api-actions-done": door(at="priced_action", POST="400 400 403 403 | 404 404 404 404"),
    "api-actions-price": door(at="priced_action", POST="400 403 403 403 | 404 404 404 404"),
    "api-actions-reopen": door(at="priced_action", POST="400 400 400 403 | 404 404 404 404"),
    "api-actions-sheet": door(at="priced_action", GET="200 403 200 403 | 404 404 404 404"),
    "api-actions-sign-offs": door(at="priced_action", GET="200 200 200 200 | 404 404 404 404"),
    "api-actions-withdraw": door(at="priced_action", POST="400 403 403 403 | 404 404 404 404"),
    "api-flags-list": door(GET="200 200 200 200"),
    "api-flags-detail": door(at="flag", GET="200 404 404 404 | 404 404 404 404"),
    "api-flags-acknowledge": door(at="flag", POST="400 404 404 404 | 404 404 404 404"),
    "api-evidence-detail": door(at="site", GET="200 404 200 200 | 404 404 404 404"),
    "api-trends-list": door(GET="200 200 200 200"),
    "api-trend-reviews-list": door(GET="200 200 200 200"),
    "api-trend-reviews-detail": door(at="trend_review", GET="200 200 200 200 | 404 404 404 404"),
    "api-alarms-list": door(GET="200 200 200 200"),
    "api-alarms-detail": door(at="alarm", GET="200 200 200 200 | 404 404 404 404"),
    "api-thresholds-list": door(GET="200 200 200 200"),
    "api-thresholds-detail": door(at="threshold", GET="200 200 200 200 | 404 404 404 404"),
    "api-breaches-list": door(GET="200 200 200 200"),
    "api-breaches-detail": door(at="breach", GET="200 200 200 200 | 404 404 404 404"),
    "api-site-files-list": door(GET="200 200 200 200", POST="400 403 400 400"),
    "api-site-files-detail": door(at="site_file", GET="200 404 200 404 | 404 404 404 404"),
    "api-site-files-file": door(at="site_file", GET="409 404 409 404 | 404 404 404 404"),
}
