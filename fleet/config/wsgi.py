"""WSGI entry point."""

import os

from django.core.wsgi import get_wsgi_application

from fleet.config import garbage

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
application = get_wsgi_application()
garbage.collect_less_often()
garbage.keep_what_stands()
