import logging

from django.apps import AppConfig

from flockcare.people.logs import HideTokens


class PeopleConfig(AppConfig):
    name = "flockcare.people"

    def ready(self):
        # The loggers that write down an address: refused requests and the development server.
        for name in ("django.request", "django.security.csrf", "django.server"):
            logging.getLogger(name).addFilter(HideTokens())
