"""The trail verbs of this app."""

from accounts.trail import declare

declare("action.raised", "raised an action")
declare("action.changed", "changed an action")
declare("action.priced", "priced an action")
declare("action.decided", "decided an action")
declare("action.done", "reported an action done")
declare("action.checked", "checked an action")
declare("action.reopened", "re-opened an action")
declare("action.withdrawn", "withdrew an action")
declare("flag.raised", "raised a flag")
declare("flag.acknowledged", "acknowledged a flag")
declare("flag.cleared", "cleared a flag")
declare("site_file.requested", "asked for a site file")
declare("site_file.built", "built a site file")
declare("site_file.failed", "could not build a site file")
declare("site_file.downloaded", "downloaded a site file")
declare("site.viewed", "looked at a site by an auditor's pass")
declare("digest.sent", "sent a daily summary")
