"""The entry for web servers. Here DEBUG is off unless asked for, and a site set up wrongly does not start."""

import os

import django
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
# Small matrices: a second thread of the linear algebra costs more than it brings.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("DEBUG", "0")
django.setup(set_prefix=False)

from registry.checks import refuse_to_serve  # noqa: E402 - needs the settings

refuse_to_serve()
application = get_wsgi_application()
