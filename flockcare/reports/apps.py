from django.apps import AppConfig
from django.utils import timezone


class ReportsConfig(AppConfig):
    name = "flockcare.reports"

    def ready(self):
        from flockcare.core.management.commands.up import demo_wanted, hourly, tidying
        from flockcare.reports.backup.keeping import make_daily_beside
        from flockcare.reports.demo.load import load_demo
        from flockcare.reports.exchange.pictures import clear_left

        def make_demo(sender, **_):
            load_demo(timezone.localdate())

        demo_wanted.connect(make_demo, weak=False, dispatch_uid="demo flock")
        hourly.connect(lambda **_: make_daily_beside(), weak=False, dispatch_uid="daily backup")
        for moment in (tidying, hourly):
            moment.connect(lambda **_: clear_left(), weak=False, dispatch_uid="left by imports")
