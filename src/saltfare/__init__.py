"""Saltfare: from green weight to the meal at camp."""

__version__ = "0.1.0"
