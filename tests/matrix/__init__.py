"""Everybody at every address."""
