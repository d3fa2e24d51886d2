"""What this app tells people, and how each role is told unless a person wishes otherwise. Ours."""

from accounts.models import Notice, Role
from accounts.notice_kinds import NoticeKind, declare

AT_ONCE, DAILY = Notice.How.AT_ONCE.value, Notice.How.DAILY.value
OFFICE, MANAGER = Role.OFFICE.value, Role.CLIENT_MANAGER.value

DECISION_ASKED = "decision_asked"
DECISION_REMINDER = "decision_reminder"
DECISION_STUCK = "decision_stuck"
YOUR_MOVE = "your_move"
QUESTION = "question"
ANSWER = "answer"
DECIDED = "decided"
REPORTED_DONE = "reported_done"
CHECKED = "checked"

declare(
    NoticeKind(
        DECISION_ASKED, "Options wait for your decision", usual={MANAGER: AT_ONCE}, waits=True
    )
)
declare(
    NoticeKind(
        DECISION_REMINDER, "A reminder that you are asked to decide", usual={MANAGER: AT_ONCE}
    )
)
declare(
    NoticeKind(
        DECISION_STUCK,
        "Work is passed on to you because nobody has decided",
        usual={OFFICE: AT_ONCE, MANAGER: AT_ONCE},
    )
)
declare(
    NoticeKind(
        YOUR_MOVE, "Something new is the client’s own move", usual={MANAGER: DAILY}, waits=True
    )
)
declare(NoticeKind(QUESTION, "A client asks about an action", usual={OFFICE: AT_ONCE}))
declare(NoticeKind(ANSWER, "The office answers or writes", usual={MANAGER: AT_ONCE}))
declare(NoticeKind(DECIDED, "A decision has been signed", usual={OFFICE: DAILY, MANAGER: DAILY}))
declare(NoticeKind(REPORTED_DONE, "Work is reported done", usual={OFFICE: DAILY, MANAGER: DAILY}))
declare(NoticeKind(CHECKED, "Finished work has been checked", usual={MANAGER: DAILY}))
