from django.apps import AppConfig


class HousingConfig(AppConfig):
    name = "flockcare.housing"

    def ready(self):
        from flockcare.birds import layers, leaving, removing
        from flockcare.housing.layers import stays
        from flockcare.housing.models import Stay
        from flockcare.housing.services import end_stays, resume_stays

        layers.register(stays)
        leaving.register(end_stays, resume_stays)
        removing.goes_along(Stay)
