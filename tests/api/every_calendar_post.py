"""The POST of calendar feeds, prepared so that it succeeds; see :mod:`tests.api.every_post`."""

from tests.api.caller import caller
from tests.api.every_post import Post, Stage, prepares


@prepares
def calendar_feed_create(stage: Stage) -> Post:
    return Post(caller(stage.donor), "calendar-feeds", {"name": "telephone"}, {"name": "desk"})
