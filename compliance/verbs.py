"""The trail verbs of this app."""

from accounts.trail_words import declare

declare("action.raised", "raised an action")
declare("action.changed", "changed an action")
declare("action.photo_added", "put a photo that came later beside an action")
declare("action.priced", "priced an action")
declare("action.decided", "decided an action")
declare("action.done", "reported an action done")
declare("action.checked", "checked an action")
declare("action.reopened", "re-opened an action")
declare("action.withdrawn", "withdrew an action")
declare("action.work_planned", "planned the visit that does an ordered job")
declare("flag.acknowledged", "acknowledged a flag")
declare("flags.reconciled", "raised and cleared flags")
declare("site_file.requested", "asked for a site file")
declare("site_file.built", "built a site file")
declare("site_file.failed", "could not build a site file")
declare("site_file.downloaded", "downloaded a site file")
declare("site.viewed", "looked at a site by an auditor's pass")
declare("digest.written", "wrote a daily summary")
