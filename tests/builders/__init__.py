"""Builders: plain functions that reach a state through the services that lead there."""
