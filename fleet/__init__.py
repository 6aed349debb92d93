"""Dogdays: memory and summer plan for a fleet of small apartment air conditioners."""

__version__ = "0.1.0"
