"""The site file: from plain records to a PDF that an auditor can read and check.

``content`` says what a paper holds, ``parts`` puts it into words and tables, ``build`` prints it.
Nothing here knows the database, the settings or the clock.
"""
