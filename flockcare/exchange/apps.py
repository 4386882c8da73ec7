from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    name = "flockcare.exchange"

    def ready(self):
        from flockcare.core.management.commands.up import hourly, prepared
        from flockcare.exchange.pictures import clear_left

        for moment in (prepared, hourly):
            moment.connect(lambda **_: clear_left(), weak=False, dispatch_uid="left by imports")
