"""The history of an agreement read as a path: what may follow what."""

from exchange.models import Agreement

BESIDE = {"proposed": {"statement_made", "next_donor_shown"}, "sent": {"statement_made"}}
BESIDE["agreed"] = {"statement_made", "donor_silent", "sent_less", "collected", "came_up_short"}
LEADS_TO = {
    ("", "proposed"): "proposed",
    ("proposed", "agreed"): "agreed",
    ("proposed", "declined"): "declined",
    ("proposed", "lapsed"): "lapsed",
    ("proposed", "ended"): "ended",
    ("agreed", "sent"): "sent",
    ("agreed", "lapsed"): "lapsed",
    ("agreed", "ended"): "ended",
    ("agreed", "came_up_short"): "ended",
    ("sent", "ended"): "ended",
}
BY_TIME = {"lapsed", "next_donor_shown", "donor_silent"}


def assert_history(agreement: Agreement) -> None:
    """Each event may follow those before it, its actor may do it, and the end of the path is the state."""
    where, doses = "", 0
    for event in agreement.events.order_by("pk"):
        doses = event.parameters.get("doses", doses)
        if event.kind not in BESIDE.get(where, ()) or (event.kind == "came_up_short" and doses == 0):
            assert (where, event.kind) in LEADS_TO, f"{event.kind} after {where!r}"
            where = LEADS_TO[where, event.kind]
        parties = {agreement.donor_id, agreement.recipient_id}
        assert (event.actor_id is None) if event.kind in BY_TIME else event.actor_id in parties
    assert where.replace("sent", "agreed") == agreement.state
    assert doses == (agreement.doses if agreement.end_reason != "came_up_short" else 0)
