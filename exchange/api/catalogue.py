"""Every kind of problem the API answers with: one stable code, its status and what it means."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Text = str | Promise


@dataclass(frozen=True)
class ProblemKind:
    """A code that never changes its meaning; ``meaning`` is the sentence where none more exact is known."""

    code: str
    status: int
    title: Text
    meaning: Text


KINDS = (
    ProblemKind(
        "does_not_fit",
        400,
        _("The request does not fit the description"),
        _("A field, parameter or header is unknown, missing, of another type or out of its declared range."),
    ),
    ProblemKind(
        "malformed",
        400,
        _("The request cannot be read"),
        _("The body is not the JSON, or the form, that it is declared to be."),
    ),
    ProblemKind(
        "idempotency_key_missing",
        400,
        _("Idempotency-Key is missing"),
        _("Send a new UUID in the header Idempotency-Key; the same one when you send the request again."),
    ),
    ProblemKind(
        "sign_in_needed", 401, _("Sign in first"), _("Send a token: Authorization: Bearer pollen_….")
    ),
    ProblemKind(
        "token_invalid",
        401,
        _("This token is not valid"),
        _("It is mistyped, has expired or was revoked."),
    ),
    ProblemKind(
        "sign_in_failed",
        401,
        _("Signing in failed"),
        _(
            "E-mail, password or code is wrong, or the e-mail is not confirmed yet. Accounts with a second "
            "factor need its code."
        ),
    ),
    ProblemKind(
        "scope_missing",
        403,
        _("The token may not do this"),
        _("Make a token that has the scope this operation needs."),
    ),
    ProblemKind(
        "sign_in_itself_needed",
        403,
        _("A token cannot do this"),
        _("Sign in with e-mail and password: a token must not make tokens."),
    ),
    ProblemKind(
        "password_wrong",
        403,
        _("The password is asked for once more"),
        _(
            "Password or code is missing or wrong. This cannot be done with a token or a session alone: send"
            " the password, and the code of the second factor where one is set."
        ),
    ),
    ProblemKind(
        "csrf_failed", 403, _("The form is too old"), _("Load the page again and send it once more.")
    ),
    ProblemKind("not_found", 404, _("Not found"), _("There is no such thing, or it is not yours to see.")),
    ProblemKind(
        "method_not_allowed", 405, _("Not possible here"), _("The header Allow names what is possible.")
    ),
    ProblemKind("conflict", 409, _("The present state forbids it"), _("Read it again and decide anew.")),
    ProblemKind(
        "doses_short",
        409,
        _("Not enough doses are left"),
        _("Fewer doses are left than are asked for; ask for fewer, or ask the next donor."),
    ),
    ProblemKind(
        "request_running",
        409,
        _("The same request is still running"),
        _("Send it again in a moment with the same Idempotency-Key."),
    ),
    ProblemKind(
        "secret_already_shown",
        409,
        _("The secret was shown once"),
        _("It is not kept. Ask with a new Idempotency-Key, and revoke what was made, if anything was."),
    ),
    ProblemKind("stale", 412, _("It has changed meanwhile"), _("Read it again and send the new ETag.")),
    ProblemKind(
        "too_large",
        413,
        _("Too large"),
        _("The body is larger than one megabyte, or than this operation says."),
    ),
    ProblemKind("media_type", 415, _("Unknown media type"), _("Send the media type that is declared.")),
    ProblemKind(
        "invalid_input",
        422,
        _("A rule is broken"),
        _("The request fits the description, but its values cannot be true together or with what is stored."),
    ),
    ProblemKind(
        "key_reused",
        422,
        _("Idempotency-Key was used for another request"),
        _("A key belongs to one body; send a new key with a new body."),
    ),
    ProblemKind(
        "cursor_unknown",
        422,
        _("Unknown cursor"),
        _("Follow the links of the list; a cursor belongs to one list and its filters."),
    ),
    ProblemKind(
        "if_match_missing",
        428,
        _("If-Match is missing"),
        _("Send the ETag of what you read in the header If-Match, so that nobody's change is lost."),
    ),
    ProblemKind(
        "too_many_requests",
        429,
        _("Too many requests"),
        _("The header Retry-After says for how many seconds to wait."),
    ),
    ProblemKind("internal", 500, _("Our mistake"), _("It is in our log under the request_id; tell us that.")),
    ProblemKind(
        "unavailable",
        503,
        _("Not at the moment"),
        _("The database cannot be reached; the header Retry-After says for how many seconds to wait."),
    ),
)

BY_CODE = {kind.code: kind for kind in KINDS}
OF_STATUS = {kind.status: kind for kind in reversed(KINDS)}
"""The first kind of each status: what a more special code of our services falls back to."""


def kind_of(code: str, status: int | None = None) -> ProblemKind:
    """The kind with this code, or else the general one of its status under the more special code."""
    if code in BY_CODE:
        return BY_CODE[code]
    general = OF_STATUS[status or 500]
    return ProblemKind(code, general.status, general.title, general.meaning)
