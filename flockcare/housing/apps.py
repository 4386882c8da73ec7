from django.apps import AppConfig


class HousingConfig(AppConfig):
    name = "flockcare.housing"

    def ready(self):
        from flockcare.birds import layers
        from flockcare.housing.layers import stays

        layers.register(stays)
