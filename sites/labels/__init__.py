"""Labels for monitors: a code that can be read by a phone and by a person, and sheets of them.

Knows neither the database nor the settings: what is to be printed comes in, a PDF goes out.
"""
