"""When visits come due: RFC 5545 rules, due windows, and the days and instants they fall on.

Pure: days in, days out; no clock, no settings, no database. docs/algorithms/recurrence.md has the
steps and an example by hand.
"""
