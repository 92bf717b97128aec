#!/usr/bin/env python
"""Run an administrative command: `python manage.py help` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    from django.conf import settings
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        settings.DEBUG  # noqa: B018 - the first look at a setting reads them all
    except ImproperlyConfigured as error:
        # A setting that cannot be used is the operator's to mend: a sentence says more than where it was found.
        sys.exit(f"The settings cannot be used. {error}")
    try:
        execute_from_command_line(sys.argv)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read along, such as `head`, has seen enough; closing must not fail on it a second time.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)  # what shells report for a program ended by a closed pipe
    except KeyboardInterrupt:
        print("\nStopped before the end. Run it again: nothing is done twice.", file=sys.stderr)
        sys.exit(130)  # what shells report for a program ended by Ctrl-C


if __name__ == "__main__":
    main()
