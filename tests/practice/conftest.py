"""Fixtures of the tests of this room: recordings of an evening class."""

from tests.support.evening_class import folder  # noqa: F401 - a fixture
