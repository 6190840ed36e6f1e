"""Screens: each only composes widgets and binds keys."""
