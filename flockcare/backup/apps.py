from django.apps import AppConfig
from django.core.management import CommandError


class BackupConfig(AppConfig):
    name = "flockcare.backup"

    def ready(self):
        from flockcare.backup.archive import BackupProblem
        from flockcare.backup.keeping import keep_before_upgrade, make_daily_beside
        from flockcare.core.management.commands.up import hourly, upgrading

        def keep(sender, **_):
            try:
                keep_before_upgrade()
            except BackupProblem as problem:
                raise CommandError(
                    f"{problem} Nothing was upgraded. Fix that and start again; or go on with "
                    "--without-backup, if you have a backup elsewhere."
                ) from problem

        upgrading.connect(keep, weak=False, dispatch_uid="backup before an upgrade")
        hourly.connect(lambda **_: make_daily_beside(), weak=False, dispatch_uid="daily backup")
