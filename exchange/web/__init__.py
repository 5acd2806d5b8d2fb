"""Pages for people, written by the server; the app has no models."""
