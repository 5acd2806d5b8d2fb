"""Matching: what one offer and one wanted cross promise together. Pure; arrays and dataclasses only."""
