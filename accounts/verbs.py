"""The trail verbs of this app."""

from accounts.trail_words import declare

declare("administrator.added", "added an administrator from the command line")
declare("person.invited", "invited a person")
declare("person.joined", "took up an invitation")
declare("person.changed", "changed a person's details")
declare("person.stopped", "stopped a person from signing in")
declare("person.restored", "let a person sign in again")
declare("invitation.withdrawn", "withdrew an invitation")
declare("competence.added", "added a competence")
declare("competence.changed", "changed a competence")
declare("competence.withdrawn", "withdrew a competence")
declare("competence_kind.added", "named a kind of competence")
declare("pass.issued", "issued an auditor's pass")
declare("pass.revoked", "ended an auditor's pass")
declare("token.issued", "issued a token for programs")
declare("token.revoked", "ended a token for programs")
declare("client.added", "added a client")
declare("client.changed", "changed a client")
declare("company.changed", "changed the company's details")
declare("notices.wished", "chose how to be told of things")
