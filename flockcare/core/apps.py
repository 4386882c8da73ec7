from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "flockcare.core"

    def ready(self):
        from flockcare.core import clock
        from flockcare.core.management.commands.up import hourly

        hourly.connect(lambda **_: clock.look(), weak=False, dispatch_uid="clock")
