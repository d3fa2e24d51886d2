"""Filters of this app's templates."""
