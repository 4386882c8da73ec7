"""How gunicorn serves Flockcare: ``gunicorn -c python:flockcare.gunicorn flockcare.wsgi``.

FLOCKCARE_BIND       address and port, or unix:/path/of/a/socket (default: 127.0.0.1:8000)
FLOCKCARE_PROCESSES  how many processes serve (default: 2)
FLOCKCARE_THREADS    how many requests each answers at once (default: 4)
"""

import sys

from django.core.exceptions import ImproperlyConfigured

from flockcare.core import env

try:
    from flockcare.settings import LOGGING
except ImproperlyConfigured as error:
    sys.exit(str(error))

bind = env.text("FLOCKCARE_BIND", "127.0.0.1:8000")
workers = env.number("FLOCKCARE_PROCESSES", 2)
worker_class = "gthread"
threads = env.number("FLOCKCARE_THREADS", 4)
# A dozen phone photos are looked through in one request.
timeout = 120
graceful_timeout = 60
max_requests, max_requests_jitter = 5000, 500
umask = 0o077
# Nothing reads it here, and its place is not always writable.
control_socket_disable = True
logconfig_dict = {
    **LOGGING,
    "loggers": {
        **LOGGING["loggers"],
        "gunicorn.error": {"handlers": ["console"], "level": "INFO", "propagate": False},
        "gunicorn.access": {"handlers": [], "propagate": False},
    },
}
