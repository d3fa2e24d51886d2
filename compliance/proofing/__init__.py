"""Proofing: how narrow a gap must be closed. Pure: no Django, no clock, no settings, no I/O."""
