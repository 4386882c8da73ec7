from django.apps import AppConfig
from django.utils import timezone


class ReportsConfig(AppConfig):
    name = "flockcare.reports"

    def ready(self):
        from flockcare.core.management.commands.up import demo_wanted
        from flockcare.reports.demo.load import load_demo

        def make_demo(sender, **_):
            load_demo(timezone.localdate())

        demo_wanted.connect(make_demo, weak=False, dispatch_uid="demo flock")
