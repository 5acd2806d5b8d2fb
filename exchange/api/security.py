"""Headers that Django has no setting for."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

NOBODY = ("accelerometer", "camera", "geolocation", "gyroscope", "microphone", "payment", "usb")
PERMISSIONS_POLICY = ", ".join(f"{feature}=()" for feature in NOBODY)
"""Above all geolocation: an exact place must never be asked for by accident."""


class SecurityHeaderMiddleware:
    """Adds Permissions-Policy, and keeps answers of the API out of shared caches."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request."""
        response = self.get_response(request)
        response.setdefault("Permissions-Policy", PERMISSIONS_POLICY)
        if request.path.startswith("/api/"):
            response.setdefault("Cache-Control", "private, no-cache")
        return response
