"""Reads that pages, papers and programs share; each states its cost."""
