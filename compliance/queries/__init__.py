"""Reads that more than one caller needs; each says what it costs."""
