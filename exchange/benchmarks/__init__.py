"""Measurements, and the private servers that they and the tests run on."""
