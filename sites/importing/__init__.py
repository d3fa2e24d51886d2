"""Spreadsheets in and out: reading them, saying what each row would do, and doing it.

``cells`` and ``books`` are pure; ``sheets`` says what a sheet is; ``kept`` has the four sheets of
this app. Later apps add theirs with ``sheets.register``.
"""
