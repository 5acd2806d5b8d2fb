"""``manage.py run`` beside a test: as a grower starts it, but that its thread looks every half second."""

import sys

from django.core.management import execute_from_command_line

from exchange.project import embedded

embedded.PAUSE_SECONDS = 0.5

if __name__ == "__main__":
    execute_from_command_line(["manage.py", "run", *sys.argv[1:]])
