from django.apps import AppConfig


class CareConfig(AppConfig):
    name = "flockcare.care"

    def ready(self):
        from flockcare.birds import layers
        from flockcare.care.layers import care_steps

        layers.register(care_steps)
