from django.apps import AppConfig


class BackupConfig(AppConfig):
    name = "flockcare.backup"

    def ready(self):
        from flockcare.backup.keeping import make_daily_beside
        from flockcare.core.management.commands.up import hourly

        hourly.connect(lambda **_: make_daily_beside(), weak=False, dispatch_uid="daily backup")
