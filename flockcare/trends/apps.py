from django.apps import AppConfig


class TrendsConfig(AppConfig):
    name = "flockcare.trends"

    def ready(self):
        from flockcare.people.deletion import flock_gone
        from flockcare.trends.kept import forget

        flock_gone.connect(forget, dispatch_uid="kept report")
