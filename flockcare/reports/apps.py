from django.apps import AppConfig
from django.core.management import CommandError
from django.utils import timezone


class ReportsConfig(AppConfig):
    name = "flockcare.reports"

    def ready(self):
        from flockcare.core.management.commands.up import (
            demo_wanted,
            hourly,
            prepared,
            upgrading,
        )
        from flockcare.reports.backup import BackupProblem
        from flockcare.reports.backup.keeping import keep_before_upgrade, make_daily_beside
        from flockcare.reports.demo.load import load_demo
        from flockcare.reports.exchange.pictures import clear_left

        def make_demo(sender, **_):
            load_demo(timezone.localdate())

        def keep(sender, **_):
            try:
                keep_before_upgrade()
            except BackupProblem as problem:
                raise CommandError(
                    f"{problem} Nothing was upgraded. Mend that and start again; or go on with "
                    "--without-backup, if you have a backup elsewhere."
                ) from problem

        upgrading.connect(keep, weak=False, dispatch_uid="backup before an upgrade")
        demo_wanted.connect(make_demo, weak=False, dispatch_uid="demo flock")
        hourly.connect(lambda **_: make_daily_beside(), weak=False, dispatch_uid="daily backup")
        for moment in (prepared, hourly):
            moment.connect(lambda **_: clear_left(), weak=False, dispatch_uid="left by imports")
