"""What a grower should not have to read."""

import re

API_WORDS = re.compile(
    r"\b(?:thermal ages?|posteriors?|priors?|bands?|basis|custody|consignees?|assays?|dispatch by|"
    r"matching runs?|dual prices?|live effects?)\b",
    re.IGNORECASE,
)
"""Words of the interface for which pages have plainer ones."""

HOUR = re.compile(r"[0-9]{1,2}:[0-9]{2}|\bhours?\b|\bo'clock\b|\b[0-9]{1,2} ?(?:am|pm)\b", re.IGNORECASE)

PERMISSION = re.compile(r"allowed|cleared|\bok\b|\btick|green|✓|✔", re.IGNORECASE)
"""Words that would read as leave to send."""
